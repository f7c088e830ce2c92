//! Widths of text before it is drawn, breaking into lines and shortening.
//!
//! Given text and a letter size; gives mm. The viewer chooses the real font, so widths are those of Helvetica (Adobe
//! Core 14 font metrics, advance widths in thousandths of the letter size) with a reserve for a broader one.

/// Role of a piece of text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Letters {
    /// Heading of the figure, bold.
    Title,
    /// Axis titles and names.
    Body,
    /// Tick labels and notes.
    Small,
}

/// Fonts in the order they are looked for; all but the last are as wide as Helvetica or narrower.
pub const FAMILY: &str = "Helvetica,Arial,Liberation Sans,Roboto,sans-serif";

/// A viewer without any of those fonts draws this much wider.
const RESERVE: f64 = 1.08;
/// Bold against regular.
const BOLD: f64 = 1.07;

/// Advance widths of the characters from U+0020 to U+007E.
const ADVANCE: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, // space to /
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, // 0 to ?
    1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778, // @ to O
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556, // P to _
    333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, // ` to o
    556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584, // p to ~
];

/// Advance of one character in parts of the letter size.
fn advance(character: char) -> f64 {
    let code = character as u32;
    let thousandths = match code {
        0x20..=0x7e => ADVANCE[(code - 0x20) as usize],
        0x300..=0x36f | 0x200b..=0x200f | 0xfe00..=0xfe0f => 0,
        0xb0 | 0xb2 | 0xb3 | 0xb9 => 400,
        0xb7 => 278,
        0x2013 => 556,
        0x2014 | 0x2026 => 1000,
        0x2212 | 0xb1 | 0xd7 | 0xf7 => 584,
        0xc0..=0x24f => 667,
        0x370..=0x52f => 720,
        0x1100..=0xffff => 1000,
        0x1_0000.. => 1200,
        _ => 700,
    };
    f64::from(thousandths) / 1000.0
}

/// A letter that stands over or between others.
pub fn takes_no_room(character: char) -> bool {
    advance(character) == 0.0
}

/// Width of a text at a letter size, in the unit of the size.
pub fn width(text: &str, size: f64, letters: Letters) -> f64 {
    let bold = if letters == Letters::Title { BOLD } else { 1.0 };
    text.chars().map(advance).sum::<f64>() * size * RESERVE * bold
}

/// The text, shortened with an ellipsis when it is wider than `room`.
pub fn shorten(text: &str, room: f64, size: f64, letters: Letters) -> String {
    if width(text, size, letters) <= room {
        return text.to_string();
    }
    let mut kept = String::new();
    for character in text.chars() {
        let mut longer = kept.clone();
        longer.push(character);
        if width(&format!("{longer}…"), size, letters) > room {
            break;
        }
        kept = longer;
    }
    format!("{}…", kept.trim_end())
}

/// The text in at most `most` lines no wider than `room`; what does not fit ends in an ellipsis.
pub fn wrap(text: &str, room: f64, most: usize, size: f64, letters: Letters) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    let mut words = text.split_whitespace();
    while let Some(word) = words.next() {
        let longer = if line.is_empty() { word.to_string() } else { format!("{line} {word}") };
        if line.is_empty() || width(&longer, size, letters) <= room {
            line = longer;
        } else if lines.len() + 1 >= most {
            // The last line takes all that is left, to be shortened below.
            line = longer;
            for rest in words.by_ref() {
                line.push(' ');
                line.push_str(rest);
            }
        } else {
            lines.push(std::mem::replace(&mut line, word.to_string()));
        }
    }
    lines.push(line);
    lines.iter().map(|line| shorten(line, room, size, letters)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrapped_name_keeps_to_its_room_and_loses_nothing_when_it_fits() {
        let text = "28 mm tubeless, latex sealant, 5.4 bar";
        let lines = wrap(text, 40.0, 3, 3.0, Letters::Body);
        assert_eq!(lines.join(" "), text);
        assert!(lines.iter().all(|line| width(line, 3.0, Letters::Body) <= 40.0));
    }

    #[test]
    fn one_endless_word_is_cut_and_marked() {
        let lines = wrap(&"W".repeat(400), 30.0, 2, 3.0, Letters::Body);
        assert!(lines.len() <= 2);
        assert!(lines.last().is_some_and(|line| line.ends_with('…')));
        assert!(lines.iter().all(|line| width(line, 3.0, Letters::Body) <= 30.0));
    }
}
