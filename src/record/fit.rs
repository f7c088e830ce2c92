//! A FIT activity as a [`Recording`].
//!
//! Given the bytes of a file; gives every record that is sound and says what is not. It never fills in a value,
//! and never keeps heart rate.

use std::collections::HashMap;
use std::panic::{AssertUnwindSafe, catch_unwind};

use fitparser::Value;
use fitparser::profile::field_types::File;

use super::channel::Channel;
use super::developer::DeveloperFields;
use super::frame::{Break, Frame, Frames};
use super::message::{MessageDecoder, count};
use super::row::{PackedDistance, record};
use super::section::{Section, State, cut};
use super::sport::Sports;
use super::timing::{Lap, Timer, lap_marks_s, unix_s};
use super::{MAX_RECORDS, Provenance, Recording, refuse_above, refuse_large, timeline};
use crate::error::Error;
use crate::finding::What;

/// Message numbers of the FIT profile. Others are passed over without being decoded.
mod number {
    pub const FILE_ID: u16 = 0;
    pub const SPORT: u16 = 12;
    pub const SESSION: u16 = 18;
    pub const LAP: u16 = 19;
    pub const RECORD: u16 = 20;
    pub const EVENT: u16 = 21;
    pub const FIELD_DESCRIPTION: u16 = 206;
    pub const DECODED: [u16; 7] = [FILE_ID, SPORT, SESSION, LAP, RECORD, EVENT, FIELD_DESCRIPTION];
}

/// File type of an activity in the FIT profile.
const ACTIVITY: u8 = 4;
/// Times below this count from a device's own start instead of the FIT epoch.
const FIRST_REAL_TIME: u32 = 0x1000_0000;

/// Decodes a FIT activity; `file` is its name in messages.
///
/// Reads all recordings that stand one after another in the file. What is damaged or odd is a finding; an error
/// means that nothing could be used: not FIT, not an activity, no record with a time, or a limit passed.
///
/// ```
/// let error = loopwright::record::decode_fit(b"not a ride", "notes.fit").unwrap_err();
/// assert!(error.to_string().starts_with("notes.fit: not a ride file"));
/// ```
pub fn decode_fit(bytes: &[u8], file: &str) -> Result<Recording, Error> {
    refuse_large(bytes.len() as u64, file)?;
    // The last boundary: should the library panic on bytes nobody has thought of, the file is refused.
    catch_unwind(AssertUnwindSafe(|| decode(bytes, file)))
        .unwrap_or_else(|_| Err(not_a_ride(file, "its bytes stopped the decoder".into())))
}

fn decode(bytes: &[u8], file: &str) -> Result<Recording, Error> {
    let cut = cut(bytes);
    if cut.sections.is_empty() {
        return Err(not_a_ride(file, "it has no FIT header".into()));
    }
    let mut ride = Ride::new(file);
    for (i, section) in cut.sections.iter().enumerate() {
        ride.read_section(i + 1, section)?;
    }
    let mut findings = std::mem::take(&mut ride.findings);
    findings.extend((cut.sections.len() > 1).then_some(What::SeveralParts { parts: cut.sections.len() }));
    findings.extend((cut.stray_bytes > 0).then_some(What::StrayBytes { bytes: cut.stray_bytes }));
    let mut recording = ride.finish(findings)?;
    recording.provenance = Provenance::of(bytes, file);
    Ok(recording)
}

fn not_a_ride(file: &str, reason: String) -> Error {
    Error::NotARide { file: file.into(), reason }
}

/// What is gathered while reading.
struct Ride<'a> {
    file: &'a str,
    recording: Recording,
    /// Values of the developer field that stands for power; as long as the recording, or empty.
    developer_power_w: Vec<f64>,
    developer: DeveloperFields,
    laps: Vec<Lap>,
    timer: Timer,
    sports: Sports,
    packed_distance: PackedDistance,
    /// Types of the sections that are no activities.
    foreign: Vec<String>,
    first_time: Option<u32>,
    records: usize,
    records_without_time: usize,
    undecodable: usize,
    impossible_positions: usize,
    findings: Vec<What>,
}

impl<'a> Ride<'a> {
    fn new(file: &'a str) -> Self {
        Ride {
            file,
            recording: Recording::default(),
            developer_power_w: Vec::new(),
            developer: DeveloperFields::default(),
            laps: Vec::new(),
            timer: Timer::default(),
            sports: Sports::default(),
            packed_distance: PackedDistance::default(),
            foreign: Vec::new(),
            first_time: None,
            records: 0,
            records_without_time: 0,
            undecodable: 0,
            impossible_positions: 0,
            findings: Vec::new(),
        }
    }

    fn read_section(&mut self, part: usize, section: &Section) -> Result<(), Error> {
        let mut frames = Frames::new(section.messages);
        let mut decoder = MessageDecoder::new();
        self.sports.new_section();
        self.packed_distance = PackedDistance::default();
        let mut broken = None;
        while let Some(frame) = frames.next() {
            match frame {
                Ok(Frame::Definition { local }) => self.declare(local, &frames, &mut decoder),
                Ok(Frame::Data { local, time, bytes }) => {
                    let message = frames.definition(local).map(|d| d.message);
                    let Some(message) = message.filter(|m| number::DECODED.contains(m)) else { continue };
                    match decoder.fields(local, bytes) {
                        Some(fields) => {
                            if self.message(message, &fields, time)?.is_foreign() {
                                return Ok(());
                            }
                        }
                        None => self.undecodable += 1,
                    }
                }
                Err(cause) => {
                    broken = Some(cause);
                    break;
                }
            }
        }
        self.say_how_it_ended(part, section, broken);
        Ok(())
    }

    fn declare(&mut self, local: u8, frames: &Frames, decoder: &mut MessageDecoder) {
        if let Some(definition) = frames.definition(local)
            && number::DECODED.contains(&definition.message)
        {
            let is_record = definition.message == number::RECORD;
            let chosen = if is_record { self.developer.in_records(definition) } else { None };
            decoder.declare(local, definition, chosen);
        }
    }

    fn say_how_it_ended(&mut self, part: usize, section: &Section, broken: Option<Break>) {
        let torn_bytes = match broken {
            Some(Break::Cut { missing_bytes }) => missing_bytes as u64,
            _ => 0,
        };
        match section.state {
            State::Sound => {}
            State::ChecksumWrong => self.findings.push(What::ChecksumMismatch { part }),
            State::NotFinalised => self.findings.push(What::NotFinalised { part }),
            State::CutOff => {}
        }
        let missing_bytes = section.missing_bytes.max(torn_bytes);
        if missing_bytes > 0 {
            self.findings.push(What::Truncated { records: self.records, missing_bytes });
        }
        if let Some(Break::Undeclared { lost_bytes }) = broken {
            self.findings.push(What::Damaged { part, lost_bytes });
        }
    }

    fn message(&mut self, message: u16, fields: &HashMap<u8, Value>, time: Option<u32>) -> Result<Use, Error> {
        match message {
            number::FILE_ID => {
                let kind = count(fields, 0).and_then(|v| u8::try_from(v).ok());
                if let Some(kind) = kind.filter(|&kind| kind != ACTIVITY) {
                    self.foreign.push(File::from(kind).to_string().replace('_', " "));
                    return Ok(Use::Foreign);
                }
            }
            number::RECORD => self.record(fields, time)?,
            number::LAP => self.laps.push(Lap::new(fields, time)),
            number::EVENT => self.timer.event(fields, time),
            number::SPORT => self.sports.announce(fields),
            number::SESSION => self.sports.session(fields, time),
            number::FIELD_DESCRIPTION => self.developer.describe(fields),
            _ => {}
        }
        Ok(Use::Ride)
    }

    fn record(&mut self, fields: &HashMap<u8, Value>, time: Option<u32>) -> Result<(), Error> {
        self.records += 1;
        refuse_above(MAX_RECORDS, self.records, "number of records", self.file)?;
        let record = record(fields, &mut self.packed_distance);
        let Some(time) = time else {
            self.records_without_time += 1;
            return Ok(());
        };
        self.impossible_positions += usize::from(record.impossible_position);
        self.first_time.get_or_insert(time);
        if record.developer_power_w.is_finite() {
            self.developer_power_w.resize(self.recording.len(), f64::NAN);
            self.developer_power_w.push(record.developer_power_w);
        }
        self.recording.push(unix_s(time), &record.row);
        self.sports.record();
        Ok(())
    }

    fn finish(mut self, findings: Vec<What>) -> Result<Recording, Error> {
        self.refuse_without_records()?;
        let mut recording = std::mem::take(&mut self.recording);
        recording.findings = findings;
        let uses_developer_power = !Recording::has(&recording.power_w) && !self.developer_power_w.is_empty();
        if uses_developer_power {
            self.developer_power_w.resize(recording.len(), f64::NAN);
            recording.power_w = self.developer_power_w;
        }
        let choice = self.sports.choose(&recording.time_s);
        if let Some(used) = choice.used {
            keep_rows(&mut recording, &used);
        }
        recording.findings.extend(choice.finding);
        timeline::settle(&mut recording);

        let (first_s, last_s) = (recording.time_s.first().copied(), recording.time_s.last().copied());
        let (first_s, last_s) = (first_s.unwrap_or(0.0), last_s.unwrap_or(0.0));
        recording.lap_marks_s = lap_marks_s(&self.laps);
        // The last lap may end within a second after the last record.
        recording.lap_marks_s.retain(|&mark| first_s < mark && mark <= last_s + 1.0);
        recording.pauses_s = self.timer.pauses();
        recording.pauses_s.retain(|p| first_s <= p.to_s && p.from_s <= last_s);

        let also = &mut recording.findings;
        let seen = |count: usize| count > 0;
        also.extend(self.foreign.into_iter().map(|kind| What::OtherFileLeftOut { kind }));
        also.extend(
            seen(self.undecodable)
                .then(|| What::Undecodable { count: self.undecodable, reason: "malformed fields".into() }),
        );
        also.extend(
            seen(self.records_without_time).then_some(What::RecordsWithoutTime { count: self.records_without_time }),
        );
        also.extend(
            seen(self.impossible_positions).then_some(What::ImpossiblePositions { count: self.impossible_positions }),
        );
        also.extend(self.developer.findings(uses_developer_power));
        also.extend(self.first_time.filter(|&t| t < FIRST_REAL_TIME).map(|_| What::ClockNotSet));
        recording.findings.extend(recording.power_all_zero());
        Ok(recording)
    }

    fn refuse_without_records(&self) -> Result<(), Error> {
        if !self.recording.is_empty() {
            return Ok(());
        }
        Err(match self.foreign.first() {
            Some(kind) => not_a_ride(self.file, format!("a FIT file of type {kind}, not an activity")),
            None if self.records > 0 => Error::NoTimes { file: self.file.into(), records: self.records },
            None => not_a_ride(self.file, "a FIT file without any record".into()),
        })
    }
}

/// Whether the section a message stands in can be used.
enum Use {
    Ride,
    Foreign,
}

impl Use {
    fn is_foreign(&self) -> bool {
        matches!(self, Use::Foreign)
    }
}

fn keep_rows(recording: &mut Recording, used: &[bool]) {
    let keep = |column: &mut Vec<f64>| {
        let mut used = used.iter();
        column.retain(|_| used.next().is_some_and(|&used| used));
    };
    keep(&mut recording.time_s);
    for channel in Channel::ALL {
        keep(recording.channel_mut(channel));
    }
}
