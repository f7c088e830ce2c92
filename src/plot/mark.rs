//! One mark on a sheet: its form, its ink, and what it tells.
//!
//! Given by the sheet that it stands on; both ways of drawing, SVG and picture, take it from here. It draws nothing.

use super::style::{Dash, Ink};

/// Units of the sheet to the mm (about four to a screen pixel): marks stand on whole units.
pub const UNITS_PER_MM: f64 = 16.0;
/// Width of the line around words that keeps them clear of what they stand on, half of it under the letters, units.
pub const RIM: u32 = 14;

/// Which side of its place a word stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

/// What a mark tells beside its form: words for the pointer, and the lap it belongs to so that a page can hide it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Note {
    pub tip: String,
    pub lap: Option<LapKey>,
}

impl Note {
    pub fn tip(tip: impl Into<String>) -> Note {
        Note { tip: tip.into(), lap: None }
    }

    pub fn of_lap(tip: impl Into<String>, run: usize, lap: usize) -> Note {
        Note { tip: tip.into(), lap: Some(LapKey { run, lap }) }
    }
}

/// Run and lap, both from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LapKey {
    pub run: usize,
    pub lap: usize,
}

/// Form of a mark, in units of the sheet.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    Line(Vec<(i32, i32)>),
    Area(Vec<(i32, i32)>),
    Disc { centre: (i32, i32), radius: u32 },
    Box([(i32, i32); 2]),
    Words { at: (i32, i32), text: String, size: f64, bold: bool, anchor: Anchor },
}

/// One thing drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    pub shape: Shape,
    pub ink: Ink,
    pub opacity: f64,
    /// Line width in units.
    pub width: u32,
    pub filled: bool,
    pub dash: Dash,
    /// Words keep a rim of paper around them.
    pub halo: bool,
    pub note: Note,
}
