//! The series that are drawn of an inspected ride.
//!
//! Given records and laps; holds their series. It draws nothing.

use crate::evidence::{LinePoint, RunEvidence};

/// Series for a time line and a map.
#[derive(Debug, Clone, Default)]
pub struct Drawn {
    /// Speed and power of every record; `used` where it is part of a lap that nothing speaks against.
    pub run: RunEvidence,
    /// The loop in a plane; empty where no laps were found by positions.
    pub line: Vec<LinePoint>,
}
