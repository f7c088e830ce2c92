//! Can a drift through the day be told from a difference between set-ups?
//!
//! Given which set-up each run had and when its middle was; gives for each pair how far the comparison leans on time.
//! It never fits a drift.

/// Above this correlation more than half the variance of the comparison is explained by time, and fitting a linear
/// drift beside it at least doubles its variance, 1/(1 − r²) ≥ 2 (common practice, no source for the limit).
pub const CONFOUNDED_FROM: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// How one pair of set-ups is spread over time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairInTime {
    /// Set-up indices as given, `first` < `second`.
    pub first: usize,
    pub second: usize,
    /// Correlation of "second instead of first" with time over the runs of the pair; ±1 when each was ridden once.
    pub correlation: f64,
    /// Mean time of the second less that of the first, s: a drift of 1/s shows as this difference.
    pub lag_s: f64,
}

impl PairInTime {
    /// Whether set-up and time cannot be told apart. A correlation that is not a number (all runs at one time) counts
    /// as that.
    pub fn is_confounded(&self) -> bool {
        self.correlation.is_nan() || self.correlation.abs() >= CONFOUNDED_FROM
    }
}

/// Every pair of set-ups that occurs, in ascending order; runs whose time is not a number are passed over.
///
/// ```
/// use loopwright::compare::order::pairs_in_time;
/// let balanced = pairs_in_time(&[0, 1, 1, 0], &[0.0, 600.0, 1200.0, 1800.0]);
/// assert!(!balanced[0].is_confounded());
/// let blocked = pairs_in_time(&[0, 0, 1, 1], &[0.0, 600.0, 1200.0, 1800.0]);
/// assert!(blocked[0].is_confounded());
/// ```
pub fn pairs_in_time(setups: &[usize], mid_times_s: &[f64]) -> Vec<PairInTime> {
    let runs: Vec<(usize, f64)> =
        setups.iter().copied().zip(mid_times_s.iter().copied()).filter(|(_, time)| time.is_finite()).collect();
    let mut present: Vec<usize> = runs.iter().map(|(setup, _)| *setup).collect();
    present.sort_unstable();
    present.dedup();
    let mut pairs = Vec::new();
    for (position, first) in present.iter().enumerate() {
        for second in &present[position + 1..] {
            pairs.push(pair_in_time(&runs, *first, *second));
        }
    }
    pairs
}

fn pair_in_time(runs: &[(usize, f64)], first: usize, second: usize) -> PairInTime {
    let times = |wanted: usize| runs.iter().filter(move |(setup, _)| *setup == wanted).map(|(_, time)| *time);
    let count = |wanted: usize| times(wanted).count() as f64;
    let (n_first, n_second) = (count(first), count(second));
    let (mean_first, mean_second) = (times(first).sum::<f64>() / n_first, times(second).sum::<f64>() / n_second);
    let lag_s = mean_second - mean_first;
    // For an indicator the sum of squares about the mean is n₁n₂/n, and its product with time n₁n₂/n times the lag.
    let spread = n_first * n_second / (n_first + n_second);
    let within: f64 = times(first).map(|t| (t - mean_first).powi(2)).sum::<f64>()
        + times(second).map(|t| (t - mean_second).powi(2)).sum::<f64>();
    let total = within + spread * lag_s * lag_s;
    PairInTime { first, second, correlation: lag_s * (spread / total).sqrt(), lag_s }
}

/// What a drift proportional to slot^power adds to the mean of set-up 1 less the mean of set-up 0, slots counted from
/// 0 and equally spaced: 0 where the order cancels that drift. NaN when either set-up is absent.
///
/// ```
/// // A B B A cancels a linear drift and leaves −2 of a quadratic one.
/// assert_eq!(loopwright::compare::order::drift_left(&[0, 1, 1, 0], 1), 0.0);
/// assert_eq!(loopwright::compare::order::drift_left(&[0, 1, 1, 0], 2), -2.0);
/// ```
pub fn drift_left(order: &[usize], power: i32) -> f64 {
    let mean_drift = |wanted: usize| {
        let slots = order.iter().enumerate().filter(|(_, setup)| **setup == wanted);
        let drifts: Vec<f64> = slots.map(|(slot, _)| (slot as f64).powi(power)).collect();
        drifts.iter().sum::<f64>() / drifts.len() as f64
    };
    mean_drift(1) - mean_drift(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn correlation(order: &[usize]) -> f64 {
        let times: Vec<f64> = (0..order.len()).map(|slot| slot as f64 * 700.0).collect();
        pairs_in_time(order, &times)[0].correlation
    }

    #[test]
    fn the_correlation_is_that_of_an_indicator_with_the_slot() {
        // Arithmetic: slots −3, −1, 1, 3 against −1, −1, 1, 1 give 8/√(20·4); against −1, 1, −1, 1 half of it.
        assert!((correlation(&[0, 0, 1, 1]) - 8.0 / 80.0_f64.sqrt()).abs() < 1e-12);
        assert!((correlation(&[0, 1, 0, 1]) - 4.0 / 80.0_f64.sqrt()).abs() < 1e-12);
        assert_eq!(correlation(&[0, 1, 1, 0]), 0.0);
        assert!((correlation(&[1, 0]) + 1.0).abs() < 1e-12);
    }

    #[test]
    fn three_set_ups_ridden_there_and_back_are_not_confounded_and_in_blocks_they_are() {
        let times = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
        assert!(pairs_in_time(&[0, 1, 2, 2, 1, 0], &times).iter().all(|pair| !pair.is_confounded()));
        let blocked = pairs_in_time(&[0, 0, 1, 1, 2, 2], &times);
        assert_eq!(blocked.len(), 3);
        assert!(blocked.iter().all(PairInTime::is_confounded));
    }

    #[test]
    fn runs_all_at_the_same_time_are_confounded_and_a_single_set_up_has_no_pair() {
        assert!(pairs_in_time(&[0, 1], &[5.0, 5.0])[0].is_confounded());
        assert!(pairs_in_time(&[0, 0], &[5.0, 9.0]).is_empty());
        assert!(pairs_in_time(&[0, 1], &[5.0, f64::NAN]).is_empty());
    }
}
