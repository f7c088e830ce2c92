//! The line of a track from its geometry: two straights and two bends whose curvature rises over a transition.
//!
//! Given length, bend radius and transition; gives a reference line counted from the timing line in the middle of
//! the home straight.

use super::plane::Place;
use super::reference_line::ReferenceLine;
use std::f64::consts::{PI, TAU};

/// Spacing of the line's vertices, m.
const SPACING_M: f64 = 0.25;

/// Curvature at a chainage from the timing line, 1/m.
///
/// Along half a lap: straight, transition, arc, transition, straight; the arc is as long as it takes for the turning of
/// the half lap to be π exactly.
pub(super) fn curvature(chainage_m: f64, length_m: f64, radius_m: f64, transition_m: f64) -> f64 {
    let half = 0.5 * length_m;
    // Two transitions turn as much as one arc of their length.
    let arc = PI * radius_m - transition_m;
    let straight = 0.5 * (half - arc - 2.0 * transition_m);
    let s = chainage_m.rem_euclid(half) - straight;
    // By symmetry about the middle of the bend.
    let s = s.min(arc + 2.0 * transition_m - s);
    if s <= 0.0 {
        0.0
    } else if s < transition_m {
        s / transition_m / radius_m
    } else {
        1.0 / radius_m
    }
}

/// The line of a track ridden anticlockwise, as tracks are (common practice, no source).
///
/// `home_straight_bearing_deg` is the direction of travel at the timing line, clockwise from north. The turning of a
/// lap is 2π exactly in the limit of small steps; what the sampling leaves is spread over the bends.
pub fn track_line(
    length_m: f64,
    bend_radius_m: f64,
    transition_m: f64,
    home_straight_bearing_deg: f64,
) -> ReferenceLine {
    let n = (length_m / SPACING_M).round().max(40.0) as usize;
    let step = length_m / n as f64;
    let mut curvature_1_m: Vec<f64> =
        (0..n).map(|i| curvature(i as f64 * step, length_m, bend_radius_m, transition_m)).collect();
    let turning: f64 = curvature_1_m.iter().sum::<f64>() * step;
    for k in &mut curvature_1_m {
        *k *= 2.0 * PI / turning;
    }
    let mut heading = home_straight_bearing_deg.to_radians();
    let mut here = Place::default();
    let mut place = Vec::with_capacity(n);
    let mut toward = Vec::with_capacity(n);
    for k in &curvature_1_m {
        place.push(here);
        toward.push(Place { east_m: heading.sin(), north_m: heading.cos() });
        here.east_m += step * heading.sin();
        here.north_m += step * heading.cos();
        heading -= k * step;
    }
    ReferenceLine { length_m, place, toward, curvature_1_m }
}

/// The bends of a track as stated, and where laps are cut on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StatedBends {
    /// Lap and radius on the line that is ridden.
    pub(super) lap_m: f64,
    pub(super) radius_m: f64,
    pub(super) transition_m: f64,
    pub(super) bearing_deg: f64,
    /// Length by which the line's chainage counts: of a wheel that is off, shares of the lap are right and metres are not.
    pub(super) length_m: f64,
    /// Where laps begin, counted from the line, as a share of them.
    pub(super) offset: f64,
}

impl StatedBends {
    /// The line of a lap that is longer by so much, because it is ridden further out: of each metre of radius a lap has 2π.
    pub fn line(&self, longer_m: f64) -> ReferenceLine {
        let radius_m = self.radius_m + longer_m / TAU;
        let line = track_line(self.lap_m + longer_m, radius_m, self.transition_m, self.bearing_deg);
        ReferenceLine { length_m: self.length_m, ..line }.rotated(self.offset * self.length_m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curvature_of_a_lap_adds_up_to_one_turn_and_the_track_closes() {
        let line = track_line(250.0, 22.0, 12.0, 75.0);
        let turn: f64 = line.curvature_1_m.iter().sum::<f64>() * 250.0 / line.curvature_1_m.len() as f64;
        assert!((turn - 2.0 * PI).abs() < 1e-12);
        let last = line.place.last().unwrap();
        assert!(last.east_m.hypot(last.north_m) < 1.0, "{last:?}");
    }

    #[test]
    fn transitions_leave_the_turning_of_the_bend_as_it_was() {
        // ∫κ over half a lap is π by geometry, whatever the transition.
        for transition in [0.0, 5.0, 12.0, 20.0] {
            let sum: f64 = (0..125_000).map(|i| curvature(i as f64 * 1e-3, 250.0, 22.0, transition)).sum();
            assert!((sum * 1e-3 - PI).abs() < 1e-4, "{transition} {sum}");
        }
    }
}
