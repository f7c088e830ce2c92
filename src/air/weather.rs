//! A weather log: readings by the clock, interpolated to the instant of a sample.
//!
//! Given the text of a CSV with the columns `time, temperature_c, pressure_hpa, humidity_pct` and, both or neither,
//! `wind_speed_m_s, wind_from_deg`; `time` is RFC 3339 with an offset or Unix seconds. Gives the weather at an
//! instant. It opens no file, and it never carries a reading further than [`REACH_S`] past the ends of the log or
//! across a hole longer than [`LONGEST_HOLE_S`].

use super::wind::WindVector;
use crate::error::{Error, outside};
use crate::printable::excerpt;
use crate::quantity::pa_from_hpa;
use crate::record::{NO_HEADING, QUOTED, lacks_heading, plain_reason};

/// How long the first and the last reading hold outside the log, s.
pub const REACH_S: f64 = 1800.0;
/// Longest time between two readings that is interpolated, s: the interval of synoptic reports.
pub const LONGEST_HOLE_S: f64 = 10_800.0;

const COLUMNS: [&str; 6] = ["time", "temperature_c", "pressure_hpa", "humidity_pct", "wind_speed_m_s", "wind_from_deg"];
/// How many of the columns must be there; the others are the wind.
const NEEDED: usize = 4;

/// The weather at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weather {
    pub temperature_c: f64,
    pub pressure_pa: f64,
    pub humidity_pct: f64,
    /// As read, at the height of the gauge; `None` when the log has no wind.
    pub wind: Option<WindVector>,
}

#[derive(Debug, Clone, Copy)]
struct Reading {
    unix_s: f64,
    weather: Weather,
}

/// Readings in order of time.
#[derive(Debug, Clone)]
pub struct WeatherLog {
    file: String,
    readings: Vec<Reading>,
}

impl WeatherLog {
    /// Reads a log; `file` is only used in messages.
    ///
    /// Errors: [`Error::BadLine`] with the line where a column, number, range or the order of time is wrong.
    ///
    /// ```
    /// use loopwright::air::WeatherLog;
    /// let text = "time,temperature_c,pressure_hpa,humidity_pct\n\
    ///             2026-06-01T08:00:00Z,18.0,978.0,60\n\
    ///             2026-06-01T08:30:00Z,19.0,977.0,58\n";
    /// let log = WeatherLog::parse(text, "weather.csv").unwrap();
    /// let at_quarter_past = log.at(1_780_300_800.0 + 900.0).unwrap();
    /// assert!((at_quarter_past.temperature_c - 18.5).abs() < 1e-9);
    /// ```
    pub fn parse(text: &str, file: &str) -> Result<WeatherLog, Error> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut reader =
            csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(text.as_bytes());
        let bad = |line: u64, message: String| Error::BadLine { file: file.into(), line: line as usize, message };
        let broken = |e: csv::Error| bad(e.position().map_or(1, |p| p.line()), plain_reason(&e));
        let header = reader.headers().map_err(broken)?.clone();
        let places = columns(&header).map_err(|message| bad(header.position().map_or(1, |p| p.line()), message))?;
        let mut readings: Vec<Reading> = Vec::new();
        for record in reader.records() {
            let record = record.map_err(broken)?;
            let line = record.position().map_or(0, |p| p.line());
            let reading = reading(&record, &places).map_err(|message| bad(line, message))?;
            if let Some(before) = readings.last()
                && reading.unix_s <= before.unix_s
            {
                let message = "this reading is not later than the one before; sort the log by time and drop repeats";
                return Err(bad(line, message.into()));
            }
            readings.push(reading);
        }
        if readings.is_empty() {
            return Err(bad(1, "the log has no readings; add at least one line of weather".into()));
        }
        if readings.iter().all(|r| r.weather.humidity_pct <= 1.0)
            && readings.iter().any(|r| r.weather.humidity_pct > 0.0)
        {
            let message = "every humidity_pct is at most 1, which looks like a fraction; give per cent, such as 60";
            return Err(bad(2, message.into()));
        }
        Ok(WeatherLog { file: file.into(), readings })
    }

    /// The weather at a Unix time, or `None` where the log is silent.
    ///
    /// Linear between two readings (the wind as a vector); the first and last hold for [`REACH_S`].
    pub fn at(&self, unix_s: f64) -> Option<Weather> {
        let after = self.readings.partition_point(|r| r.unix_s <= unix_s);
        let later = self.readings.get(after);
        let earlier = after.checked_sub(1).and_then(|i| self.readings.get(i));
        match (earlier, later) {
            (Some(a), Some(b)) => {
                let hole = b.unix_s - a.unix_s;
                (hole <= LONGEST_HOLE_S).then(|| between(&a.weather, &b.weather, (unix_s - a.unix_s) / hole))
            }
            (Some(a), None) => (unix_s - a.unix_s <= REACH_S).then_some(a.weather),
            (None, Some(b)) => (b.unix_s - unix_s <= REACH_S).then_some(b.weather),
            (None, None) => None,
        }
    }

    /// Refuses a ride that the log does not cover from beginning to end.
    ///
    /// Errors: [`Error::Inconsistent`] that says by how much it is missed.
    pub fn check_covers(&self, from_unix_s: f64, to_unix_s: f64) -> Result<(), Error> {
        let silent = |message: String| Err(Error::Inconsistent { file: self.file.clone(), line: None, message });
        let (Some(first), Some(last)) = (self.readings.first(), self.readings.last()) else {
            return silent("the weather log is empty".into());
        };
        let early = first.unix_s - from_unix_s;
        let late = to_unix_s - last.unix_s;
        let (miss, which) = if early > late { (early, "before its first") } else { (late, "after its last") };
        if miss > REACH_S {
            return silent(format!(
                "the ride reaches {:.0} min {which} reading, {:.0} min is the limit; check the time zone of the log \
                 (RFC 3339 with an offset, such as 2026-06-01T10:00:00+02:00) or add readings",
                miss / 60.0,
                REACH_S / 60.0
            ));
        }
        for pair in self.readings.windows(2) {
            let [a, b] = pair else { continue };
            if b.unix_s - a.unix_s > LONGEST_HOLE_S && a.unix_s < to_unix_s && b.unix_s > from_unix_s {
                return silent(format!(
                    "the weather log is silent for {:.0} min during the ride, {:.0} min is the limit; add readings",
                    (b.unix_s - a.unix_s) / 60.0,
                    LONGEST_HOLE_S / 60.0
                ));
            }
        }
        Ok(())
    }
}

fn between(a: &Weather, b: &Weather, share: f64) -> Weather {
    let mix = |from: f64, to: f64| from + share * (to - from);
    Weather {
        temperature_c: mix(a.temperature_c, b.temperature_c),
        pressure_pa: mix(a.pressure_pa, b.pressure_pa),
        humidity_pct: mix(a.humidity_pct, b.humidity_pct),
        wind: a.wind.zip(b.wind).map(|(from, to)| from.towards(to, share)),
    }
}

/// Where each of [`COLUMNS`] stands in the header; the wind may be absent.
fn columns(header: &csv::StringRecord) -> Result<[Option<usize>; 6], String> {
    if lacks_heading(header) {
        return Err(format!("{NO_HEADING}: {}", COLUMNS.join(",")));
    }
    let mut places = [None; 6];
    for (i, name) in header.iter().enumerate() {
        let Some(known) = COLUMNS.iter().position(|c| *c == name) else {
            if name.contains([';', '\t']) {
                return Err("the columns are parted by something else; part them by commas, with decimal points".into());
            }
            let near = |a: &&&str, b: &&&str| strsim::jaro_winkler(name, a).total_cmp(&strsim::jaro_winkler(name, b));
            let near = COLUMNS.iter().max_by(near).copied().unwrap_or("time");
            let name = excerpt(name, QUOTED);
            return Err(format!("unknown column «{name}» (nearest is «{near}»); known are {}", COLUMNS.join(", ")));
        };
        if places[known].replace(i).is_some() {
            return Err(format!("column «{name}» is there twice; remove one"));
        }
    }
    if let Some(missing) = (0..NEEDED).find(|&c| places[c].is_none()) {
        return Err(format!("there is no column «{}»; the first line must name the columns", COLUMNS[missing]));
    }
    if places[4].is_some() != places[5].is_some() {
        return Err("wind_speed_m_s and wind_from_deg go together; add the other or remove both".into());
    }
    Ok(places)
}

fn reading(record: &csv::StringRecord, places: &[Option<usize>; 6]) -> Result<Reading, String> {
    let cell = |column: usize| places[column].and_then(|i| record.get(i)).unwrap_or("");
    let within = |column: usize, low: f64, high: f64, hint: &str| -> Result<f64, String> {
        let (name, text) = (COLUMNS[column], cell(column));
        let value: f64 = text.parse().map_err(|_| not_a_number(name, text))?;
        if !(low..=high).contains(&value) {
            return Err(format!("{name} = {}", outside(value, low, high, hint)));
        }
        Ok(value)
    };
    let unix_s = unix_seconds(cell(0))?;
    let temperature_c = within(1, -30.0, 55.0, "in °C, not °F or K")?;
    let pressure_hpa = within(2, 500.0, 1100.0, "station pressure in hPa, not reduced to sea level")?;
    let humidity_pct = within(3, 0.0, 100.0, "in per cent")?;
    let wind = if places[4].is_some() {
        let speed = within(4, 0.0, 75.0, "in m/s, not km/h")?;
        let from = within(5, 0.0, 360.0, "where it blows from, degrees clockwise from north")?;
        Some(WindVector::from_speed_and_direction(speed, from))
    } else {
        None
    };
    let weather = Weather { temperature_c, pressure_pa: pa_from_hpa(pressure_hpa), humidity_pct, wind };
    Ok(Reading { unix_s, weather })
}

fn not_a_number(name: &str, text: &str) -> String {
    let shown = excerpt(text, 2 * QUOTED);
    let hint = if text.contains(',') { "; write a decimal point" } else { "" };
    format!("{name} = «{shown}» is not a number{hint}")
}

/// Unix seconds of an RFC 3339 time or of a plain number of Unix seconds.
fn unix_seconds(text: &str) -> Result<f64, String> {
    if let Ok(number) = text.parse::<f64>() {
        // From 1990 on: an earlier instant is a time of day, or seconds since the start of the ride.
        return if (631_152_000.0..=1e11).contains(&number) {
            Ok(number)
        } else {
            Err(format!("time = {number} is not a plausible Unix time in seconds; give those or RFC 3339"))
        };
    }
    let stamp: jiff::Timestamp = text.parse().map_err(|_| {
        let shown = excerpt(text, 2 * QUOTED);
        format!("time = «{shown}» is not RFC 3339 with an offset, such as 2026-06-01T10:00:00+02:00, nor Unix seconds")
    })?;
    Ok(stamp.as_second() as f64 + f64::from(stamp.subsec_nanosecond()) * 1e-9)
}

#[cfg(test)]
#[path = "weather_tests.rs"]
mod tests;
