//! Heading and key strip: what stands above the panels.
//!
//! Given words and samples; puts them on the sheet in rows and says how far down they reach. It knows no data.

use super::lettering::Letters;
use super::marker::marker;
use super::polyline::{Frame, Point};
use super::sheet::{Anchor, Note, Sheet};
use super::style::{Identity, Ink, MUTED, Stroke, TEXT};

/// Room at every edge of the sheet, mm.
pub const MARGIN: f64 = 1.5;

/// What stands before the words of a key.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sample {
    Line(Stroke),
    Mark(Identity),
    Swatch {
        ink: Ink,
        opacity: f64,
    },
    /// A level bar of this half height, mm, as it stands in the figure.
    Bar {
        half_mm: f64,
        ink: Ink,
    },
    /// An upright stroke of this half height, mm.
    Upright {
        half_mm: f64,
        stroke: Stroke,
    },
}

/// One entry of a key strip.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    pub sample: Sample,
    pub text: String,
}

impl Entry {
    pub fn new(sample: Sample, text: impl Into<String>) -> Entry {
        Entry { sample, text: text.into() }
    }
}

/// Bold heading at the top left; returns the height it takes, mm.
pub fn heading(sheet: &mut Sheet, title: &str) -> f64 {
    let room = sheet.style.width() - 2.0 * MARGIN;
    let mut base = MARGIN;
    for line in sheet.wrap(title, room, 2, Letters::Title) {
        base += if base == MARGIN { sheet.style.size(Letters::Title) } else { sheet.style.leading(Letters::Title) };
        sheet.words(Point::new(MARGIN, base), &line, Letters::Title, Anchor::Start, TEXT);
    }
    base + 1.2
}

/// Entries from left to right in as many rows as needed; returns where the next thing may begin, mm.
pub fn strip(sheet: &mut Sheet, top: f64, entries: &[Entry]) -> f64 {
    if entries.is_empty() {
        return top;
    }
    let size = sheet.style.size(Letters::Small);
    let (sample, gap) = (6.0, 4.0);
    let right = sheet.style.width() - MARGIN;
    let mut left = MARGIN;
    let mut base = top + size * 1.15;
    for entry in entries {
        // A long list goes in two columns at least.
        let share = if entries.len() > 4 && !sheet.style.narrow() { 0.5 } else { 1.0 };
        let room = (right - MARGIN) * share - sample - 1.0 - if share < 1.0 { gap / 2.0 } else { 0.0 };
        let text = sheet.shorten(&entry.text, room, Letters::Small);
        let wide = sample + 1.0 + sheet.width_of(&text, Letters::Small);
        if left > MARGIN && left + wide > right {
            left = MARGIN;
            base += sheet.style.leading(Letters::Small) + 0.3;
        }
        let middle = Point::new(left + sample / 2.0, base - size * 0.35);
        match entry.sample {
            Sample::Line(stroke) => sheet.rule(
                Point::new(left, middle.y),
                Point::new(left + sample, middle.y),
                Stroke { width_mm: stroke.width_mm.max(0.3), ..stroke },
            ),
            Sample::Upright { half_mm, stroke } => {
                sheet.rule(Point::new(middle.x, middle.y - half_mm), Point::new(middle.x, middle.y + half_mm), stroke)
            }
            Sample::Mark(identity) => marker(sheet, middle, &identity, 1.0, &Note::default()),
            Sample::Bar { half_mm, ink } => {
                let frame = Frame { left, right: left + sample, top: middle.y - half_mm, bottom: middle.y + half_mm };
                sheet.block(frame, ink, 1.0, &Note::default());
            }
            Sample::Swatch { ink, opacity } => {
                let frame = Frame {
                    left: left + 0.5,
                    right: left + sample - 0.5,
                    top: middle.y - size * 0.35,
                    bottom: middle.y + size * 0.35,
                };
                sheet.block(frame, ink, opacity, &Note::default());
            }
        }
        sheet.words(Point::new(left + sample + 1.0, base), &text, Letters::Small, Anchor::Start, MUTED);
        left += wide + gap;
    }
    base + size * 0.6
}

/// One entry for each set-up; none when there is only one.
pub fn set_ups(sheet: &Sheet, names: &[String]) -> Vec<Entry> {
    if names.len() < 2 {
        return Vec::new();
    }
    names
        .iter()
        .enumerate()
        .map(|(index, name)| Entry::new(Sample::Mark(sheet.style.identity(index)), name.clone()))
        .collect()
}
