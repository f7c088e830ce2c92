//! Points: one form for each set-up, filled or open.
//!
//! Given a place and an identity; puts the form on the sheet. Nothing else.

use super::polyline::Point;
use super::sheet::{Note, Sheet};
use super::style::{Form, Identity, PAPER, Stroke};

/// Draws the form with about the same visual weight for each.
pub fn marker(sheet: &mut Sheet, at: Point, identity: &Identity, radius_mm: f64, note: &Note) {
    let r = radius_mm;
    let corner = |dx: f64, dy: f64| Point::new(at.x + dx * r, at.y + dy * r);
    let outline: Vec<Point> = match identity.form {
        Form::Disc => {
            if identity.open {
                sheet.disc(at, r, PAPER, note);
                sheet.ring(at, r, Stroke::new(identity.ink, r * 0.4), note);
            } else {
                sheet.disc(at, r, identity.ink, note);
            }
            return;
        }
        Form::Square => vec![corner(-0.9, -0.9), corner(0.9, -0.9), corner(0.9, 0.9), corner(-0.9, 0.9)],
        Form::Diamond => vec![corner(0.0, -1.3), corner(1.3, 0.0), corner(0.0, 1.3), corner(-1.3, 0.0)],
        Form::TriangleUp => vec![corner(0.0, -1.25), corner(1.15, 0.85), corner(-1.15, 0.85)],
        Form::TriangleDown => vec![corner(0.0, 1.25), corner(1.15, -0.85), corner(-1.15, -0.85)],
        Form::Cross => star(at, r, &[45.0, 135.0, 225.0, 315.0]),
        Form::Plus => star(at, r, &[0.0, 90.0, 180.0, 270.0]),
    };
    if identity.open {
        sheet.area(&outline, PAPER, 1.0, note);
        let closed: Vec<Point> = outline.iter().chain(outline.first()).copied().collect();
        sheet.line(&closed, Stroke::new(identity.ink, r * 0.4), note);
    } else {
        sheet.area(&outline, identity.ink, 1.0, note);
    }
}

/// Outline of a cross with arms at the given angles, degrees.
fn star(at: Point, r: f64, angles: &[f64; 4]) -> Vec<Point> {
    let (length, half_width) = (1.35 * r, 0.34 * r);
    angles
        .iter()
        .flat_map(|angle| {
            let (sin, cos) = angle.to_radians().sin_cos();
            let along = |forward: f64, side: f64| {
                Point::new(at.x + forward * cos - side * sin, at.y + forward * sin + side * cos)
            };
            [along(half_width, -half_width), along(length, -half_width), along(length, half_width)]
        })
        .collect()
}
