//! The sheet of paper a figure is drawn on: marks in mm, handed to plotters and its backend of ours, or to the painter of
//! pictures, when it is finished.
//!
//! Given lines, areas, discs, boxes and words with their inks; gives the SVG text and the PNG. Marks that are not finite
//! are left out. It knows nothing of data, axes or set-ups.

use super::lettering::{self, Letters};
pub use super::mark::{Anchor, Note};
use super::mark::{Mark, Shape, UNITS_PER_MM};
use super::picture;
use super::polyline::{Frame, Point};
use super::style::{Dash, Ink, Stroke, Style};
use super::svg::{Extras, Naming, Svg};
use crate::wording::on_one_line;
use plotters::coord::Shift;
use plotters::element::{Drawable, PointCollection};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters_backend::DrawingErrorKind;
use std::convert::Infallible;

/// A figure in the making.
#[derive(Debug, Clone)]
pub struct Sheet {
    pub style: Style,
    marks: Vec<Mark>,
}

fn unit(mm: f64) -> i32 {
    (mm * UNITS_PER_MM).round().clamp(-1e6, 1e6) as i32
}

fn units(point: Point) -> Option<(i32, i32)> {
    (point.x.is_finite() && point.y.is_finite()).then(|| (unit(point.x), unit(point.y)))
}

impl Sheet {
    pub fn new(style: Style) -> Self {
        Sheet { style, marks: Vec::new() }
    }

    fn push(&mut self, shape: Shape, ink: Ink, note: &Note) -> &mut Mark {
        let at = self.marks.len();
        self.marks.push(Mark {
            shape,
            ink,
            opacity: 1.0,
            width: 0,
            filled: true,
            dash: Dash::Solid,
            halo: false,
            note: note.clone(),
        });
        &mut self.marks[at]
    }

    pub fn line(&mut self, points: &[Point], stroke: Stroke, note: &Note) {
        let mut path: Vec<(i32, i32)> = points.iter().filter_map(|p| units(*p)).collect();
        path.dedup();
        if path.len() < 2 {
            return;
        }
        let mark = self.push(Shape::Line(path), stroke.ink, note);
        mark.width = unit(stroke.width_mm).max(1) as u32;
        mark.opacity = stroke.opacity;
        mark.dash = stroke.dash;
        mark.filled = false;
    }

    /// A straight line from one place to another.
    pub fn rule(&mut self, from: Point, to: Point, stroke: Stroke) {
        self.line(&[from, to], stroke, &Note::default());
    }

    pub fn area(&mut self, points: &[Point], ink: Ink, opacity: f64, note: &Note) {
        let mut path: Vec<(i32, i32)> = points.iter().filter_map(|p| units(*p)).collect();
        path.dedup();
        if path.len() > 2 {
            self.push(Shape::Area(path), ink, note).opacity = opacity;
        }
    }

    pub fn disc(&mut self, centre: Point, radius_mm: f64, ink: Ink, note: &Note) {
        if let Some(centre) = units(centre) {
            self.push(Shape::Disc { centre, radius: unit(radius_mm).max(1) as u32 }, ink, note);
        }
    }

    pub fn ring(&mut self, centre: Point, radius_mm: f64, stroke: Stroke, note: &Note) {
        if let Some(centre) = units(centre) {
            let mark = self.push(Shape::Disc { centre, radius: unit(radius_mm).max(1) as u32 }, stroke.ink, note);
            mark.filled = false;
            mark.width = unit(stroke.width_mm).max(1) as u32;
            mark.dash = stroke.dash;
        }
    }

    pub fn block(&mut self, frame: Frame, ink: Ink, opacity: f64, note: &Note) {
        let corners = (units(Point::new(frame.left, frame.top)), units(Point::new(frame.right, frame.bottom)));
        if let (Some(a), Some(b)) = corners
            && a.0 != b.0
            && a.1 != b.1
        {
            self.push(Shape::Box([a, b]), ink, note).opacity = opacity;
        }
    }

    /// Words on a base line.
    pub fn words(&mut self, at: Point, text: &str, letters: Letters, anchor: Anchor, ink: Ink) {
        self.lettered(at, text, letters, anchor, ink, false);
    }

    /// Words over lines: with a rim of paper.
    pub fn words_over(&mut self, at: Point, text: &str, letters: Letters, anchor: Anchor, ink: Ink) {
        self.lettered(at, text, letters, anchor, ink, true);
    }

    fn lettered(&mut self, at: Point, text: &str, letters: Letters, anchor: Anchor, ink: Ink, halo: bool) {
        let text = on_one_line(text);
        if let Some(at) = units(at)
            && !text.trim().is_empty()
        {
            let size = (self.style.size(letters) * UNITS_PER_MM).round();
            let shape = Shape::Words { at, text, size, bold: letters == Letters::Title, anchor };
            self.push(shape, ink, &Note::default()).halo = halo;
        }
    }

    /// Width of a text on this sheet, mm.
    pub fn width_of(&self, text: &str, letters: Letters) -> f64 {
        lettering::width(text, self.style.size(letters), letters)
    }

    pub fn shorten(&self, text: &str, room_mm: f64, letters: Letters) -> String {
        lettering::shorten(text, room_mm, self.style.size(letters), letters)
    }

    pub fn wrap(&self, text: &str, room_mm: f64, most: usize, letters: Letters) -> Vec<String> {
        lettering::wrap(text, room_mm, most, self.style.size(letters), letters)
    }

    /// Width and height, units.
    fn size(&self, height_mm: f64) -> (u32, u32) {
        (unit(self.style.width()).max(1) as u32, unit(height_mm).max(1) as u32)
    }

    /// The sheet as a PNG; `None` when it is too large to be painted.
    pub fn picture(&self, height_mm: f64) -> Option<Vec<u8>> {
        picture::paint(&self.marks, self.size(height_mm))
    }

    /// The finished SVG; `None` when plotters failed.
    pub fn finish(self, height_mm: f64, naming: &Naming) -> Option<String> {
        let size = self.size(height_mm);
        let mut svg = String::new();
        let root: DrawingArea<Svg, Shift> = Svg::new(&mut svg, size, naming).into_drawing_area();
        self.marks.iter().try_for_each(|mark| root.draw(mark)).ok()?;
        root.present().ok()?;
        drop(root);
        Some(svg)
    }
}

impl<'a> PointCollection<'a, (i32, i32)> for &'a Mark {
    type Point = &'a (i32, i32);
    type IntoIter = &'a [(i32, i32)];

    fn point_iter(self) -> &'a [(i32, i32)] {
        match &self.shape {
            Shape::Line(path) | Shape::Area(path) => path,
            Shape::Disc { centre, .. } => std::slice::from_ref(centre),
            Shape::Box(corners) => corners,
            Shape::Words { at, .. } => std::slice::from_ref(at),
        }
    }
}
impl Drawable<Svg<'_>> for Mark {
    fn draw<I: Iterator<Item = (i32, i32)>>(
        &self,
        mut places: I,
        svg: &mut Svg<'_>,
        _size: (u32, u32),
    ) -> Result<(), DrawingErrorKind<Infallible>> {
        let colour = RGBColor(self.ink.red, self.ink.green, self.ink.blue).mix(self.opacity.clamp(0.01, 1.0));
        let style = ShapeStyle { color: colour, filled: self.filled, stroke_width: self.width };
        let lap = self.note.lap.map(|key| format!("{}-{}", key.run, key.lap));
        svg.next = Extras { dash: self.dash, halo: self.halo, lap, tip: self.note.tip.clone() };
        let mut next = || places.next().unwrap_or_default();
        match &self.shape {
            Shape::Line(_) => svg.draw_path(places, &style),
            Shape::Area(_) => svg.fill_polygon(places, &style),
            Shape::Disc { radius, .. } => svg.draw_circle(next(), *radius, &style, self.filled),
            Shape::Box(_) => svg.draw_rect(next(), next(), &style, self.filled),
            Shape::Words { text, size, bold, anchor, .. } => {
                let weight = if *bold { FontStyle::Bold } else { FontStyle::Normal };
                let place = match anchor {
                    Anchor::Start => HPos::Left,
                    Anchor::Middle => HPos::Center,
                    Anchor::End => HPos::Right,
                };
                let font = FontDesc::new(FontFamily::SansSerif, *size, weight);
                let words = TextStyle::from(font).color(&colour).pos(Pos::new(place, VPos::Bottom));
                svg.draw_text(text, &words, next())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn naming() -> Naming {
        Naming { name: "test", title: "A <test>".into(), description: "What & why".into() }
    }

    #[test]
    fn every_mark_becomes_one_element_with_its_extras() {
        let mut sheet = Sheet::new(Style::default());
        let (a, b) = (Point::new(1.0, 1.0), Point::new(20.0, 30.0));
        sheet.line(&[a, b], Stroke::new(Ink::grey(0), 0.3).dashed(Dash::Long), &Note::of_lap("lap <3>", 1, 3));
        sheet.disc(a, 1.0, Ink::grey(0), &Note::default());
        sheet.words_over(b, "a \"name\" & more", Letters::Body, Anchor::Middle, Ink::grey(0));
        let svg = sheet.finish(50.0, &naming()).unwrap();
        assert!(svg.contains("stroke-dasharray"));
        assert!(svg.contains("data-lap=\"1-3\"") && svg.contains("<title>lap &lt;3&gt;</title></polyline>"));
        assert!(svg.contains(">a &quot;name&quot; &amp; more</text>"));
        assert!(svg.contains("role=\"img\"") && svg.contains("A &lt;test&gt;</title>"));
        assert_eq!(svg.matches("<circle").count(), 1);
    }

    #[test]
    fn marks_that_are_not_finite_are_left_out() {
        let mut sheet = Sheet::new(Style::default());
        let bad = Point::new(f64::NAN, f64::INFINITY);
        sheet.line(&[bad, bad, Point::new(0.0, 0.0)], Stroke::new(Ink::grey(0), 0.3), &Note::default());
        sheet.disc(bad, 1.0, Ink::grey(0), &Note::default());
        sheet.words(bad, "x", Letters::Body, Anchor::Start, Ink::grey(0));
        let svg = sheet.finish(50.0, &naming()).unwrap();
        assert!(!svg.contains("NaN") && !svg.contains("<circle") && !svg.contains("<text"));
    }
}
