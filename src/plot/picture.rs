//! The painter of pictures: the marks of a sheet as dots, as a browser would paint the SVG.
//!
//! Given marks and the size of the sheet; gives the bytes of a PNG. What a mark tells the pointer has no place in a picture.
//!
//! The font comes with the program, so that a picture does not hang on the fonts of a machine; letters that it lacks are boxes,
//! and that is told. Building png, ttf-parser and zeno takes 13 s of processor time; the same marks by plotters' bitmap backend
//! with ab_glyph would take 17 s, by tiny-skia 23 s, the SVG drawn by resvg 87 s.

use super::canvas::{Canvas, DOTS_PER_INCH};
use super::letter_forms::{LetterForms, Line};
use super::mark::{Mark, RIM, Shape, UNITS_PER_MM};
use super::style::PAPER;
use zeno::{Command, Fill, Join, PathBuilder, Stroke};

const MM_PER_INCH: f64 = 25.4;
const DOTS_PER_UNIT: f64 = DOTS_PER_INCH / MM_PER_INCH / UNITS_PER_MM;

fn dots(units: f64) -> f32 {
    (units * DOTS_PER_UNIT) as f32
}

fn place((x, y): (i32, i32)) -> [f32; 2] {
    [dots(x.into()), dots(y.into())]
}

/// The PNG of a sheet of this size in units; `None` when it is too large to be painted.
pub fn paint(marks: &[Mark], (width, height): (u32, u32)) -> Option<Vec<u8>> {
    let side = |units: u32| (f64::from(units) * DOTS_PER_UNIT).round().max(1.0) as u32;
    let mut canvas = Canvas::new(side(width), side(height))?;
    let forms = LetterForms::new()?;
    for mark in marks {
        let path = outline(mark, &forms);
        if mark.halo {
            canvas.lay(&path, line(RIM, &[]).into(), PAPER, 1.0);
        }
        if mark.filled {
            canvas.lay(&path, Fill::NonZero.into(), mark.ink, mark.opacity);
        } else {
            let dashes: Vec<f32> = mark.dash.units().iter().map(|units| dots((*units).into())).collect();
            canvas.lay(&path, line(mark.width, &dashes).into(), mark.ink, mark.opacity);
        }
    }
    canvas.png()
}

fn line(width: u32, dashes: &[f32]) -> Stroke<'_> {
    let mut stroke = Stroke::new(dots(width.into()));
    stroke.join(Join::Round).dash(dashes, 0.0);
    stroke
}

fn outline(mark: &Mark, forms: &LetterForms) -> Vec<Command> {
    let mut path = Vec::new();
    match &mark.shape {
        Shape::Line(points) | Shape::Area(points) => {
            for (i, point) in points.iter().enumerate() {
                match i {
                    0 => path.move_to(place(*point)),
                    _ => path.line_to(place(*point)),
                };
            }
            if matches!(mark.shape, Shape::Area(_)) {
                path.close();
            }
        }
        Shape::Disc { centre, radius } => {
            path.add_circle(place(*centre), dots((*radius).into()));
        }
        Shape::Box([a, b]) => {
            let (a, b) = (place(*a), place(*b));
            path.add_rect(a, b[0] - a[0], b[1] - a[1]);
        }
        Shape::Words { at, text, size, bold, anchor } => {
            let line = Line { text, size: dots(*size), bold: *bold, at: place(*at), anchor: *anchor };
            path = forms.outlines(&line);
        }
    }
    path
}
