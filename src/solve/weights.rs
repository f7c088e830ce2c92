//! How much each lap says: fast laps are noisier, because gusts and the power meter's scatter grow with speed.
//!
//! Given misclosures and speeds of laps; gives weights. It never looks at what a lap would do to the answer.

/// Exponent of the variance of a misclosure in speed that physics lets expect: a gust's force grows with v, its work over
/// a lap as v² over a time that shrinks as 1/v, so v³; the scatter of a power meter in per cent gives about v⁴.
pub const EXPECTED_EXPONENT: f64 = 3.5;
/// Standard deviation of that expectation.
const EXPECTED_SD: f64 = 1.0;
/// Exponents tried.
const MOST: f64 = 7.0;
const STEPS: usize = 70;

/// Weights with mean 1, proportional to v^−q; q maximises the likelihood of the misclosures under N(0, σ² v^q) times a
/// normal prior on q.
pub fn lap_weights(misclosure_m: &[f64], speed_m_s: &[f64]) -> Vec<f64> {
    let n = speed_m_s.len() as f64;
    let centre = speed_m_s.iter().map(|v| v.ln()).sum::<f64>() / n;
    let log_ratio: Vec<f64> = speed_m_s.iter().map(|v| v.ln() - centre).collect();
    let likelihood = |q: f64| {
        // The sum of log ratios is zero by centring, so the determinant term vanishes.
        let sum: f64 = misclosure_m.iter().zip(&log_ratio).map(|(e, r)| e * e * (-q * r).exp()).sum();
        -0.5 * n * (sum / n).max(1e-12).ln() - 0.5 * ((q - EXPECTED_EXPONENT) / EXPECTED_SD).powi(2)
    };
    let exponent = (0..=STEPS)
        .map(|i| i as f64 * MOST / STEPS as f64)
        .max_by(|a, b| likelihood(*a).total_cmp(&likelihood(*b)))
        .unwrap_or(EXPECTED_EXPONENT);
    let raw: Vec<f64> = log_ratio.iter().map(|r| (-exponent * r).exp()).collect();
    let mean = raw.iter().sum::<f64>() / n;
    raw.iter().map(|w| w / mean).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noisier_fast_laps_weigh_less_and_weights_average_one() {
        // Variance four times as large at 1.4 times the speed: q = ln 4 / ln 1.4 = 4.12 by arithmetic. The data know it
        // to n Var(ln v)/2 = 0.57, the prior at 3.5 to 1, so 3.5 + 0.62·0.57/1.57 = 3.72 is expected.
        let speed: Vec<f64> = (0..40).map(|i| if i % 2 == 0 { 8.0 } else { 11.2 }).collect();
        let miss: Vec<f64> =
            (0..40).map(|i| if i % 2 == 0 { 0.1 } else { 0.2 } * if i % 4 < 2 { 1.0 } else { -1.0 }).collect();
        let w = lap_weights(&miss, &speed);
        assert!((w.iter().sum::<f64>() / 40.0 - 1.0).abs() < 1e-12);
        let q = (w[0] / w[1]).ln() / 1.4_f64.ln();
        assert!((q - 3.72).abs() < 0.06, "{q}");
    }

    #[test]
    fn laps_at_one_speed_weigh_the_same() {
        let w = lap_weights(&[0.1, -0.2, 0.05], &[9.0, 9.0, 9.0]);
        assert!(w.iter().all(|x| (x - 1.0).abs() < 1e-12));
    }
}
