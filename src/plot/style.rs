//! How every figure looks: width, letter sizes, inks, markers and dashes.
//!
//! Given the three choices of a reader ([`Style`]); gives sizes in mm and the identity of each set-up. It draws nothing.
//!
//! Colours are the eight of Okabe & Ito (2008, *Color Universal Design*, jfly.uni-koeln.de/color), made to be told
//! apart by readers with any of the common colour-vision deficiencies. No meaning rests on colour alone: every set-up
//! also has its own marker and dash, so a grey print loses nothing.

use super::lettering::Letters;
use crate::units::Units;

/// Red, green and blue, 0 to 255.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ink {
    pub red: u8,
    pub green: u8,
    pub blue: u8,
}

impl Ink {
    pub const fn new(red: u8, green: u8, blue: u8) -> Self {
        Ink { red, green, blue }
    }

    /// A neutral grey.
    pub const fn grey(level: u8) -> Self {
        Ink::new(level, level, level)
    }
}

/// Text and the lines that carry the message.
pub const TEXT: Ink = Ink::grey(26);
/// Secondary text; 7:1 against white.
pub const MUTED: Ink = Ink::grey(85);
/// Axis lines and ticks.
pub const AXIS: Ink = Ink::grey(110);
/// Grid lines.
pub const GRID: Ink = Ink::grey(222);
/// Lines of what is not used.
pub const LEFT_OUT: Ink = Ink::grey(150);
/// Background of what is not used.
pub const SHADE: Ink = Ink::grey(236);
/// Paper.
pub const PAPER: Ink = Ink::grey(255);

/// Okabe & Ito 2008 without yellow, which is too pale for lines on white, darkest contrasts first.
const PALETTE: [Ink; 7] = [
    Ink::new(0, 114, 178),
    Ink::new(213, 94, 0),
    Ink::new(0, 158, 115),
    Ink::new(204, 121, 167),
    Ink::new(86, 180, 233),
    Ink::new(230, 159, 0),
    Ink::new(0, 0, 0),
];

/// The greys that stand for the palette; neighbours differ by at least 60 levels.
const GREYS: [Ink; 7] =
    [Ink::grey(0), Ink::grey(130), Ink::grey(65), Ink::grey(165), Ink::grey(30), Ink::grey(100), Ink::grey(40)];

/// Form of a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    Disc,
    Square,
    Diamond,
    TriangleUp,
    TriangleDown,
    Cross,
    Plus,
}

const FORMS: [Form; 7] =
    [Form::Disc, Form::Square, Form::Diamond, Form::TriangleUp, Form::TriangleDown, Form::Cross, Form::Plus];

/// Rhythm of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Dash {
    #[default]
    Solid,
    Long,
    Dotted,
    LongDotted,
}

impl Dash {
    /// Lengths of strokes and gaps in turn, units of the sheet; empty for a line without gaps.
    pub const fn units(self) -> &'static [u32] {
        match self {
            Dash::Solid => &[],
            Dash::Long => &[32, 20],
            Dash::Dotted => &[9, 14],
            Dash::LongDotted => &[36, 14, 9, 14],
        }
    }
}

const DASHES: [Dash; 4] = [Dash::Solid, Dash::Long, Dash::Dotted, Dash::LongDotted];

/// What marks one set-up in every figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Identity {
    pub ink: Ink,
    pub form: Form,
    /// Drawn as an outline; from the eighth set-up on.
    pub open: bool,
    pub dash: Dash,
}

/// A line to draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    pub ink: Ink,
    pub width_mm: f64,
    /// 0 to 1.
    pub opacity: f64,
    pub dash: Dash,
}

impl Stroke {
    pub const fn new(ink: Ink, width_mm: f64) -> Self {
        Stroke { ink, width_mm, opacity: 1.0, dash: Dash::Solid }
    }

    pub const fn dashed(self, dash: Dash) -> Self {
        Stroke { dash, ..self }
    }

    pub const fn faint(self, opacity: f64) -> Self {
        Stroke { opacity, ..self }
    }
}

/// What a reader may choose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Style {
    /// Width on paper, mm: 160 for a text column, 80 for a half column or a phone.
    pub width_mm: f64,
    /// Greys only.
    pub grey: bool,
    /// Decimal comma instead of the point.
    pub decimal_comma: bool,
    /// What speeds and lengths are in.
    pub units: Units,
    /// A figure is painted as a picture too.
    pub picture: bool,
}

impl Default for Style {
    fn default() -> Self {
        Style { width_mm: 160.0, grey: false, decimal_comma: false, units: Units::Metric, picture: false }
    }
}

/// Width of figures on a phone, mm.
const PHONE_MM: f64 = 80.0;

impl Style {
    /// The same for a phone, where figures stand in a page and need no picture beside them.
    pub fn for_phone(&self) -> Style {
        Style { width_mm: PHONE_MM, picture: false, ..*self }
    }

    /// Width that is drawn: what was asked, between 70 and 400 mm.
    pub fn width(&self) -> f64 {
        if self.width_mm.is_finite() { self.width_mm.clamp(70.0, 400.0) } else { 160.0 }
    }

    /// Panels stand above each other and letters are smaller.
    pub fn narrow(&self) -> bool {
        self.width() < 110.0
    }

    /// Height of the letters, mm (1 pt is 0.353 mm).
    pub fn size(&self, letters: Letters) -> f64 {
        match (letters, self.narrow()) {
            (Letters::Title, false) => 3.9,
            (Letters::Body, false) => 3.2,
            (Letters::Small, false) => 2.8,
            (Letters::Title, true) => 3.1,
            (Letters::Body, true) => 2.6,
            (Letters::Small, true) => 2.35,
        }
    }

    /// Distance between base lines, mm.
    pub fn leading(&self, letters: Letters) -> f64 {
        self.size(letters) * 1.3
    }

    /// The mark of the set-up with this index; any index is good.
    pub fn identity(&self, setup: usize) -> Identity {
        let round = setup / PALETTE.len();
        let inks = if self.grey { &GREYS } else { &PALETTE };
        Identity {
            ink: inks[setup % inks.len()],
            form: FORMS[(setup + round) % FORMS.len()],
            open: round % 2 == 1,
            dash: DASHES[setup % DASHES.len()],
        }
    }

    /// An ink of the palette by its place, for series that are not set-ups.
    pub fn ink(&self, place: usize) -> Ink {
        self.identity(place).ink
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twelve_set_ups_have_twelve_different_marks_even_in_grey() {
        for grey in [false, true] {
            let style = Style { grey, ..Style::default() };
            for a in 0..12 {
                for b in 0..a {
                    let (one, other) = (style.identity(a), style.identity(b));
                    assert!(one.form != other.form || one.open != other.open, "{a} and {b} look alike");
                }
            }
        }
    }

    #[test]
    fn a_width_that_is_not_a_number_falls_back_to_the_text_column() {
        assert_eq!(Style { width_mm: f64::NAN, ..Style::default() }.width(), 160.0);
        assert_eq!(Style { width_mm: 1e9, ..Style::default() }.width(), 400.0);
    }
}
