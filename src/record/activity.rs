//! The messages of a FIT activity gathered into a [`Recording`].
//!
//! Given decoded messages in the order of the file; gives columns, lap marks, pauses and findings. It never looks
//! at bytes, never fills in a value, and never keeps heart rate.

use std::collections::HashMap;

use fitparser::Value;
use fitparser::profile::field_types::File;

use super::channel::Row;
use super::definition::Definition;
use super::developer::DeveloperFields;
use super::message::{ChosenField, count};
use super::row::{PackedDistance, record};
use super::sport::Sports;
use super::timing::{Lap, Timer, lap_marks_s, unix_s};
use super::{MAX_MARKS, MAX_RECORDS, Recording, refuse_above, timeline};
use crate::error::Error;
use crate::finding::{RiddenAs, Slip, What};

/// Message numbers of the FIT profile. Others are passed over without being decoded.
mod number {
    pub const FILE_ID: u16 = 0;
    pub const SPORT: u16 = 12;
    pub const SESSION: u16 = 18;
    pub const LAP: u16 = 19;
    pub const RECORD: u16 = 20;
    pub const EVENT: u16 = 21;
    pub const FIELD_DESCRIPTION: u16 = 206;
    pub const WANTED: [u16; 7] = [FILE_ID, SPORT, SESSION, LAP, RECORD, EVENT, FIELD_DESCRIPTION];
}

/// File type of an activity in the FIT profile.
const ACTIVITY: u8 = 4;
/// Times below this count from a device's own start instead of the FIT epoch.
const FIRST_REAL_TIME: u32 = 0x1000_0000;
/// The last lap may end this long after the last record, s.
const LAST_LAP_MARGIN_S: f64 = 1.0;

/// Whether the section a message stands in can be used.
pub(super) enum Use {
    Ride,
    /// It says that it is no activity.
    Foreign,
}

/// What is gathered while reading.
#[derive(Default)]
pub(super) struct Activity<'a> {
    file: &'a str,
    recording: Recording,
    /// Values of the developer field that stands for power; no longer than the recording.
    developer_power_w: Vec<f64>,
    developer: DeveloperFields,
    laps: Vec<Lap>,
    timer: Timer,
    sports: Sports,
    packed_distance: PackedDistance,
    /// Types of the sections that are no activities.
    foreign: Vec<String>,
    first_time: Option<u32>,
    last_was_record: bool,
    records: usize,
    /// Laps, events and sessions.
    marks: usize,
    records_before_section: usize,
    records_without_time: usize,
    doubtful: usize,
    undecodable: usize,
    impossible_positions: usize,
    /// Records with the power of a motor.
    motor: usize,
}

impl<'a> Activity<'a> {
    pub fn new(file: &'a str) -> Self {
        Activity { file, ..Activity::default() }
    }

    /// Whether messages of this number are worth decoding.
    pub fn wants(message: u16) -> bool {
        number::WANTED.contains(&message)
    }

    pub fn is_record(message: u16) -> bool {
        message == number::RECORD
    }

    /// Records seen, with or without a time.
    pub fn records(&self) -> usize {
        self.records
    }

    pub fn begin_section(&mut self) {
        self.sports.new_section();
        self.packed_distance = PackedDistance::default();
        self.records_before_section = self.records;
        self.last_was_record = false;
    }

    /// The developer field to decode along with messages of this definition.
    pub fn chosen_field(&mut self, definition: &Definition) -> Option<ChosenField> {
        if definition.message == number::RECORD { self.developer.in_records(definition) } else { None }
    }

    /// A message could not be decoded.
    pub fn undecodable(&mut self) {
        self.undecodable += 1;
        self.last_was_record = false;
    }

    /// The bytes behind the last message made no sense, so where it ended is not certain: if it was a record its
    /// values are given up. Its time stays, so that an absurd one is seen and said.
    pub fn doubt_last_record(&mut self) {
        if std::mem::take(&mut self.last_was_record) {
            self.doubtful += 1;
            self.developer_power_w.truncate(self.recording.len().saturating_sub(1));
            self.recording.replace_last(&Row::empty());
        }
    }

    /// Takes in one message.
    pub fn message(&mut self, message: u16, fields: &HashMap<u8, Value>, time: Option<u32>) -> Result<Use, Error> {
        self.last_was_record = false;
        match message {
            // Behind records it can only be damage: a file says what it is before anything else.
            number::FILE_ID if self.records == self.records_before_section => {
                let kind = count(fields, 0).and_then(|v| u8::try_from(v).ok());
                if let Some(kind) = kind.filter(|&kind| kind != ACTIVITY) {
                    self.foreign.push(File::from(kind).to_string().replace('_', " "));
                    return Ok(Use::Foreign);
                }
            }
            number::RECORD => self.record(fields, time)?,
            number::LAP => {
                self.mark()?;
                self.laps.push(Lap::new(fields, time));
            }
            number::EVENT => {
                self.mark()?;
                self.timer.event(fields, time);
            }
            number::SPORT => self.sports.announce(fields),
            number::SESSION => {
                self.mark()?;
                self.sports.session(fields, time);
            }
            number::FIELD_DESCRIPTION => self.developer.describe(fields),
            _ => {}
        }
        Ok(Use::Ride)
    }

    /// Counts a lap, an event or a session, so that a file made of nothing else stays small in memory.
    fn mark(&mut self) -> Result<(), Error> {
        self.marks += 1;
        refuse_above(MAX_MARKS, self.marks, "number of laps and events", self.file)
    }

    fn record(&mut self, fields: &HashMap<u8, Value>, time: Option<u32>) -> Result<(), Error> {
        self.records += 1;
        refuse_above(MAX_RECORDS, self.records, "number of records", self.file)?;
        let record = record(fields, &mut self.packed_distance);
        let Some(time) = time else {
            self.records_without_time += 1;
            return Ok(());
        };
        self.last_was_record = true;
        self.impossible_positions += usize::from(record.impossible_position);
        self.motor += usize::from(record.motor);
        self.first_time.get_or_insert(time);
        if record.developer_power_w.is_finite() {
            self.developer_power_w.resize(self.recording.len(), f64::NAN);
            self.developer_power_w.push(record.developer_power_w);
        }
        self.recording.push(unix_s(time), &record.row);
        self.sports.record();
        Ok(())
    }

    /// The recording, in order of time.
    pub fn finish(mut self) -> Result<Recording, Error> {
        self.refuse_without_records()?;
        let mut recording = std::mem::take(&mut self.recording);
        let uses_developer_power = !Recording::has(&recording.power_w) && Recording::has(&self.developer_power_w);
        if uses_developer_power {
            recording.power_w = std::mem::take(&mut self.developer_power_w);
            recording.power_w.resize(recording.len(), f64::NAN);
        }
        let choice = self.sports.choose(&recording.time_s);
        if let Some(used) = choice.used {
            recording.keep_rows(&used);
        }
        recording.findings.extend(choice.finding);
        let (motor, ridden_as) = (What::Slip(Slip::RiddenAs(RiddenAs::EBike)), self.sports.ridden_as());
        recording.findings.extend((self.motor > 0 && !ridden_as.contains(&motor)).then_some(motor));
        recording.findings.extend(ridden_as);
        timeline::settle(&mut recording);

        let first_s = recording.time_s.first().copied().unwrap_or(f64::NAN);
        let last_s = recording.time_s.last().copied().unwrap_or(f64::NAN);
        recording.lap_marks_s = lap_marks_s(&self.laps);
        recording.lap_marks_s.retain(|&mark| first_s < mark && mark <= last_s + LAST_LAP_MARGIN_S);
        recording.pauses_s = std::mem::take(&mut self.timer).pauses();
        recording.pauses_s.retain(|p| first_s <= p.to_s && p.from_s <= last_s);
        let zero_power = recording.power_all_zero();
        recording.findings.extend(self.findings(uses_developer_power).into_iter().chain(zero_power));
        Ok(recording)
    }

    fn refuse_without_records(&self) -> Result<(), Error> {
        if !self.recording.is_empty() {
            return Ok(());
        }
        let file = self.file.to_string();
        Err(match self.foreign.first() {
            Some(kind) => Error::NotARide { file, reason: format!("a FIT file of type {kind}, not an activity") },
            None if self.records > 0 => Error::NoTimes { file, records: self.records },
            None => Error::NotARide { file, reason: "a FIT file without any record".into() },
        })
    }

    fn findings(self, uses_developer_power: bool) -> Vec<What> {
        let mut findings: Vec<What> = Vec::new();
        let mut say = |count: usize, what: fn(usize) -> What| findings.extend((count > 0).then(|| what(count)));
        say(self.undecodable, |count| What::Undecodable { count, reason: "malformed fields".into() });
        say(self.doubtful, |count| What::DoubtfulRecords { count });
        say(self.records_without_time, |count| What::RecordsWithoutTime { count });
        say(self.impossible_positions, |count| What::ImpossiblePositions { count });
        findings.extend(self.foreign.into_iter().map(|kind| What::OtherFileLeftOut { kind }));
        findings.extend(self.developer.findings(uses_developer_power));
        let clock_not_set = self.first_time.is_some_and(|t| t < FIRST_REAL_TIME);
        findings.extend(clock_not_set.then_some(What::ClockNotSet));
        findings
    }
}
