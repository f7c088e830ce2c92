//! The ground of a simulated ride: curvature, heading, height and place along one lap.
//!
//! Given the loop of a plan; gives a [`Course`] that answers at any chainage, counted on from the gate without
//! end. It is tabulated every quarter of a metre, far finer than any step of an analysis. It knows no time.

use super::planned_loop::PlannedLoop;
use super::shape::Shape;
use crate::constant::{WGS84_A_M, WGS84_E2};
use crate::session::{Position, Venue};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::f64::consts::{FRAC_PI_2, TAU};

/// Spacing of the table, m.
const CELL_M: f64 = 0.25;
/// Half the height of a road loop between its lowest and highest point when none is stated, m.
const ROAD_AMPLITUDE_M: f64 = 2.0;
/// Highest wave of the elevation profile.
const WAVES: usize = 4;

/// One row of the table.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Spot {
    /// Left bends are positive.
    pub(crate) curvature_1_m: f64,
    /// Direction of travel as a unit vector.
    pub(crate) heading_east: f64,
    pub(crate) heading_north: f64,
    pub(crate) east_m: f64,
    pub(crate) north_m: f64,
    pub(crate) elevation_m: f64,
    pub(crate) gradient: f64,
}

/// A closed loop. Elevation is relative to `altitude_m`, with mean zero over the lap.
#[derive(Debug, Clone)]
pub(crate) struct Course {
    pub(crate) length_m: f64,
    pub(crate) origin: Position,
    pub(crate) altitude_m: f64,
    cell_m: f64,
    /// One row a cell and one for the end, which repeats the first.
    spots: Vec<Spot>,
}

impl Course {
    /// The message of an error says what does not fit.
    pub(crate) fn of(plan: &PlannedLoop) -> Result<Course, String> {
        let shape = Shape::of(plan)?;
        let amplitude =
            plan.elevation_amplitude_m.unwrap_or(if plan.kind == Venue::Road { ROAD_AMPLITUDE_M } else { 0.0 });
        let profile = Profile::drawn(amplitude, plan.elevation_seed, shape.length_m());
        // A bearing is clockwise from north, a direction counter-clockwise from east.
        let at_gate = FRAC_PI_2 - plan.bearing_deg().to_radians();
        Ok(Course { origin: plan.origin, altitude_m: plan.altitude_m, ..tabulated(&shape, &profile, at_gate) })
    }

    /// The ground at a chainage; negative before the first pass of the gate.
    pub(crate) fn at(&self, chainage_m: f64) -> Spot {
        let place = chainage_m.rem_euclid(self.length_m) / self.cell_m;
        let last = self.spots.len() - 2;
        let cell = (place as usize).min(last);
        let f = place - cell as f64;
        let (a, b) = (&self.spots[cell], &self.spots[cell + 1]);
        let mix = |x: f64, y: f64| x + f * (y - x);
        // A cubic through heights and gradients, so that the gradient is that of the height and energy is kept.
        let (g, h) = (1.0 - f, self.cell_m);
        let elevation = a.elevation_m * (1.0 + 2.0 * f) * g * g
            + b.elevation_m * f * f * (3.0 - 2.0 * f)
            + h * f * g * (a.gradient * g - b.gradient * f);
        Spot {
            curvature_1_m: mix(a.curvature_1_m, b.curvature_1_m),
            heading_east: mix(a.heading_east, b.heading_east),
            heading_north: mix(a.heading_north, b.heading_north),
            east_m: mix(a.east_m, b.east_m),
            north_m: mix(a.north_m, b.north_m),
            elevation_m: elevation,
            gradient: mix(a.gradient, b.gradient),
        }
    }

    /// Largest curvature of the lap, 1/m.
    pub(crate) fn tightest_1_m(&self) -> f64 {
        self.spots.iter().map(|s| s.curvature_1_m.abs()).fold(0.0, f64::max)
    }

    /// Largest gradient of the lap.
    pub(crate) fn steepest(&self) -> f64 {
        self.spots.iter().map(|s| s.gradient.abs()).fold(0.0, f64::max)
    }

    /// Place on Earth of a point east and north of the gate, on the plane that touches the ellipsoid there.
    ///
    /// With the radii of curvature M and N of WGS84: Δlat = north/M, Δlon = east/(N cos lat).
    pub(crate) fn position(&self, east_m: f64, north_m: f64) -> Position {
        let latitude = self.origin.lat_deg.to_radians();
        let w2 = 1.0 - WGS84_E2 * latitude.sin().powi(2);
        let across_m = WGS84_A_M / w2.sqrt();
        let along_m = across_m * (1.0 - WGS84_E2) / w2;
        Position {
            lat_deg: self.origin.lat_deg + (north_m / along_m).to_degrees(),
            lon_deg: self.origin.lon_deg + (east_m / (across_m * latitude.cos())).to_degrees(),
        }
    }

    /// A straight and level road of this length, to test what does not depend on a loop.
    #[cfg(test)]
    pub(crate) fn level_road(length_m: f64) -> Course {
        let spot = Spot { heading_east: 1.0, ..Spot::default() };
        Course {
            length_m,
            origin: Position { lat_deg: 0.0, lon_deg: 0.0 },
            altitude_m: 0.0,
            cell_m: length_m,
            spots: vec![spot, Spot { east_m: length_m, ..spot }],
        }
    }
}

fn tabulated(shape: &Shape, profile: &Profile, at_gate_rad: f64) -> Course {
    let length_m = shape.length_m();
    let cells = (length_m / CELL_M).ceil().max(1.0) as usize;
    let cell_m = length_m / cells as f64;
    let mut spots = Vec::with_capacity(cells + 1);
    let mut here = Spot::default();
    for i in 0..=cells {
        let s = i as f64 * cell_m;
        let direction = at_gate_rad + shape.direction_rad(s);
        let level = profile.at(s);
        here = Spot {
            curvature_1_m: shape.curvature_1_m(s),
            heading_east: direction.cos(),
            heading_north: direction.sin(),
            elevation_m: level.height_m,
            gradient: level.gradient,
            ..here
        };
        spots.push(here);
        // Simpson's rule over the cell: the directions are exact, so places are good to micrometres.
        let (middle, end) =
            (at_gate_rad + shape.direction_rad(s + 0.5 * cell_m), at_gate_rad + shape.direction_rad(s + cell_m));
        here.east_m += cell_m / 6.0 * (direction.cos() + 4.0 * middle.cos() + end.cos());
        here.north_m += cell_m / 6.0 * (direction.sin() + 4.0 * middle.sin() + end.sin());
    }
    Course { length_m, origin: Position { lat_deg: 0.0, lon_deg: 0.0 }, altitude_m: 0.0, cell_m, spots }
}

/// Height along the lap: a sum of sines with whole periods, so that it closes by itself.
struct Profile {
    length_m: f64,
    scale: f64,
    waves: Vec<ProfileWave>,
}

struct ProfileWave {
    order: f64,
    size: f64,
    phase_rad: f64,
}

impl Profile {
    /// Drawn from a seed and scaled so that the highest point lies twice the amplitude above the lowest.
    fn drawn(amplitude_m: f64, seed: u64, length_m: f64) -> Profile {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        let wave = |k: usize, random: &mut Xoshiro256PlusPlus| ProfileWave {
            order: k as f64,
            size: (0.4 + 0.6 * random.random::<f64>()) / k as f64,
            phase_rad: TAU * random.random::<f64>(),
        };
        let waves = (1..=WAVES).map(|k| wave(k, &mut random)).collect();
        let mut profile = Profile { length_m, scale: 1.0, waves };
        let heights: Vec<f64> = (0..720).map(|i| profile.at(length_m * f64::from(i) / 720.0).height_m).collect();
        let low = heights.iter().copied().fold(f64::INFINITY, f64::min);
        let high = heights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        profile.scale = 2.0 * amplitude_m / (high - low);
        profile
    }

    fn at(&self, chainage_m: f64) -> Level {
        let turn = TAU / self.length_m;
        self.waves.iter().fold(Level::default(), |sum, w| {
            let angle = w.order * turn * chainage_m + w.phase_rad;
            let size = self.scale * w.size;
            Level {
                height_m: sum.height_m + size * angle.sin(),
                gradient: sum.gradient + size * w.order * turn * angle.cos(),
            }
        })
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Level {
    height_m: f64,
    gradient: f64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::planned_loop::LoopShape;

    fn road(shape: LoopShape, length_m: f64) -> PlannedLoop {
        PlannedLoop { shape, length_m: Some(length_m), ..PlannedLoop::default() }
    }

    fn track() -> PlannedLoop {
        PlannedLoop {
            kind: Venue::Track,
            length_m: Some(250.0),
            bend_radius_m: Some(22.0),
            transition_m: Some(12.0),
            ..PlannedLoop::default()
        }
    }

    fn all() -> Vec<PlannedLoop> {
        let mut plans = vec![track()];
        for length in [900.0, 1240.0, 2400.0] {
            plans.push(road(LoopShape::Oval, length));
            plans.push(road(LoopShape::RoundedRectangle, length));
            plans.push(road(LoopShape::Bean, length));
            plans.push(road(LoopShape::OutAndBack, length));
            for seed in 1..6 {
                plans.push(PlannedLoop { shape_seed: seed, ..road(LoopShape::Curve, length) });
            }
        }
        plans
    }

    #[test]
    fn every_lap_turns_once_has_its_length_and_ends_where_it_began() {
        // A closed line turns by 2π (Hopf); places may miss by the millimetre to which a bean is solved.
        for plan in all() {
            let shape = Shape::of(&plan).unwrap();
            let end_rad = shape.direction_rad(shape.length_m() * (1.0 - 1e-15));
            assert!((end_rad - TAU).abs() < 1e-9 || end_rad.abs() < 1e-9, "{plan:?}: {end_rad}");
            assert!((shape.length_m() - plan.length_m.unwrap()).abs() < 1e-6, "{plan:?}: {}", shape.length_m());
            let course = Course::of(&plan).unwrap();
            let (first, last) = (course.spots.first().unwrap(), course.spots.last().unwrap());
            assert!(last.east_m.hypot(last.north_m) < 2e-3, "{plan:?}: {} {}", last.east_m, last.north_m);
            assert!((last.elevation_m - first.elevation_m).abs() < 1e-9);
        }
    }

    #[test]
    fn the_curvature_of_a_track_adds_up_to_one_turn() {
        // The integral of κ over a lap is 2π exactly; the rule of trapezia errs only where the ramps begin.
        let shape = Shape::of(&track()).unwrap();
        let cells = 250_000;
        let sum: f64 = (0..cells).map(|i| shape.curvature_1_m(250.0 * f64::from(i) / f64::from(cells))).sum();
        assert!((sum * 250.0 / f64::from(cells) - TAU).abs() < 1e-7);
        let course = Course::of(&track()).unwrap();
        assert!((course.tightest_1_m() - 1.0 / 22.0).abs() < 1e-12);
        assert_eq!(course.at(0.0).curvature_1_m, 0.0);
    }

    #[test]
    fn height_and_gradient_belong_together_and_the_amplitude_is_kept() {
        let plan = PlannedLoop { elevation_amplitude_m: Some(3.0), ..road(LoopShape::Curve, 1200.0) };
        let course = Course::of(&plan).unwrap();
        let heights: Vec<f64> = (0..12_000).map(|i| course.at(0.1 * f64::from(i)).elevation_m).collect();
        let high = heights.iter().copied().fold(f64::MIN, f64::max);
        let low = heights.iter().copied().fold(f64::MAX, f64::min);
        assert!((high - low - 6.0).abs() < 1e-2, "{}", high - low);
        for s in [0.0, 17.3, 600.1, 1199.9] {
            let slope = (course.at(s + 0.01).elevation_m - course.at(s - 0.01).elevation_m) / 0.02;
            assert!((slope - course.at(s).gradient).abs() < 1e-5);
        }
    }

    #[test]
    fn a_place_east_of_the_gate_lies_where_the_ellipsoid_says() {
        // One degree on WGS84 (radii of curvature): 110574.2758 m north and 111319.4908 m east at the equator.
        let course = Course { origin: Position { lat_deg: 0.0, lon_deg: -140.0 }, ..Course::level_road(10.0) };
        let place = course.position(111.319_490_8, 110.574_275_8);
        assert!((place.lat_deg - 0.001).abs() < 1e-9, "{}", place.lat_deg);
        assert!((place.lon_deg + 139.999).abs() < 1e-9, "{}", place.lon_deg);
    }

    #[test]
    fn bends_that_do_not_fit_are_refused_with_their_length() {
        let plan = PlannedLoop { bend_radius_m: Some(60.0), ..track() };
        assert!(Course::of(&plan).unwrap_err().contains("more than the lap of 250.0 m"));
        let plan = PlannedLoop { bend_radius_m: Some(400.0), ..road(LoopShape::Bean, 1200.0) };
        assert!(Course::of(&plan).unwrap_err().contains("does not close"));
    }
}
