//! What a head unit writes down once a second.
//!
//! Given the true ride and the errors of the devices; gives [`Reading`]s in the units and quanta of a FIT record,
//! so that a file holds exactly these values. It writes no file.

use super::chance::{Purpose, Wander, normal, stream};
use super::instruments::Instruments;
use super::speedometer;
use super::trace::Trace;
use crate::plan::{Course, Mishap, MishapKind, Noise};
use crate::quantity::deg_from_semicircles;
use crate::record::{Provenance, Recording};

/// Correlation time of a drifting altitude, s (common practice, no source).
const ALTITUDE_TIME_S: f64 = 600.0;

/// One record, in the integers of a FIT record message; `None` where a channel is missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// Unix time.
    pub time_s: i64,
    pub power_w: Option<u16>,
    pub speed_mm_s: u16,
    pub distance_cm: u32,
    pub place: Option<Place>,
    pub temperature_c: i8,
}

/// Position in semicircles, 2³¹ to 180°, and altitude in steps of 0.2 m from −500 m.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    pub latitude: i32,
    pub longitude: i32,
    pub altitude: u16,
}

/// One ride as its file holds it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SimulatedRide {
    /// Name of the file.
    pub file: String,
    /// Unix time at which the timer was started.
    pub start_s: i64,
    pub readings: Vec<Reading>,
    /// Ends of the laps from the start, ms, the last at the end of the ride.
    pub lap_marks_ms: Vec<u32>,
}

impl SimulatedRide {
    /// The ride as if it had been written to a file and read back.
    pub fn to_recording(&self) -> Recording {
        let column = |f: &dyn Fn(&Reading) -> f64| self.readings.iter().map(f).collect::<Vec<f64>>();
        let place = |f: &dyn Fn(&Place) -> f64| column(&|r| r.place.as_ref().map_or(f64::NAN, f));
        Recording {
            provenance: Provenance { file: self.file.clone(), ..Provenance::default() },
            time_s: column(&|r| r.time_s as f64),
            power_w: column(&|r| r.power_w.map_or(f64::NAN, f64::from)),
            speed_m_s: column(&|r| f64::from(r.speed_mm_s) / 1000.0),
            distance_m: column(&|r| f64::from(r.distance_cm) / 100.0),
            latitude_deg: place(&|p| deg_from_semicircles(f64::from(p.latitude))),
            longitude_deg: place(&|p| deg_from_semicircles(f64::from(p.longitude))),
            altitude_m: place(&|p| f64::from(p.altitude) / 5.0 - 500.0),
            cadence_rpm: vec![f64::NAN; self.readings.len()],
            temperature_c: column(&|r| f64::from(r.temperature_c)),
            lap_marks_s: self.lap_marks_ms.iter().map(|&m| self.start_s as f64 + f64::from(m) / 1000.0).collect(),
            pauses_s: Vec::new(),
            findings: Vec::new(),
        }
    }
}

/// What the devices of one run look at.
pub(super) struct Scene<'a> {
    pub(super) trace: &'a Trace,
    /// Only for a device that records positions.
    pub(super) course: Option<&'a Course>,
    /// Passes of the line to be marked as laps, from the start.
    pub(super) marks_s: &'a [f64],
    pub(super) noise: &'a Noise,
    pub(super) instruments: &'a Instruments,
    pub(super) mishaps: &'a [Mishap],
}

/// A recorded ride and how old its speeds are against its powers.
pub(super) struct Recorded {
    pub(super) ride: SimulatedRide,
    /// Mean delay of the speeds at their stamps, less the delay of the power meter's averaging second.
    pub(super) speed_behind_power_s: f64,
}

/// Records a run from second 1 to the last whole second.
pub(super) fn record(scene: &Scene, file: String, start_s: i64, seed: u64, run: usize) -> Recorded {
    let count = scene.trace.duration_s() as usize;
    let speed = speedometer::read(
        scene.trace,
        count,
        scene.noise,
        scene.instruments.speed_scale,
        &mut stream(seed, run, Purpose::Speed),
    );
    let power = powers(scene, count, seed, run);
    let places = places(scene, count, seed, run);
    let readings = (0..count)
        .map(|i| Reading {
            time_s: start_s + 1 + i as i64,
            power_w: power[i],
            // Casts from floating point saturate, so that no value can wrap.
            speed_mm_s: (speed.speed_m_s[i] * 1000.0).round() as u16,
            distance_cm: (speed.distance_m[i] * 100.0).round() as u32,
            place: places.get(i).copied(),
            temperature_c: scene.instruments.temperature_c.round() as i8,
        })
        .collect();
    let mut random = stream(seed, run, Purpose::LapMarks);
    let last_ms = (count as f64 * 1000.0) as u32;
    let mut lap_marks_ms: Vec<u32> = scene
        .marks_s
        .iter()
        .map(|t| ((t + scene.noise.lap_mark_sd_s * normal(&mut random)) * 1000.0).round() as u32)
        .filter(|&m| m < last_ms)
        .collect();
    lap_marks_ms.push(last_ms);
    lap_marks_ms.sort_unstable();
    Recorded {
        ride: SimulatedRide { file, start_s, readings, lap_marks_ms },
        speed_behind_power_s: speed.delay_s - scene.noise.power_lag_s,
    }
}

/// Mean power over the second that ends `power_lag_s` before each stamp, scaled, scattered and rounded to watts.
fn powers(scene: &Scene, count: usize, seed: u64, run: usize) -> Vec<Option<u16>> {
    let mut random = stream(seed, run, Purpose::PowerMeter);
    let lost = |t: f64| {
        scene.mishaps.iter().any(|m| m.kind == MishapKind::PowerLost && t >= m.at_s && t < m.at_s + m.duration_s)
    };
    let power = |i: usize, scatter: f64| {
        let end_s = i as f64 - scene.noise.power_lag_s;
        let mean_w = scene.trace.work_at(end_s) - scene.trace.work_at(end_s - 1.0);
        (mean_w * scene.instruments.power_scale * (1.0 + scene.noise.power_cv * scatter)).round().max(0.0) as u16
    };
    (1..=count)
        .map(|i| {
            let scatter = normal(&mut random);
            (!lost(i as f64)).then(|| power(i, scatter))
        })
        .collect()
}

fn places(scene: &Scene, count: usize, seed: u64, run: usize) -> Vec<Place> {
    let Some(course) = scene.course else {
        return Vec::new();
    };
    let noise = scene.noise;
    let random = &mut stream(seed, run, Purpose::Position);
    let mut east = Wander::new(noise.position_sd_m, noise.position_time_s, 1.0, random);
    let mut north = Wander::new(noise.position_sd_m, noise.position_time_s, 1.0, random);
    let barometer = &mut stream(seed, run, Purpose::Altitude);
    let mut drift = Wander::new(noise.altitude_sd_m, ALTITUDE_TIME_S, 1.0, barometer);
    let semicircles = |degrees: f64| (degrees * (2_147_483_648.0 / 180.0)).round() as i32;
    (1..=count)
        .map(|i| {
            let spot = course.at(scene.trace.chainage_at(i as f64));
            let east_m = spot.east_m + east.advance(random) + noise.position_white_m * normal(random);
            let north_m = spot.north_m + north.advance(random) + noise.position_white_m * normal(random);
            let place = course.position(east_m, north_m);
            let altitude_m = course.altitude_m + spot.elevation_m + drift.advance(barometer);
            Place {
                latitude: semicircles(place.lat_deg),
                longitude: semicircles(place.lon_deg),
                altitude: ((altitude_m + 500.0) * 5.0).round() as u16,
            }
        })
        .collect()
}
