//! The bends that positions show of a track, to hold the stated ones against.
//!
//! Given a line by positions and the stated form; gives the radius, transition and bearing that the line shows by itself. It
//! decides nothing and makes no line.

use super::plane::Place;
use super::reference_line::ReferenceLine;
use super::track::curvature;
use std::f64::consts::{PI, TAU};

/// What positions show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ShownTrack {
    pub radius_m: f64,
    pub transition_m: f64,
    /// Direction of travel on one of the two straights, clockwise from north.
    pub bearing_deg: f64,
    /// Root-mean-square angle between the line and the best form of two bends, rad.
    pub misfit_rad: f64,
}

/// Spacing at which a form is tried, m.
const SPACING_M: f64 = 0.5;
/// Spread along the line of an average over positions beyond its smoothing, m: chords between records and laps that do not lie
/// on each other (common practice, no source; bends of simulated rides come back with it).
const SPREAD_M: f64 = 4.0;
/// Radii tried about the stated one, as factors, and how finely in the end.
const RADII: [f64; 2] = [0.5, 1.8];
const RADIUS_STEPS: usize = 18;
/// Steps of the transition.
const TRANSITION_STEPS: usize = 10;

/// Direction along a form less an even turn, at equal steps of half a lap, smoothed as positions are.
struct Turning {
    value: Vec<f64>,
}

impl Turning {
    fn new(length_m: f64, radius_m: f64, transition_m: f64, spread_m: f64) -> Turning {
        let n = ((0.5 * length_m / SPACING_M).round() as usize).max(40);
        let step = 0.5 * length_m / n as f64;
        let kappa = |i: usize| curvature(i as f64 * step, length_m, radius_m, transition_m);
        let sum: f64 = (0..n).map(kappa).sum::<f64>() * step;
        let mut heading = 0.0;
        let raw: Vec<f64> = (0..n)
            .map(|i| {
                let here = heading - PI * i as f64 / n as f64;
                heading += kappa(i) * step * PI / sum;
                here
            })
            .collect();
        let reach = (3.0 * spread_m / step).ceil() as isize;
        let weight: Vec<f64> = (-reach..=reach).map(|k| (-0.5 * (k as f64 * step / spread_m).powi(2)).exp()).collect();
        let total: f64 = weight.iter().sum();
        let smooth = |i: usize| {
            let at = |k: isize| raw[(i as isize + k).rem_euclid(n as isize) as usize];
            (-reach..=reach).zip(&weight).map(|(k, w)| w * at(k)).sum::<f64>() / total
        };
        Turning { value: (0..n).map(smooth).collect() }
    }

    /// Mean and mean square about it of what a line leaves beside this form, shifted by a number of steps.
    fn misfit(&self, line: &[f64], shift: usize) -> (f64, f64) {
        let (n, m) = (self.value.len(), line.len());
        let left = |i: usize| line[i] - self.value[((2 * n * i) / m + shift) % n];
        let mean = (0..m).map(left).sum::<f64>() / m as f64;
        (mean, (0..m).map(|i| (left(i) - mean).powi(2)).sum::<f64>() / m as f64)
    }

    /// The best shift among some.
    fn best(&self, line: &[f64], shifts: impl Iterator<Item = usize>) -> Fit {
        let n = self.value.len();
        shifts
            .map(|shift| Fit { shift: shift % n, square: self.misfit(line, shift % n).1 })
            .min_by(|a, b| a.square.total_cmp(&b.square))
            .unwrap_or(Fit { shift: 0, square: f64::INFINITY })
    }
}

impl Turning {
    /// The least misfit about a shift, between the steps: half a metre of misplacement shows in every bend.
    fn between_steps(&self, line: &[f64], shift: usize) -> LaidAt {
        let n = self.value.len();
        let at = |k: usize| self.misfit(line, k % n);
        // The form repeats every half lap, so that a whole turn of shifts may be added.
        let mut shift = shift + n;
        for _ in 0..8 {
            let squares = [at(shift - 1).1, at(shift).1, at(shift + 1).1];
            shift = match squares {
                [a, b, _] if a < b => shift - 1,
                [_, b, c] if c < b => shift + 1,
                _ => break,
            };
        }
        let [(turn_a, a), (turn_b, b), (turn_c, c)] = [at(shift - 1), at(shift), at(shift + 1)];
        let bend = a - 2.0 * b + c;
        let aside = if bend > 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 };
        let turn_rad = turn_b + aside * if aside < 0.0 { turn_b - turn_a } else { turn_c - turn_b };
        LaidAt { steps: shift as f64 - n as f64 + aside, turn_rad }
    }
}

/// Where a form lies along a line.
struct LaidAt {
    steps: f64,
    turn_rad: f64,
}

#[derive(Clone, Copy)]
struct Fit {
    shift: usize,
    square: f64,
}

/// The form of two bends that a line shows, looked for about a radius; `None` when the line does not turn once.
///
/// `smoothing_m` is that of the line.
pub(super) fn shown(line: &ReferenceLine, near_radius_m: f64, smoothing_m: f64) -> Option<ShownTrack> {
    let length_m = line.length_m;
    let (left, even) = even_turning(line)?;
    let spread_m = smoothing_m.hypot(SPREAD_M);
    let longest = |radius_m: f64| (0.5 * length_m - PI * radius_m).min(PI * radius_m);
    let widest = 0.5 * length_m / PI;
    let radius = |r: f64| r.min(0.995 * widest);
    let of = |radius_m: f64, transition_m: f64| Turning::new(length_m, radius_m, transition_m, spread_m);
    // Where the bends are hangs little on their form, so that it is looked for once.
    let first = of(radius(near_radius_m), 0.25 * longest(radius(near_radius_m)));
    let n = first.value.len();
    let coarse = first.best(&even, (0..n).step_by(4));
    let near = |t: &Turning| t.best(&even, (0..13).map(|k| (coarse.shift + n + 2 * k - 12) % n));
    let tried = |radius_m: f64, transition_m: f64| near(&of(radius_m, transition_m)).square;
    let transitions = |radius_m: f64| {
        let most = longest(radius_m).max(0.0);
        (0..=TRANSITION_STEPS).map(move |k| most * k as f64 / TRANSITION_STEPS as f64)
    };
    let best_transition = |radius_m: f64| {
        let all = transitions(radius_m).map(|t| (t, tried(radius_m, t)));
        all.min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0.0, f64::INFINITY))
    };
    let (low, high) = (RADII[0] * near_radius_m, radius(RADII[1] * near_radius_m));
    let grid = (0..=RADIUS_STEPS).map(|k| low + (high - low) * k as f64 / RADIUS_STEPS as f64);
    let (mut seen_m, mut square) = (near_radius_m, f64::INFINITY);
    for radius_m in grid.filter(|r| *r < widest) {
        let here = best_transition(radius_m).1;
        if here < square {
            (seen_m, square) = (radius_m, here);
        }
    }
    let mut step = (high - low) / RADIUS_STEPS as f64;
    for _ in 0..4 {
        step *= 0.5;
        for radius_m in [seen_m - step, seen_m + step] {
            let here = if radius_m < widest { best_transition(radius_m).1 } else { f64::INFINITY };
            if here < square {
                (seen_m, square) = (radius_m, here);
            }
        }
    }
    let transition_m = best_transition(seen_m).0;
    let turning = of(seen_m, transition_m);
    let at = turning.between_steps(&even, near(&turning).shift);
    // The form begins in the middle of a straight, and its direction there is that of the even turn.
    let side = if left { 1.0 } else { -1.0 };
    let straight_rad = side * (at.turn_rad - TAU * at.steps * 0.5 / n as f64);
    let bearing_deg = (90.0 - straight_rad.to_degrees()).rem_euclid(360.0);
    Some(ShownTrack { radius_m: seen_m, transition_m, bearing_deg, misfit_rad: square.sqrt() })
}

/// Whether a line turns to the left, and its direction less an even turn, counter-clockwise for either side.
fn even_turning(line: &ReferenceLine) -> Option<(bool, Vec<f64>)> {
    let n = line.toward.len();
    let angle = |p: &Place| p.north_m.atan2(p.east_m);
    let mut direction: Vec<f64> = Vec::with_capacity(n + 1);
    for i in 0..=n {
        let here = angle(&line.toward[i % n]);
        let before = direction.last().copied().unwrap_or(here);
        direction.push(before + (here - before + PI).rem_euclid(TAU) - PI);
    }
    let turn = direction[n] - direction[0];
    if (turn.abs() - TAU).abs() > 0.1 {
        return None;
    }
    let side = turn.signum();
    let even = (0..n).map(|i| side * direction[i] - TAU * i as f64 / n as f64).collect();
    Some((turn > 0.0, even))
}

#[cfg(test)]
mod tests {
    use super::super::track::track_line;
    use super::*;

    /// A track as positions would show it: other bearing, begun elsewhere, every 5 m.
    fn ridden(length_m: f64, from_m: f64, bearing_deg: f64, left: bool) -> ReferenceLine {
        let mut fine = track_line(length_m, 28.0, 20.0, bearing_deg);
        if !left {
            fine = mirrored(&fine, bearing_deg);
        }
        let fine = fine.rotated(from_m);
        let n = (length_m / 5.0).round() as usize;
        let spread = SPREAD_M.hypot(7.0);
        let at = |i: usize| {
            let s = i as f64 * length_m / n as f64;
            let m = fine.place.len();
            let step = length_m / m as f64;
            let reach = (3.0 * spread / step) as isize;
            let mut sum = [0.0; 3];
            for k in -reach..=reach {
                let w = (-0.5 * (k as f64 * step / spread).powi(2)).exp();
                let p = fine.place[((s / step) as isize + k).rem_euclid(m as isize) as usize];
                sum = [sum[0] + w * p.east_m, sum[1] + w * p.north_m, sum[2] + w];
            }
            Place { east_m: sum[0] / sum[2], north_m: sum[1] / sum[2] }
        };
        ReferenceLine::of_places((0..n).map(at).collect(), length_m)
    }

    /// The same track ridden to the right, with the same direction at its beginning.
    fn mirrored(track: &ReferenceLine, bearing_deg: f64) -> ReferenceLine {
        let (sin, cos) = bearing_deg.to_radians().sin_cos();
        // Mirrored about the direction of travel at the beginning.
        let flip = |p: &Place| {
            let (along, across) = (p.east_m * sin + p.north_m * cos, p.east_m * cos - p.north_m * sin);
            Place { east_m: along * sin - across * cos, north_m: along * cos + across * sin }
        };
        ReferenceLine {
            length_m: track.length_m,
            place: track.place.iter().map(flip).collect(),
            toward: track.toward.iter().map(flip).collect(),
            curvature_1_m: track.curvature_1_m.iter().map(|k| -k).collect(),
        }
    }

    #[test]
    fn positions_show_radius_transition_and_bearing_whatever_was_stated_either_way_round() {
        for (from_m, bearing_deg, left) in [(0.0, 75.0, true), (90.0, 310.0, true), (33.0, 140.0, false)] {
            for near_m in [20.0, 26.0, 28.0, 33.0, 45.0] {
                let seen = shown(&ridden(420.0, from_m, bearing_deg, left), near_m, 7.0).expect("a track");
                assert!((seen.radius_m / 28.0 - 1.0).abs() < 0.05, "{near_m}: {seen:?}");
                assert!((seen.transition_m - 20.0).abs() < 8.0, "{near_m}: {seen:?}");
                assert!(seen.misfit_rad < 0.03, "{near_m}: {seen:?}");
                let off = (seen.bearing_deg - bearing_deg).rem_euclid(180.0);
                assert!(off.min(180.0 - off) < 1.5, "{bearing_deg} {near_m}: {seen:?}");
            }
        }
    }

    #[test]
    fn a_figure_of_eight_is_no_track() {
        let place = (0..80).map(|i| {
            let a = TAU * f64::from(i) / 80.0;
            Place { east_m: 60.0 * a.sin(), north_m: 40.0 * (2.0 * a).sin() }
        });
        assert!(shown(&ReferenceLine::of_places(place.collect(), 400.0), 28.0, 7.0).is_none());
    }
}
