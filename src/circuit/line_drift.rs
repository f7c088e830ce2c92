//! The slow drift of a ride's line against the wheel, lap by lap.
//!
//! Given what places say beyond start, scale and delay, as one mean a lap; gives a correction that changes slowly, or none
//! where the laps do not ask for one.

use nalgebra::{DMatrix, DVector};

/// Ratios of drift to noise tried, variance a lap over variance of a lap's mean.
const DRIFT_RATIOS: [f64; 9] = [0.0, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0];
/// Gain in log-likelihood a drift must bring to be believed.
const DRIFT_GAIN: f64 = 2.0;

/// Mean of what the regression leaves over one lap, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LapMean {
    pub time_s: f64,
    pub mean_m: f64,
    /// Sum of the weights of the fixes behind it, 1/m².
    pub weight: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Knot {
    pub time_s: f64,
    pub correction_m: f64,
}

/// Local level by laps, smoothed, with the drift ratio of greatest likelihood; empty when no drift is believed
/// (Durbin & Koopman 2012, Time Series Analysis by State Space Methods, ch. 2; from memory).
pub(super) fn drift(laps: &[LapMean]) -> Vec<Knot> {
    if laps.len() < 3 {
        return Vec::new();
    }
    let y = DVector::from_iterator(laps.len(), laps.iter().map(|l| l.mean_m));
    let (mut best, mut best_gain) = (None, DRIFT_GAIN);
    let mut without = f64::NAN;
    for ratio in DRIFT_RATIOS {
        let Some((likelihood, level)) = local_level(&y, ratio) else { continue };
        if ratio == 0.0 {
            without = likelihood;
        } else if likelihood - without > best_gain {
            best_gain = likelihood - without;
            best = Some(level);
        }
    }
    let Some(level) = best else { return Vec::new() };
    laps.iter().zip(level.iter()).map(|(l, c)| Knot { time_s: l.time_s, correction_m: *c }).collect()
}

/// Concentrated log-likelihood and smoothed level of a random walk plus noise, by the precision matrix of the walk.
fn local_level(y: &DVector<f64>, ratio: f64) -> Option<(f64, DVector<f64>)> {
    let n = y.len();
    // Covariance of y about its unknown start in units of the noise variance: I + ratio·min(i, j).
    let v = DMatrix::from_fn(n, n, |i, j| f64::from(u8::from(i == j)) + ratio * i.min(j) as f64);
    let chol = v.cholesky()?;
    let ones = DVector::from_element(n, 1.0);
    let (vy, v1) = (chol.solve(y), chol.solve(&ones));
    let start = ones.dot(&vy) / ones.dot(&v1);
    let e = y - start * &ones;
    let ve = chol.solve(&e);
    let variance = (e.dot(&ve) / (n as f64 - 1.0)).max(1e-12);
    let log_det = 2.0 * chol.l().diagonal().iter().map(|d| d.ln()).sum::<f64>();
    let likelihood = -0.5 * ((n as f64 - 1.0) * variance.ln() + log_det + ones.dot(&v1).ln());
    let walk = DMatrix::from_fn(n, n, |i, j| ratio * i.min(j) as f64);
    Some((likelihood, start * ones + walk * ve))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wandering_line_is_followed_lap_by_lap_and_steady_noise_is_not() {
        let walk = [0.0, 4.0, 7.0, 12.0, 15.0, 21.0, 24.0, 30.0];
        let noise = [1.0, -1.2, 0.8, -0.9, 1.1, -1.0, 0.7, -0.5];
        let laps = |means: [f64; 8]| {
            let lap = |(i, mean_m)| LapMean { time_s: i as f64, mean_m, weight: 1.0 };
            means.into_iter().enumerate().map(lap).collect::<Vec<_>>()
        };
        assert!(drift(&laps(noise)).is_empty());
        let followed = drift(&laps(walk));
        assert!((followed[7].correction_m - followed[0].correction_m - 30.0).abs() < 3.0);
    }
}
