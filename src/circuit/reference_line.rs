//! The line of the loop, averaged over every lap of every run: heading, curvature and chainage come from it.
//!
//! Given laps as spans of time; gives a closed line sampled at equal steps. It knows no single ride's noise.

use super::gate::Track;
use super::plane::Place;
use crate::sample::Ride;
use geo::{Coord, Line, LineLocatePoint, Point};

/// Spacing of the line's vertices, m.
const SPACING_M: f64 = 5.0;
/// Standard deviation of the smoothing along the line, m: wide for few laps, narrow for many.
const SMOOTHING_M: [f64; 2] = [14.0, 7.0];
/// Laps from which the narrow smoothing is used.
const MANY_LAPS: usize = 8;
/// A place this many median distances from the median of all laps there is not averaged, nor one this far, m, whichever is
/// more: positions wander by some metres from lap to lap, and a lane is three wide.
const FAR_FROM_MEDIAN: f64 = 4.0;
const FAR_FROM_MEDIAN_M: f64 = 8.0;

/// A closed line at equal steps of chainage.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ReferenceLine {
    /// Length of one lap as the wheel measures it, m.
    pub length_m: f64,
    pub place: Vec<Place>,
    /// Unit vector of travel, east and north.
    pub toward: Vec<Place>,
    /// Curvature, 1/m, positive to the left.
    pub curvature_1_m: Vec<f64>,
}

/// A point projected on the line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Projected {
    pub chainage_m: f64,
    pub offset_m: f64,
}

/// One lap of one ride as a span of time.
pub struct LapTrack<'a> {
    pub ride: &'a Ride,
    pub track: &'a Track,
    pub from_s: f64,
    pub to_s: f64,
}

impl ReferenceLine {
    /// Averages laps at equal fractions of their distance, robustly, and smooths the result along the line.
    pub fn average(laps: &[LapTrack], length_m: f64) -> Option<ReferenceLine> {
        let n = ((length_m / SPACING_M).round() as usize).clamp(24, 20_000);
        let mut seen: Vec<Vec<Place>> = vec![Vec::new(); n];
        for lap in laps {
            let start = lap.ride.distance_m.at(lap.from_s);
            let whole = lap.ride.distance_m.at(lap.to_s) - start;
            let range = lap.ride.records_between(lap.from_s - lap.ride.gap_limit_s, lap.to_s + lap.ride.gap_limit_s);
            let fraction = |i: usize| (lap.ride.distance_m.totals()[i] - start) / whole;
            let mut j = 0;
            for i in range.clone().skip(1) {
                let (a, b) = (lap.track.place[i - 1], lap.track.place[i]);
                let (fa, fb) = (fraction(i - 1), fraction(i));
                while j < n && (j as f64) / (n as f64) < fb {
                    let f = j as f64 / n as f64;
                    if f >= fa && a.is_known() && b.is_known() && fb > fa {
                        seen[j].push(a.toward(b, (f - fa) / (fb - fa)));
                    }
                    j += 1;
                }
            }
        }
        if seen.iter().filter(|s| !s.is_empty()).count() < n * 9 / 10 {
            return None;
        }
        let mean: Vec<Place> = seen.iter().map(|s| robust_mean(s)).collect();
        let width = Self::smoothing_m(laps.len(), length_m);
        let place = smooth(&mean, width / (length_m / n as f64));
        Some(Self::of_places(place, length_m))
    }

    /// Standard deviation of the smoothing of an average over some laps, m.
    pub(super) fn smoothing_m(laps: usize, length_m: f64) -> f64 {
        SMOOTHING_M[usize::from(laps >= MANY_LAPS)].min(length_m / 20.0)
    }

    /// A line through given places, equally spaced along it; headings and curvature by central differences.
    pub fn of_places(place: Vec<Place>, length_m: f64) -> ReferenceLine {
        let n = place.len();
        let at = |i: isize| place[i.rem_euclid(n as isize) as usize];
        let mut toward = Vec::with_capacity(n);
        let mut curvature_1_m = Vec::with_capacity(n);
        for i in 0..n as isize {
            let (a, b, c) = (at(i - 1), at(i), at(i + 1));
            let first = Place { east_m: 0.5 * (c.east_m - a.east_m), north_m: 0.5 * (c.north_m - a.north_m) };
            let second = Place {
                east_m: c.east_m - 2.0 * b.east_m + a.east_m,
                north_m: c.north_m - 2.0 * b.north_m + a.north_m,
            };
            let norm = first.east_m.hypot(first.north_m).max(1e-9);
            toward.push(Place { east_m: first.east_m / norm, north_m: first.north_m / norm });
            curvature_1_m.push((first.east_m * second.north_m - first.north_m * second.east_m) / norm.powi(3));
        }
        ReferenceLine { length_m, place, toward, curvature_1_m }
    }

    /// The same line counted from another place, to the nearest vertex.
    pub fn rotated(&self, from_m: f64) -> ReferenceLine {
        let n = self.place.len();
        let k = ((from_m / self.spacing_m()).round() as isize).rem_euclid(n as isize) as usize;
        let mut out = self.clone();
        out.place.rotate_left(k);
        out.toward.rotate_left(k);
        out.curvature_1_m.rotate_left(k);
        out
    }

    fn spacing_m(&self) -> f64 {
        self.length_m / self.place.len() as f64
    }

    fn between(&self, chainage_m: f64) -> (usize, usize, f64) {
        let n = self.place.len();
        let x = (chainage_m / self.spacing_m()).rem_euclid(n as f64);
        let i = (x as usize).min(n - 1);
        (i, (i + 1) % n, x - i as f64)
    }

    /// Unit vector of travel at a chainage.
    pub fn toward_at(&self, chainage_m: f64) -> Place {
        let (i, j, f) = self.between(chainage_m);
        let (a, b) = (self.toward[i], self.toward[j]);
        let (e, n) = (a.east_m + f * (b.east_m - a.east_m), a.north_m + f * (b.north_m - a.north_m));
        let norm = e.hypot(n).max(1e-9);
        Place { east_m: e / norm, north_m: n / norm }
    }

    /// Curvature at a chainage, 1/m.
    pub fn curvature_at(&self, chainage_m: f64) -> f64 {
        let (i, j, f) = self.between(chainage_m);
        self.curvature_1_m[i] + f * (self.curvature_1_m[j] - self.curvature_1_m[i])
    }

    /// Projects a place onto the part of the line within `reach_m` of an expected chainage.
    ///
    /// The chainage returned is the one nearest to the expected one, so a lap's seam makes no jump.
    pub fn project(&self, place: Place, expected_m: f64, reach_m: f64) -> Option<Projected> {
        let n = self.place.len() as isize;
        let spacing = self.spacing_m();
        let middle = (expected_m / spacing).floor() as isize;
        let reach = ((reach_m / spacing).ceil() as isize).min(n / 2);
        let point = Point::from(place.to_coord());
        let mut best: Option<Projected> = None;
        for k in middle - reach..=middle + reach {
            let a: Coord<f64> = self.place[k.rem_euclid(n) as usize].to_coord();
            let b: Coord<f64> = self.place[(k + 1).rem_euclid(n) as usize].to_coord();
            let f = Line::new(a, b).line_locate_point(&point)?;
            let offset_m = (a.x + f * (b.x - a.x) - point.x()).hypot(a.y + f * (b.y - a.y) - point.y());
            if best.is_none_or(|p| offset_m < p.offset_m) {
                best = Some(Projected { chainage_m: (k as f64 + f) * spacing, offset_m });
            }
        }
        best
    }
}

/// Mean of the places that lie near their median; not known where there are none.
///
/// A lap on another road, or one whose positions wandered off, moves a median of many by nothing and costs only itself.
pub(super) fn robust_mean(places: &[Place]) -> Place {
    let unknown = Place { east_m: f64::NAN, north_m: f64::NAN };
    if places.len() < 3 {
        let n = places.len() as f64;
        let sum = |of: fn(&Place) -> f64| places.iter().map(of).sum::<f64>() / n;
        return if places.is_empty() {
            unknown
        } else {
            Place { east_m: sum(|p| p.east_m), north_m: sum(|p| p.north_m) }
        };
    }
    let median = |values: &mut Vec<f64>| {
        let middle = values.len() / 2;
        *values.select_nth_unstable_by(middle, f64::total_cmp).1
    };
    let centre = Place {
        east_m: median(&mut places.iter().map(|p| p.east_m).collect()),
        north_m: median(&mut places.iter().map(|p| p.north_m).collect()),
    };
    let off = |p: &Place| (p.east_m - centre.east_m).hypot(p.north_m - centre.north_m);
    let limit_m = (FAR_FROM_MEDIAN * median(&mut places.iter().map(off).collect())).max(FAR_FROM_MEDIAN_M);
    let mut sum = [0.0; 3];
    for p in places.iter().filter(|p| off(p) <= limit_m) {
        sum = [sum[0] + p.east_m, sum[1] + p.north_m, sum[2] + 1.0];
    }
    Place { east_m: sum[0] / sum[2], north_m: sum[1] / sum[2] }
}

/// Circular Gaussian smoothing; `width` in vertices.
pub(super) fn smooth(place: &[Place], width: f64) -> Vec<Place> {
    let n = place.len() as isize;
    let reach = ((3.0 * width).ceil() as isize).min(n / 2 - 1).max(1);
    let kernel: Vec<f64> = (-reach..=reach).map(|k| (-0.5 * (k as f64 / width).powi(2)).exp()).collect();
    (0..n)
        .map(|i| {
            let mut sum = [0.0; 3];
            for (k, w) in (-reach..=reach).zip(&kernel) {
                let p = place[(i + k).rem_euclid(n) as usize];
                if p.is_known() {
                    sum[0] += w * p.east_m;
                    sum[1] += w * p.north_m;
                    sum[2] += w;
                }
            }
            Place { east_m: sum[0] / sum[2], north_m: sum[1] / sum[2] }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(radius: f64, n: usize) -> ReferenceLine {
        let place = (0..n)
            .map(|i| {
                let a = i as f64 / n as f64 * std::f64::consts::TAU;
                Place { east_m: radius * a.cos(), north_m: radius * a.sin() }
            })
            .collect();
        ReferenceLine::of_places(place, std::f64::consts::TAU * radius)
    }

    #[test]
    fn a_left_hand_circle_has_the_curvature_of_its_radius() {
        let line = circle(100.0, 400);
        for s in [0.0, 100.0, 500.0] {
            assert!((line.curvature_at(s) - 0.01).abs() < 1e-5);
        }
        assert!((line.toward_at(0.0).north_m - 1.0).abs() < 1e-3);
    }

    #[test]
    fn one_place_in_many_moves_the_mean_by_nothing_at_any_distance() {
        let sound = |i: i32| Place { east_m: f64::from(i % 5) - 2.0, north_m: f64::from(i % 3) - 1.0 };
        let without = robust_mean(&(0..11).map(sound).collect::<Vec<_>>());
        for off_m in [20.0, 300.0, 200_000.0] {
            let with = (0..11).map(sound).chain([Place { east_m: off_m, north_m: 0.0 }]);
            assert_eq!(robust_mean(&with.collect::<Vec<_>>()), without);
        }
        assert!(!robust_mean(&[]).is_known());
    }

    #[test]
    fn projection_goes_on_counting_past_the_seam() {
        let line = circle(100.0, 400);
        let p = Place { east_m: 103.0, north_m: 2.0 };
        let at = line.project(p, line.length_m + 5.0, 40.0).unwrap();
        assert!((at.chainage_m - line.length_m - 1.94).abs() < 0.1, "{at:?}");
        assert!((at.offset_m - 3.0).abs() < 0.05);
    }
}
