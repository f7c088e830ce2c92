//! Where along the loop a ride is at each instant: the wheel's distance, tied to positions or lap marks.
//!
//! Given observations of place (noisy, unbiased in the long run) and the distance by the wheel (precise, but with an
//! unknown start, scale and slow drift of line); gives chainage as a smooth function of time. It never follows a single
//! position: a satellite fix wanders by metres, and a metre of slope is worth millimetres of elevation.

use super::line_drift::Knot;
use crate::sample::Ride;

/// Chainage over one sequence of consecutive laps.
#[derive(Debug, Clone, PartialEq)]
pub struct Chainage {
    start_m: f64,
    scale: f64,
    per_delay: PerDelay,
    /// Slow correction at instants, m.
    drift: Vec<Knot>,
}

/// What start and scale gain where the speed reading is a second later, m/s and 1/s.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct PerDelay {
    pub start_m: f64,
    pub scale: f64,
}

impl Chainage {
    /// Chainage by the wheel alone, zero at an instant.
    pub fn by_distance(ride: &Ride, zero_s: f64) -> Self {
        Chainage { start_m: -ride.distance_m.at(zero_s), scale: 1.0, per_delay: PerDelay::default(), drift: Vec::new() }
    }

    pub(super) fn new(start_m: f64, scale: f64, per_delay: PerDelay, drift: Vec<Knot>) -> Self {
        Chainage { start_m, scale, per_delay, drift }
    }

    /// Metres of the loop for a metre by the wheel.
    pub(super) fn scale(&self) -> f64 {
        self.scale
    }

    /// By how much later a place is reached where the speed reading is a second later, s/s, from the instant at which it is
    /// reached now.
    pub(super) fn shift_per_delay(&self, ride: &Ride, time_s: f64) -> f64 {
        let gained = self.per_delay.start_m + self.per_delay.scale * ride.distance_m.at(time_s);
        -gained / (self.scale * ride.distance_m.rate_at(time_s))
    }

    pub fn at(&self, ride: &Ride, time_s: f64) -> f64 {
        self.start_m + self.scale * ride.distance_m.at(time_s) + self.correction(time_s)
    }

    fn correction(&self, time_s: f64) -> f64 {
        let i = self.drift.partition_point(|k| k.time_s <= time_s);
        match (i.checked_sub(1).map(|a| self.drift[a]), self.drift.get(i)) {
            (Some(a), Some(b)) => {
                a.correction_m + (time_s - a.time_s) / (b.time_s - a.time_s) * (b.correction_m - a.correction_m)
            }
            (Some(a), None) => a.correction_m,
            (None, Some(b)) => b.correction_m,
            (None, None) => 0.0,
        }
    }

    /// Instant at which a chainage is reached between two instants; `None` when it is not between them.
    pub fn time_at(&self, ride: &Ride, chainage_m: f64, from_s: f64, to_s: f64) -> Option<f64> {
        let (mut a, mut b) = (from_s, to_s);
        let (mut fa, mut fb) = (self.at(ride, a) - chainage_m, self.at(ride, b) - chainage_m);
        if !(fa <= 0.0 && fb >= 0.0) {
            return None;
        }
        // Regula falsi with the Illinois rule: the function is monotone and nearly straight.
        for _ in 0..60 {
            if b - a < 1e-6 || fb - fa <= 0.0 {
                break;
            }
            let t = (a - fa * (b - a) / (fb - fa)).clamp(a, b);
            let f = self.at(ride, t) - chainage_m;
            if f.abs() < 1e-5 {
                return Some(t);
            }
            if f < 0.0 {
                a = t;
                fa = f;
                fb *= 0.5;
            } else {
                b = t;
                fb = f;
                fa *= 0.5;
            }
        }
        Some(0.5 * (a + b))
    }
}
