//! Outlines of letters, for pictures: one font that comes with the program (Noto Sans), so that a picture is the same on
//! every machine.
//!
//! Given words, their size and place in dots; gives a path. A letter that the font lacks has the form of its empty box.

use super::lettering::{self, Letters};
use super::mark::Anchor;
use std::collections::BTreeSet;
use ttf_parser::{Face, GlyphId, OutlineBuilder};
use zeno::{Command, PathBuilder};

/// The font, its bold letters too.
pub struct LetterForms {
    regular: Face<'static>,
    bold: Face<'static>,
}

/// A line of words to be drawn.
pub struct Line<'a> {
    pub text: &'a str,
    /// Height of the letters, dots.
    pub size: f32,
    pub bold: bool,
    /// Place of the anchor on the base line, dots.
    pub at: [f32; 2],
    pub anchor: Anchor,
}

impl LetterForms {
    /// `None` when the built-in font cannot be read, a fault of the program.
    pub fn new() -> Option<LetterForms> {
        let face = |bytes| Face::parse(bytes, 0).ok();
        Some(LetterForms { regular: face(notosans::REGULAR_TTF)?, bold: face(notosans::BOLD_TTF)? })
    }

    /// Outlines of a line of words. No line is wider than the width it was laid out with: this font is a little broader than
    /// the widths in `lettering`, so its letters are drawn narrower where they have to be.
    pub fn outlines(&self, line: &Line) -> Vec<Command> {
        let face = if line.bold { &self.bold } else { &self.regular };
        let scale = line.size / f32::from(face.units_per_em());
        let glyphs: Vec<GlyphId> = line.text.chars().filter_map(|letter| glyph(face, letter)).collect();
        let width: f32 = glyphs.iter().map(|glyph| advance(face, *glyph)).sum::<f32>() * scale;
        let letters = if line.bold { Letters::Title } else { Letters::Body };
        let laid_out = lettering::width(line.text, f64::from(line.size), letters) as f32;
        let narrower = if width > laid_out { laid_out / width } else { 1.0 };
        let share_before = match line.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => 0.5,
            Anchor::End => 1.0,
        };
        let left = line.at[0] - share_before * width * narrower;
        let mut pen = Pen { path: Vec::new(), left, base: line.at[1], scale: [scale * narrower, scale] };
        for glyph in glyphs {
            face.outline_glyph(glyph, &mut pen);
            pen.left += advance(face, glyph) * pen.scale[0];
        }
        pen.path
    }
}

/// The form of a letter; none for one that takes no room and that the font does not know.
fn glyph(face: &Face, letter: char) -> Option<GlyphId> {
    match face.glyph_index(letter) {
        None if lettering::takes_no_room(letter) => None,
        known => Some(known.unwrap_or(GlyphId(0))),
    }
}

fn advance(face: &Face, glyph: GlyphId) -> f32 {
    f32::from(face.glyph_hor_advance(glyph).unwrap_or(0))
}

/// Letters among the words of an SVG figure that a picture of it shows as empty boxes.
pub fn letters_without_form(svg: &str) -> BTreeSet<char> {
    let Some(forms) = LetterForms::new() else { return BTreeSet::new() };
    let lacks = |letter: &char| glyph(&forms.regular, *letter) == Some(GlyphId(0));
    // Words are written without the marks of XML, so the last one before the end of an element opens it.
    let words = svg.match_indices("</text>").filter_map(|(end, _)| Some(svg[..end].rsplit_once('>')?.1));
    words.flat_map(str::chars).filter(lacks).collect()
}

/// Draws glyphs from left to right, upside down as dots are counted.
struct Pen {
    path: Vec<Command>,
    left: f32,
    base: f32,
    scale: [f32; 2],
}

impl Pen {
    fn to(&self, x: f32, y: f32) -> [f32; 2] {
        [self.left + x * self.scale[0], self.base - y * self.scale[1]]
    }
}

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.path.move_to(self.to(x, y));
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.path.line_to(self.to(x, y));
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let (pull, to) = (self.to(x1, y1), self.to(x, y));
        self.path.quad_to(pull, to);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let (pull, other, to) = (self.to(x1, y1), self.to(x2, y2), self.to(x, y));
        self.path.curve_to(pull, other, to);
    }

    fn close(&mut self) {
        self.path.close();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_font_has_every_sign_that_figures_write_themselves() {
        let signs = "²³±°−–—·×≥≤→«»…½ρμσΔ%()/,.;:'\"";
        assert_eq!(letters_without_form(&format!("<text x=\"1\">{signs}</text>")), BTreeSet::new());
        let told = letters_without_form("<text>Größe Ωж 胎</text><title>車</title><text>胎 tyre</text>");
        assert_eq!(told, BTreeSet::from(['胎']));
    }

    #[test]
    fn a_line_keeps_to_the_width_it_was_laid_out_with_and_to_its_anchor() {
        let forms = LetterForms::new().unwrap();
        for text in ["left out", "humidity", "0.0045 ± 0.0002", "Wide WWWW", "胎胎", "iiiiiiii"] {
            for bold in [false, true] {
                let room = lettering::width(text, 40.0, if bold { Letters::Title } else { Letters::Body }) as f32;
                for (anchor, before) in [(Anchor::Start, 0.0), (Anchor::Middle, 0.5), (Anchor::End, 1.0)] {
                    let path = forms.outlines(&Line { text, size: 40.0, bold, at: [500.0, 100.0], anchor });
                    let across: Vec<f32> = path
                        .iter()
                        .filter_map(|c| match c {
                            Command::MoveTo(p) | Command::LineTo(p) => Some(p.x),
                            _ => None,
                        })
                        .collect();
                    let (low, high) = across.iter().fold((f32::MAX, f32::MIN), |(l, h), x| (l.min(*x), h.max(*x)));
                    let left = 500.0 - before * room;
                    assert!(low >= left - 2.0 && high <= left + room + 2.0, "{text} {anchor:?}: {low} to {high}");
                }
            }
        }
    }
}
