//! A kidney-shaped loop: two wide bends and one that turns the other way.
//!
//! Given the length of the lap and the wide bends; gives the pieces of a loop that is mirror-symmetric, so that
//! closing one half closes the whole. It places nothing on Earth.

use super::pieces::{Bend, Pieces};
use std::f64::consts::PI;

/// A bean of the given length. The hollow side is bent back by 2α; α is as large as leaves the two long sides a
/// bend radius apart.
pub(super) fn bean(length_m: f64, bend: Bend) -> Result<Pieces, String> {
    for degrees in (6..=24).rev().step_by(2) {
        if let Some(figure) = figure_of_length(f64::from(degrees).to_radians(), bend, length_m) {
            return Ok(figure.pieces);
        }
    }
    Err(format!(
        "a bean of {length_m:.1} m with bends of {:.1} m radius does not close; leave bend_radius_m out or choose another shape",
        bend.radius_m
    ))
}

/// Solves the radius of the hollow for the length of the lap, by secants: the length is almost linear in it.
fn figure_of_length(alpha: f64, bend: Bend, length_m: f64) -> Option<Figure> {
    let excess = |radius_m: f64| figure(alpha, bend, radius_m).pieces.end().chainage_m - length_m;
    let (mut before, mut now) = (100.0, 200.0);
    let (mut excess_before, mut excess_now) = (excess(before), excess(now));
    for _ in 0..30 {
        if excess_now.abs() < 1e-9 {
            break;
        }
        let next = now - excess_now * (now - before) / (excess_now - excess_before);
        // A hollow tighter than the other bends, or none at all, is no bean.
        if !(next > bend.radius_m && next < 1e5) {
            return None;
        }
        (before, excess_before) = (now, excess_now);
        (now, excess_now) = (next, excess(next));
    }
    let found = figure(alpha, bend, now);
    let room = found.half_side_m > 0.0 && found.gap_m >= bend.radius_m;
    (room && excess_now.abs() < 1e-6).then_some(found)
}

struct Figure {
    pieces: Pieces,
    /// Half of the straight side that holds the gate.
    half_side_m: f64,
    /// Between the hollow and the straight side.
    gap_m: f64,
}

fn figure(alpha: f64, bend: Bend, hollow_radius_m: f64) -> Figure {
    let hollow = Bend { radius_m: hollow_radius_m, ..bend };
    let flank_m = bend.radius_m;
    // Half of the figure from the middle of the hollow on, to find where the straight side must end.
    let mut half = Pieces::default();
    half.bend(-2.0 * alpha, hollow);
    let start_m = 0.5 * half.end().chainage_m;
    half.straight(flank_m);
    half.bend(PI + alpha, bend);
    let base = half.at(start_m).direction_rad;
    let steps = 2000;
    let step_m = (half.end().chainage_m - start_m) / f64::from(steps);
    let (mut x, mut y) = (0.0, 0.0);
    for i in 0..steps {
        let direction = half.at(start_m + (f64::from(i) + 0.5) * step_m).direction_rad - base;
        x += step_m * direction.cos();
        y += step_m * direction.sin();
    }
    let mut pieces = Pieces::default();
    pieces.straight(x);
    pieces.bend(PI + alpha, bend);
    pieces.straight(flank_m);
    pieces.bend(-2.0 * alpha, hollow);
    pieces.straight(flank_m);
    pieces.bend(PI + alpha, bend);
    pieces.straight(x);
    Figure { pieces, half_side_m: x, gap_m: y }
}
