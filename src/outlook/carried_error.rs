//! The error of Crr and CdA carried to the watts of another pace.
//!
//! Given what a result knows of a pair of coefficients and what a unit of each does to the watts; gives an estimate with its
//! interval.

use crate::demand::{Conditions, Parameters, demand_at_speed};
use crate::solution::Estimate;

/// Value and error of one pair of coefficients, with what the result says of watts at its reference.
pub(super) struct Known {
    pub(super) crr: Estimate,
    pub(super) cda_m2: Estimate,
    pub(super) power_w: Estimate,
}

/// What a unit of Crr and of CdA does to the watts.
pub(super) struct Slopes {
    pub(super) crr: f64,
    pub(super) cda: f64,
}

pub(super) fn slopes(rider: &Parameters, conditions: &Conditions, speed_m_s: f64) -> Slopes {
    let watts =
        |crr: f64, cda_m2: f64| demand_at_speed(&Parameters { crr, cda_m2, ..*rider }, conditions, speed_m_s).total_w;
    // Watts are linear in both, so the size of the step does not matter.
    let (dc, da) = (0.001, 0.01);
    let here = watts(rider.crr, rider.cda_m2);
    Slopes {
        crr: (watts(rider.crr + dc, rider.cda_m2) - here) / dc,
        cda: (watts(rider.crr, rider.cda_m2 + da) - here) / da,
    }
}

fn squared(a: f64, b: f64, r: f64, u_crr: f64, u_cda: f64) -> f64 {
    ((a * u_crr).powi(2) + (b * u_cda).powi(2) + 2.0 * a * b * r * u_crr * u_cda).max(0.0)
}

impl Known {
    fn u(e: &Estimate) -> f64 {
        e.se.filter(|u| u.is_finite()).unwrap_or(0.0)
    }

    /// The correlation with which the watts at the reference have the error they have.
    fn correlation(&self, at_reference: &Slopes) -> f64 {
        let (a, b) = (at_reference.crr * Known::u(&self.crr), at_reference.cda * Known::u(&self.cda_m2));
        if a == 0.0 || b == 0.0 {
            return 0.0;
        }
        let r = (Known::u(&self.power_w).powi(2) - a * a - b * b) / (2.0 * a * b);
        if r.is_finite() { r.clamp(-1.0, 1.0) } else { 0.0 }
    }

    /// Watts with their interval where a unit of Crr and of CdA does this.
    pub(super) fn watts(&self, value: f64, here: &Slopes, at_reference: &Slopes) -> Estimate {
        let r = self.correlation(at_reference);
        let se = squared(here.crr, here.cda, r, Known::u(&self.crr), Known::u(&self.cda_m2)).sqrt();
        let widest = if self.power_w.se.is_some() { &self.power_w } else { &self.crr };
        with_error(value, se, factor(widest))
    }
}

/// Half-width of an interval over its standard error.
pub(super) fn factor(e: &Estimate) -> f64 {
    match (e.se, e.low, e.high) {
        (Some(se), Some(low), Some(high)) if se > 0.0 => (high - low) / 2.0 / se,
        _ => 0.0,
    }
}

pub(super) fn with_error(value: f64, se: f64, factor: f64) -> Estimate {
    let half = factor * se;
    let known = half > 0.0 && half.is_finite();
    Estimate {
        value: Some(value),
        se: known.then_some(se),
        low: known.then_some(value - half),
        high: known.then_some(value + half),
        ..Estimate::default()
    }
}
