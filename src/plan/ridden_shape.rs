//! The form of a loop taken from a track that was ridden or drawn.
//!
//! Given positions in order; finds one lap in them and gives its form as a short Fourier series, so that the scatter of a
//! satellite receiver does not become bends. It keeps no position: a plan is ridden in an invented place.

use super::curve::{Wave, Waves};
use crate::circuit::Plane;
use crate::session::Position;
use std::f64::consts::{PI, TAU};

/// Points closer than this to the one before say nothing of direction, m.
const CLOSEST_M: f64 = 2.0;
/// Two passes of one place lie no further apart, m (satellite positions; common practice, no source).
const SAME_PLACE_M: f64 = 15.0;
/// Shortest and longest lap looked for, m.
const SHORTEST_M: f64 = 150.0;
const LONGEST_M: f64 = 50_000.0;
/// Places along the track that are tried as the gate.
const GATES: usize = 60;
/// Shortest wave of the form, m: bends are kept, scatter is not.
const SHORTEST_WAVE_M: f64 = 60.0;
/// Spacing at which direction is taken, m.
const SPACING_M: f64 = 4.0;
/// Most points read.
const MOST_POINTS: usize = 200_000;

/// One lap as it was ridden.
#[derive(Debug, Clone, PartialEq)]
pub struct RiddenShape {
    waves: Waves,
    bearing_deg: f64,
}

#[derive(Debug, Clone, Copy)]
struct Point {
    east_m: f64,
    north_m: f64,
    /// Along the track.
    way_m: f64,
}

impl Point {
    fn to(&self, other: &Point) -> f64 {
        (other.east_m - self.east_m).hypot(other.north_m - self.north_m)
    }
}

impl RiddenShape {
    /// Finds a lap in a track. The message of an error says what is missing.
    ///
    /// ```
    /// use loopwright::plan::RiddenShape;
    /// use loopwright::session::Position;
    /// // Twice round a circle of 0.002° at the equator, 1.39 km long, drawn every two degrees.
    /// let track: Vec<Position> = (0..360)
    ///     .map(|i| f64::from(2 * i).to_radians())
    ///     .map(|a| Position { lat_deg: 0.002 * a.sin(), lon_deg: -140.0 + 0.002 * a.cos() })
    ///     .collect();
    /// let shape = RiddenShape::of(&track)?;
    /// assert!((shape.length_m() - 1394.0).abs() < 10.0);
    /// # Ok::<(), String>(())
    /// ```
    pub fn of(track: &[Position]) -> Result<RiddenShape, String> {
        let points = points(track)?;
        let lap = one_lap(&points).ok_or_else(|| {
            "no place is passed twice in the same direction and the ends do not meet; give a track with a whole lap"
                .to_string()
        })?;
        form(&lap)
    }

    /// One lap along the track, m.
    pub fn length_m(&self) -> f64 {
        self.waves.length_m
    }

    /// Direction of travel at the gate, clockwise from north.
    pub fn bearing_deg(&self) -> f64 {
        self.bearing_deg
    }

    /// The same form with a lap of another length.
    pub(super) fn waves(&self, length_m: f64) -> Waves {
        Waves { length_m, ..self.waves.clone() }
    }
}

fn points(track: &[Position]) -> Result<Vec<Point>, String> {
    let known = |p: &&Position| p.lat_deg.abs() <= 85.0 && p.lon_deg.abs() <= 180.0;
    let Some(first) = track.iter().find(known) else { return Err("it holds no position".into()) };
    if track.len() > MOST_POINTS {
        return Err(format!("it holds {} points, more than the limit of {MOST_POINTS}; cut out one lap", track.len()));
    }
    let plane = Plane::at(*first);
    let mut points: Vec<Point> = Vec::new();
    for p in track.iter().filter(known) {
        let place = plane.place(p.lat_deg, p.lon_deg);
        let mut point = Point { east_m: place.east_m, north_m: place.north_m, way_m: 0.0 };
        if let Some(last) = points.last() {
            let step = last.to(&point);
            if step < CLOSEST_M {
                continue;
            }
            point.way_m = last.way_m + step;
        }
        points.push(point);
    }
    if points.len() < 8 {
        return Err(format!("it holds {} places that differ; at least 8 round the loop are needed", points.len()));
    }
    Ok(points)
}

/// The first stretch that comes back to where it began in the same direction, its end on its beginning; else the whole
/// track where its ends meet.
fn one_lap(points: &[Point]) -> Option<Vec<Point>> {
    let total = points.last()?.way_m;
    let every = (points.len() / GATES).max(1);
    let heading = |i: usize| {
        let (a, b) = (&points[i.saturating_sub(1)], &points[(i + 1).min(points.len() - 1)]);
        (b.north_m - a.north_m).atan2(b.east_m - a.east_m)
    };
    for i in (0..points.len()).step_by(every) {
        let mut best: Option<(f64, usize)> = None;
        for j in i + 1..points.len() {
            let way = points[j].way_m - points[i].way_m;
            let gap = points[i].to(&points[j]);
            if way > LONGEST_M || (best.is_some() && gap > 2.0 * SAME_PLACE_M) {
                break;
            }
            let same_way = (heading(j) - heading(i)).cos() > 0.7;
            if way > SHORTEST_M && gap < SAME_PLACE_M && same_way && best.is_none_or(|(g, _)| gap < g) {
                best = Some((gap, j));
            }
        }
        if let Some((_, j)) = best {
            return Some(points[i..j].to_vec());
        }
    }
    let ends = points.first()?.to(points.last()?);
    (total > SHORTEST_M && total < LONGEST_M && ends < 0.05 * total).then(|| points.to_vec())
}

/// Direction at equal steps, as a constant turn and waves.
fn form(lap: &[Point]) -> Result<RiddenShape, String> {
    let mut ring = lap.to_vec();
    let close = lap[lap.len() - 1].to(&lap[0]);
    let length_m = lap[lap.len() - 1].way_m - lap[0].way_m + close;
    ring.push(Point { way_m: lap[0].way_m + length_m, ..lap[0] });
    let count = (length_m / SPACING_M).ceil().max(32.0) as usize;
    let at = |way: f64| {
        let i = ring.partition_point(|p| p.way_m <= way).clamp(1, ring.len() - 1);
        let (a, b) = (&ring[i - 1], &ring[i]);
        let f = if b.way_m > a.way_m { ((way - a.way_m) / (b.way_m - a.way_m)).clamp(0.0, 1.0) } else { 0.0 };
        (a.east_m + f * (b.east_m - a.east_m), a.north_m + f * (b.north_m - a.north_m))
    };
    let step = length_m / count as f64;
    let mut direction = Vec::with_capacity(count + 1);
    for k in 0..=count {
        // The chord about a place, so that direction belongs to the place itself.
        let middle = (k % count) as f64 * step;
        let place = |s: f64| at(lap[0].way_m + s.rem_euclid(length_m));
        let (a, b) = (place(middle - step), place(middle + step));
        let here = (b.1 - a.1).atan2(b.0 - a.0);
        let before = direction.last().copied().unwrap_or(here);
        direction.push(before + (here - before + PI).rem_euclid(TAU) - PI);
    }
    let turns = ((direction[count] - direction[0]) / TAU).round();
    if turns.abs() > 1.0 {
        return Err(format!("the lap turns round {turns:.0} times; give a track of a loop that turns once"));
    }
    let angle = |k: usize| TAU * k as f64 / count as f64;
    let level = |k: usize| direction[k] - direction[0] - turns * angle(k);
    let highest = ((length_m / SHORTEST_WAVE_M) as usize).clamp(3, count / 3);
    let part = |order: usize, f: fn(f64) -> f64| {
        (0..count).map(|k| level(k) * f(order as f64 * angle(k))).sum::<f64>() * 2.0 / count as f64
    };
    let waves = (1..=highest)
        .map(|order| {
            // Lanczos' factor keeps the series from ringing at a bend.
            let x = PI * order as f64 / (highest + 1) as f64;
            let keep = x.sin() / x;
            Wave { cosine_rad: keep * part(order, f64::cos), sine_rad: keep * part(order, f64::sin) }
        })
        .collect();
    let mean = (0..count).map(level).sum::<f64>() / count as f64;
    let at_gate: f64 = direction[0] + mean;
    let waves = Waves { length_m, turns, waves }.closed().ok_or("the lap does not close; give a cleaner track")?;
    // The series begins at the sum of its cosines above its mean.
    let begin = at_gate + waves.waves.iter().map(|w| w.cosine_rad).sum::<f64>();
    Ok(RiddenShape { waves, bearing_deg: (90.0 - begin.to_degrees()).rem_euclid(360.0) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::course::Course;
    use crate::plan::planned_loop::{LoopShape, PlannedLoop};
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    use rand_xoshiro::Xoshiro256PlusPlus;

    /// Two laps and a bit at 30 km/h, a position a second that scatters by 0.2 m and wanders by a metre.
    fn track_of(circuit: &PlannedLoop) -> Vec<Position> {
        let course = Course::of(circuit).unwrap();
        let mut random = Xoshiro256PlusPlus::seed_from_u64(3);
        let mut scatter_m =
            || -> f64 { 0.2 * <StandardNormal as Distribution<f64>>::sample(&StandardNormal, &mut random) };
        let seconds = (2.1 * course.length_m * 3.6 / 30.0) as u32;
        (0..seconds)
            .map(|second| {
                let spot = course.at(f64::from(second) * 30.0 / 3.6);
                let wander = f64::from(second) / 60.0;
                let (east_m, north_m) = (spot.east_m + wander.sin(), spot.north_m + (1.3 * wander).cos());
                course.position(east_m + scatter_m(), north_m + scatter_m())
            })
            .collect()
    }

    #[test]
    fn the_loop_of_a_ride_comes_back_with_its_length_and_its_bends() {
        // What was put in: 1240 m, bends of a twentieth of the lap. Positions scatter by 0.2 m from second to second, so
        // a track is longer than the line by about half a per cent.
        let shape = RiddenShape::of(&track_of(&PlannedLoop {
            length_m: Some(1240.0),
            home_straight_bearing_deg: Some(62.0),
            ..PlannedLoop::default()
        }))
        .unwrap();
        assert!((shape.length_m() / 1240.0 - 1.0).abs() < 0.015, "{}", shape.length_m());
        let tightest = (0..1240).map(|s| shape.waves.curvature_1_m(f64::from(s)).abs()).fold(0.0, f64::max);
        assert!((1.0 / tightest - 62.0).abs() < 25.0, "{}", 1.0 / tightest);
        assert!(shape.waves.turns == 1.0);
    }

    #[test]
    fn a_clockwise_square_turns_right_and_closes() {
        // Drawn by hand: 400 m sides ridden north, east, south, west.
        let corners = [(0.0, 0.0), (0.0, 400.0), (400.0, 400.0), (400.0, 0.0), (0.0, 0.0)];
        let plane = Plane::at(Position { lat_deg: 0.0, lon_deg: -140.0 });
        let mut track = Vec::new();
        for pair in corners.windows(2) {
            for k in 0..40 {
                let f = f64::from(k) / 40.0;
                let place = crate::circuit::Place {
                    east_m: pair[0].0 + f * (pair[1].0 - pair[0].0),
                    north_m: pair[0].1 + f * (pair[1].1 - pair[0].1),
                };
                track.push(plane.position(place));
            }
        }
        let shape = RiddenShape::of(&track).unwrap();
        assert_eq!(shape.waves.turns, -1.0);
        assert!((shape.length_m() - 1600.0).abs() < 20.0, "{}", shape.length_m());
        let plan = PlannedLoop {
            shape: LoopShape::Oval,
            length_m: Some(1600.0),
            ridden: Some(shape),
            ..PlannedLoop::default()
        };
        let course = Course::of(&plan).unwrap();
        // Half-way round a square from its corner lies the opposite corner; smoothed corners cut some metres off.
        let middle = course.at(800.0);
        assert!((middle.east_m - 400.0).abs() < 40.0 && (middle.north_m - 400.0).abs() < 40.0, "{middle:?}");
    }

    #[test]
    fn a_track_that_does_not_come_back_is_refused() {
        let straight: Vec<Position> =
            (0..100).map(|i| Position { lat_deg: 0.0, lon_deg: -140.0 + 1e-4 * f64::from(i) }).collect();
        assert!(RiddenShape::of(&straight).unwrap_err().contains("passed twice"));
        assert!(RiddenShape::of(&[]).unwrap_err().contains("no position"));
        let nowhere = [Position { lat_deg: f64::NAN, lon_deg: 0.0 }; 20];
        assert!(RiddenShape::of(&nowhere).unwrap_err().contains("no position"));
    }
}
