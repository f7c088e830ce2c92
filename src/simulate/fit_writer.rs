//! A simulated ride as the bytes of a FIT activity file.
//!
//! Given a [`SimulatedRide`]; gives the bytes. Times, values and quanta are those of its readings, nothing is
//! rounded here. It writes to memory, never to disk.

use super::sensor::{Reading, SimulatedRide};
use crate::error::Error;
use embedded_io_adapters::std::FromStd;
use rustyfit::profile::{mesgdef, typedef};
use rustyfit::proto::{FIT, Message};
use rustyfit::{Encoder, HeaderOption};
use std::io::Cursor;

/// The bytes of the activity file.
///
/// Messages: file id, start of the timer, records with a lap after each mark, stop of the timer, session, activity.
/// The maker is the protocol's «development», so that nobody takes the file for that of a device.
pub fn encode(ride: &SimulatedRide) -> Result<Vec<u8>, Error> {
    let mut fit = FIT { messages: messages(ride), ..FIT::default() };
    let mut writer = FromStd::new(Cursor::new(Vec::new()));
    // Sixteen local message types keep one definition for each kind, also where a channel comes and goes.
    let mut encoder = Encoder::builder().header_option(HeaderOption::Normal(15)).build();
    encoder
        .encode(&mut writer, &mut fit)
        .map_err(|e| Error::NotEncoded { file: ride.file.clone(), reason: e.to_string() })?;
    Ok(writer.into_inner().into_inner())
}

fn time(unix_s: i64) -> typedef::DateTime {
    typedef::DateTime::from_unix_timestamp(unix_s)
}

fn messages(ride: &SimulatedRide) -> Vec<Message> {
    let last_ms = ride.lap_marks_ms.last().copied().unwrap_or(0);
    let end_s = ride.start_s + i64::from(last_ms / 1000);
    let mut file = mesgdef::FileId::new();
    file.r#type = typedef::File::ACTIVITY;
    file.manufacturer = typedef::Manufacturer::DEVELOPMENT;
    file.product = 1;
    file.serial_number = 1;
    file.time_created = time(ride.start_s);
    let mut messages = vec![Message::from(file), timer(ride.start_s, typedef::EventType::START)];
    let mut laps = Laps { ride, from_ms: 0, next: 0 };
    for reading in &ride.readings {
        laps.until(reading.time_s, &mut messages);
        messages.push(record(reading));
    }
    messages.push(timer(end_s, typedef::EventType::STOP_ALL));
    laps.until(i64::MAX, &mut messages);
    messages.push(session(ride, last_ms, end_s));
    let mut activity = mesgdef::Activity::new();
    activity.timestamp = time(end_s);
    activity.total_timer_time = last_ms;
    activity.num_sessions = 1;
    activity.r#type = typedef::Activity::MANUAL;
    activity.event = typedef::Event::ACTIVITY;
    activity.event_type = typedef::EventType::STOP;
    messages.push(activity.into());
    messages
}

fn timer(unix_s: i64, kind: typedef::EventType) -> Message {
    let mut event = mesgdef::Event::new();
    event.timestamp = time(unix_s);
    event.event = typedef::Event::TIMER;
    event.event_type = kind;
    event.into()
}

fn record(reading: &Reading) -> Message {
    let mut record = mesgdef::Record::new();
    record.timestamp = time(reading.time_s);
    record.speed = reading.speed_mm_s;
    record.distance = reading.distance_cm;
    record.temperature = reading.temperature_c;
    if let Some(power) = reading.power_w {
        record.power = power;
    }
    if let Some(place) = reading.place {
        record.position_lat = place.latitude;
        record.position_long = place.longitude;
        record.altitude = place.altitude;
    }
    record.into()
}

/// Laps not yet written.
struct Laps<'a> {
    ride: &'a SimulatedRide,
    from_ms: u32,
    next: usize,
}

impl Laps<'_> {
    /// Writes the laps that ended before a time. Their length is kept to the millisecond, their stamps are whole
    /// seconds: a reader finds the marks by adding lengths up from the start.
    fn until(&mut self, unix_s: i64, messages: &mut Vec<Message>) {
        while let Some(&mark_ms) = self.ride.lap_marks_ms.get(self.next) {
            let end_s = self.ride.start_s + i64::from(mark_ms / 1000);
            if end_s >= unix_s {
                return;
            }
            let last = self.next + 1 == self.ride.lap_marks_ms.len();
            let mut lap = mesgdef::Lap::new();
            lap.message_index = typedef::MessageIndex(self.next as u16);
            lap.timestamp = time(end_s);
            lap.start_time = time(self.ride.start_s + i64::from(self.from_ms / 1000));
            lap.total_elapsed_time = mark_ms - self.from_ms;
            lap.total_timer_time = mark_ms - self.from_ms;
            lap.event = typedef::Event::LAP;
            lap.event_type = typedef::EventType::STOP;
            lap.lap_trigger = if last { typedef::LapTrigger::SESSION_END } else { typedef::LapTrigger::MANUAL };
            messages.push(lap.into());
            self.from_ms = mark_ms;
            self.next += 1;
        }
    }
}

fn session(ride: &SimulatedRide, last_ms: u32, end_s: i64) -> Message {
    let mut session = mesgdef::Session::new();
    session.timestamp = time(end_s);
    session.start_time = time(ride.start_s);
    session.total_elapsed_time = last_ms;
    session.total_timer_time = last_ms;
    session.total_distance = ride.readings.last().map_or(0, |r| r.distance_cm);
    session.sport = typedef::Sport::CYCLING;
    session.event = typedef::Event::SESSION;
    session.event_type = typedef::EventType::STOP;
    session.first_lap_index = 0;
    session.num_laps = ride.lap_marks_ms.len() as u16;
    session.trigger = typedef::SessionTrigger::ACTIVITY_END;
    session.into()
}
