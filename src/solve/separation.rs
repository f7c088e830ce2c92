//! Whether the rides can tell CdA from Crr at all.
//!
//! Given speeds, standard errors and the correlation of an estimate; gives a verdict with its reason and what to ride
//! next. It changes no number.

use crate::quantity::km_h_from_m_s;

use super::speed_class::{Origin, SpeedClasses};

/// Half-width of a Crr interval from which it says nothing about tyres: those of road bicycles lie between 0.002 and
/// 0.008 (common practice, no source).
const WIDEST_CRR: f64 = 0.0015;
/// Spread of the square of lap speed below which the aerodynamic column is proportional to the rolling one.
const LEAST_SPREAD: f64 = 0.06;
/// Share of a variance from which what was expected decides more than the rides do.
const MOST_EXPECTED_SHARE: f64 = 0.5;
/// First-stage F that instruments should reach (Staiger & Stock 1997, Econometrica 65:557: 10).
pub const STRONG_F: f64 = 10.0;

/// What separability is judged from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// Half-width of the widest interval of a Crr that was to be estimated.
    pub crr_half_width: f64,
    /// Largest share of the variance of a CdA that rests on what was expected of it.
    pub expected_share: f64,
    /// Standard deviation over mean of the square of lap speed.
    pub spread: f64,
    pub speed_min_m_s: f64,
    pub speed_max_m_s: f64,
}

/// Why CdA and Crr cannot be told apart, and what to ride next time; `None` when they can.
pub fn not_separable(evidence: &Evidence, classes: &SpeedClasses) -> Option<[String; 2]> {
    let speeds =
        format!("{:.1} to {:.1} km/h", km_h_from_m_s(evidence.speed_min_m_s), km_h_from_m_s(evidence.speed_max_m_s));
    let next = "Ride alternate laps at two clearly different speeds, such as 28 and 40 km/h, at least four of each; \
                the total drag at the mean speed is known and is given."
        .to_string();
    if evidence.spread < LEAST_SPREAD || classes.origin == Origin::OneSpeed {
        return Some([format!("all laps were ridden at nearly one speed ({speeds})"), next]);
    }
    if evidence.expected_share > MOST_EXPECTED_SHARE {
        let reason = format!("they rest more on what was expected than on the rides (lap speeds {speeds})");
        return Some([reason, next]);
    }
    if !evidence.crr_half_width.is_finite() || evidence.crr_half_width > WIDEST_CRR {
        return Some([
            format!(
                "the interval of Crr would be ±{:.4}, wider than the range of all road tyres (lap speeds {speeds})",
                evidence.crr_half_width
            ),
            next,
        ]);
    }
    None
}

/// Standard deviation over mean of the squares of lap speeds.
pub fn spread_of_squares(speeds_m_s: &[f64]) -> f64 {
    let n = speeds_m_s.len() as f64;
    let mean = speeds_m_s.iter().map(|v| v * v).sum::<f64>() / n;
    let variance = speeds_m_s.iter().map(|v| (v * v - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
    variance.sqrt() / mean
}
