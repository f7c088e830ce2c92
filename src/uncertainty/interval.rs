//! Coverage intervals from a sorted sample.
//!
//! Given values in ascending order; gives the interval between two order statistics. It never sorts and never smooths.

/// Both ends of an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    pub low: f64,
    pub high: f64,
}

impl Interval {
    const UNKNOWN: Interval = Interval { low: f64::NAN, high: f64::NAN };

    pub fn width(&self) -> f64 {
        self.high - self.low
    }

    pub fn contains(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// The probabilistically symmetric interval: as many values below as above (JCGM 101:2008, 7.7.2).
    /// NaN when the sample is too small to leave anything outside.
    pub fn symmetric(sorted: &[f64], coverage: f64) -> Interval {
        let Some(inside) = steps_inside(sorted.len(), coverage) else {
            return Interval::UNKNOWN;
        };
        let first = (sorted.len() - inside).div_ceil(2) - 1;
        Interval { low: sorted[first], high: sorted[first + inside] }
    }

    /// The shortest interval that holds the same number of values (JCGM 101:2008, 7.7.4).
    pub fn shortest(sorted: &[f64], coverage: f64) -> Interval {
        let Some(inside) = steps_inside(sorted.len(), coverage) else {
            return Interval::UNKNOWN;
        };
        (0..sorted.len() - inside)
            .map(|first| Interval { low: sorted[first], high: sorted[first + inside] })
            .min_by(|a, b| a.width().total_cmp(&b.width()))
            .unwrap_or(Interval::UNKNOWN)
    }
}

/// q of JCGM 101, 7.7.1: the integer part of pM + ½; `None` when that leaves no value outside.
fn steps_inside(count: usize, coverage: f64) -> Option<usize> {
    if !(coverage > 0.0 && coverage < 1.0) {
        return None;
    }
    let inside = (coverage * count as f64 + 0.5).floor() as usize;
    (inside >= 1 && inside < count).then_some(inside)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hundred_ranks_lose_two_or_three_at_each_end() {
        // JCGM 101, 7.7.2: q = 95, r = (M − q + 1)/2 = 3, so y(3) to y(98).
        let sorted: Vec<f64> = (1..=100).map(f64::from).collect();
        assert_eq!(Interval::symmetric(&sorted, 0.95), Interval { low: 3.0, high: 98.0 });
    }

    #[test]
    fn the_shortest_interval_of_a_skewed_sample_starts_at_its_dense_end() {
        // Squares of ranks are densest near the smallest, so the shortest starts at the first.
        let sorted: Vec<f64> = (1..=100).map(|rank| f64::from(rank * rank)).collect();
        assert_eq!(Interval::shortest(&sorted, 0.95), Interval { low: 1.0, high: 96.0 * 96.0 });
    }

    #[test]
    fn a_handful_of_values_has_no_95_percent_interval() {
        assert!(Interval::symmetric(&[1.0, 2.0, 3.0], 0.95).low.is_nan());
        assert!(Interval::shortest(&[], 0.95).high.is_nan());
    }
}
