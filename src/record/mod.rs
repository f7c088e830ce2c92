//! Files in: a ride file becomes a [`Recording`], plain columns with missing values as NaN.
//!
//! Given a path or bytes; decodes what is sound and says what is not. It never resamples, never fills a
//! hole and never decides what a lap is.

use crate::finding::What;

/// Where a recording came from, so that a reader can check that it is the same file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Provenance {
    /// File name without folders.
    pub file: String,
    /// SHA-256 of the whole file, lower-case hexadecimal.
    pub sha256: String,
    pub bytes: u64,
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
