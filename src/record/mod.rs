//! Files in: a ride file becomes a [`Recording`], plain columns with missing values as NaN.
//!
//! Given a path or bytes; decodes what is sound and says what is not. It never resamples, never fills a
//! hole and never decides what a lap is.

use std::path::Path;

use sha2::{Digest, Sha256};

use crate::error::Error;
use crate::finding::What;

mod activity;
mod channel;
mod checksum;
mod column;
mod csv;
mod definition;
mod developer;
mod fit;
mod frame;
mod join;
mod message;
mod recovery;
mod row;
mod section;
mod source;
mod sport;
mod timeline;
mod timing;

pub use channel::Channel;
pub use checksum::crc16;
pub(crate) use column::QUOTED;
pub use csv::parse_csv;
pub(crate) use csv::{NO_HEADING, lacks_heading, plain_reason};
pub use fit::decode_fit;
pub use join::{JOIN_TOLERANCE_S, join};
pub use source::{read_regular, shown_name};

/// Largest file that is read, bytes: a day at ten records a second and a hundred bytes each is two thirds of it.
pub const MAX_FILE_BYTES: u64 = 128 * 1024 * 1024;
/// Most records that are read: a day at ten a second, or eleven days at one. To inspect so many takes 4 s of processor time
/// and 0.4 GB (measured on a table of 39 MB).
pub const MAX_RECORDS: usize = 1_000_000;
/// Fewest bytes of a record or row; files too short for more than [`MAX_RECORDS`] of them are not counted beforehand.
const FEWEST_BYTES: usize = 4;
/// Most lap marks, pauses or sport sessions of a file: one every fifty records of the largest.
pub const MAX_MARKS: usize = 100_000;
/// Most recordings that stand one after another in a FIT file.
pub const MAX_PARTS: usize = 1000;

/// Where a recording came from, so that a reader can check that it is the same file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Provenance {
    /// File name without folders.
    pub file: String,
    /// SHA-256 of the whole file, lower-case hexadecimal.
    pub sha256: String,
    pub bytes: u64,
}

impl Provenance {
    /// That of the bytes of a file.
    fn of(bytes: &[u8], file: &str) -> Self {
        Provenance { file: file.into(), sha256: sha256_hex(bytes), bytes: bytes.len() as u64 }
    }
}

/// SHA-256 in lower-case hexadecimal, by which a file is known again.
pub fn sha256_hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// One ride as its device wrote it. All columns have the length of `time_s`; a missing value is NaN.
#[derive(Debug, Clone, Default)]
pub struct Recording {
    pub provenance: Provenance,
    /// Unix time, s, strictly increasing.
    pub time_s: Vec<f64>,
    pub power_w: Vec<f64>,
    pub speed_m_s: Vec<f64>,
    pub distance_m: Vec<f64>,
    pub latitude_deg: Vec<f64>,
    pub longitude_deg: Vec<f64>,
    pub altitude_m: Vec<f64>,
    pub cadence_rpm: Vec<f64>,
    pub temperature_c: Vec<f64>,
    /// Unix times of the lap marks, s, increasing (the end of each lap, fractions kept).
    pub lap_marks_s: Vec<f64>,
    /// Unix times between which the timer stood still, s.
    pub pauses_s: Vec<Pause>,
    /// What was lost or odd while reading.
    pub findings: Vec<What>,
}

/// A stretch in which the timer was stopped, Unix time in s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pause {
    pub from_s: f64,
    pub to_s: f64,
}

impl Recording {
    pub fn len(&self) -> usize {
        self.time_s.len()
    }

    pub fn is_empty(&self) -> bool {
        self.time_s.is_empty()
    }

    /// Whether any value of the column is present.
    pub fn has(column: &[f64]) -> bool {
        column.iter().any(|x| x.is_finite())
    }
}

#[cfg(test)]
impl Recording {
    /// Times and speeds, 200 W, and nothing in the other columns.
    pub(crate) fn of_speeds(time_s: Vec<f64>, speed_m_s: Vec<f64>) -> Recording {
        let nothing = vec![f64::NAN; time_s.len()];
        Recording {
            power_w: vec![200.0; time_s.len()],
            time_s,
            speed_m_s,
            distance_m: nothing.clone(),
            latitude_deg: nothing.clone(),
            longitude_deg: nothing.clone(),
            altitude_m: nothing.clone(),
            cadence_rpm: nothing.clone(),
            temperature_c: nothing,
            ..Recording::default()
        }
    }
}

/// Reads a ride file. What it holds decides how it is read, not its name: a FIT header, or else CSV text.
///
/// Errors: [`Error::Unreadable`], [`Error::TooLarge`] above [`MAX_FILE_BYTES`], and those of [`decode_fit`] and
/// [`parse_csv`]. Messages carry the file name without its folder.
pub fn read(path: &Path) -> Result<Recording, Error> {
    let file = shown_name(path);
    let bytes = source::read_accepted(path, MAX_FILE_BYTES, |head| refuse_other_kinds(head, &file))?;
    decode(&bytes, &file)
}

/// Decodes the bytes of a ride file of either kind.
pub fn decode(bytes: &[u8], file: &str) -> Result<Recording, Error> {
    refuse_large(bytes.len() as u64, file)?;
    refuse_other_kinds(bytes, file)?;
    if section::is_header(bytes) {
        return decode_fit(bytes, file);
    }
    parse_csv(bytes, file).map_err(|e| match e {
        Error::BadLine { line: 1, .. } if file.to_lowercase().ends_with(".fit") => Error::NotARide {
            file: file.into(),
            reason: "its name says FIT, but it has neither a FIT header nor the columns of a table".into(),
        },
        other => other,
    })
}

/// Refuses what its beginning shows to be no ride.
fn refuse_other_kinds(head: &[u8], file: &str) -> Result<(), Error> {
    if section::is_header(head) {
        return Ok(());
    }
    let reason = match head {
        [] => "it is empty",
        [0x1F, 0x8B, ..] | [b'P', b'K', 3, 4, ..] => "it is compressed; unpack it first",
        [12 | 14, ..] if head.len() < 14 => "it ends within its FIT header",
        [b'<', ..] | [0xEF, 0xBB, 0xBF, b'<', ..] => "it is XML",
        [0xFE, 0xFF, ..] | [0xFF, 0xFE, ..] => "it is text in UTF-16; save it as UTF-8",
        _ if head.contains(&0) => "it is neither FIT nor text",
        _ => return Ok(()),
    };
    Err(Error::NotARide { file: file.into(), reason: reason.into() })
}

fn refuse_large(bytes: u64, file: &str) -> Result<(), Error> {
    refuse_large_above(MAX_FILE_BYTES, bytes, file)
}

fn refuse_large_above(limit: u64, bytes: u64, file: &str) -> Result<(), Error> {
    if bytes > limit {
        return Err(Error::TooLarge { file: file.into(), what: "size in bytes", value: bytes, limit });
    }
    Ok(())
}

fn refuse_above(limit: usize, value: usize, what: &'static str, file: &str) -> Result<(), Error> {
    if value > limit {
        return Err(Error::TooLarge { file: file.into(), what, value: value as u64, limit: limit as u64 });
    }
    Ok(())
}

/// Refuses a file of too many rows or records before any is decoded; `count` is asked for long files only.
fn refuse_many(bytes: &[u8], what: &'static str, file: &str, count: impl Fn() -> usize) -> Result<(), Error> {
    if bytes.len() <= MAX_RECORDS * FEWEST_BYTES { Ok(()) } else { refuse_above(MAX_RECORDS, count(), what, file) }
}
