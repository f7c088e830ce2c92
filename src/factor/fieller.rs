//! Fieller's confidence set for the ratio of two estimates, which may be an interval, everything outside one, or everything.
//!
//! Given both estimates, their covariance and a t quantile; gives the set. It never chooses between its halves.

/// All ratios that the estimates do not contradict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Set {
    /// low ≤ ratio ≤ high.
    Between(f64, f64),
    /// ratio ≤ low or ratio ≥ high: the denominator may be 0.
    Outside(f64, f64),
    Anywhere,
}

impl Set {
    pub fn contains(&self, ratio: f64) -> bool {
        match *self {
            Set::Between(low, high) => low <= ratio && ratio <= high,
            Set::Outside(low, high) => ratio <= low || ratio >= high,
            Set::Anywhere => true,
        }
    }
}

/// Numerator and denominator.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ratio {
    pub numerator: f64,
    pub denominator: f64,
    pub var_numerator: f64,
    pub var_denominator: f64,
    pub covariance: f64,
}

impl Ratio {
    /// {θ : (a − θ b)² ≤ t² (v_aa − 2θ v_ab + θ² v_bb)}, by the roots of
    /// (b² − t²v_bb) θ² − 2 (ab − t²v_ab) θ + (a² − t²v_aa) = 0.
    ///
    /// Source: Fieller 1954, J. R. Stat. Soc. B 16:175.
    ///
    /// ```
    /// use loopwright::factor::fieller::{Ratio, Set};
    /// // A denominator known exactly leaves the interval of the numerator.
    /// let ratio = Ratio { numerator: 3.0, denominator: 2.0, var_numerator: 1.0, var_denominator: 0.0, covariance: 0.0 };
    /// assert_eq!(ratio.fieller(2.0), Set::Between(0.5, 2.5));
    /// ```
    pub fn fieller(&self, t: f64) -> Set {
        let square = t * t;
        let a = self.numerator * self.numerator - square * self.var_numerator;
        let b = self.numerator * self.denominator - square * self.covariance;
        let c = self.denominator * self.denominator - square * self.var_denominator;
        let root = b * b - a * c;
        if root.is_nan() || root < 0.0 || c == 0.0 {
            // With c > 0 the estimate itself lies in the set, so that the root is never negative then.
            return Set::Anywhere;
        }
        // Neither root loses its digits to a difference.
        let sum = b + b.signum() * root.sqrt();
        let (first, second) = if sum == 0.0 { (0.0, 0.0) } else { (sum / c, a / sum) };
        let (low, high) = (first.min(second), first.max(second));
        if c > 0.0 { Set::Between(low, high) } else { Set::Outside(low, high) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ratio(numerator: f64, denominator: f64, var_denominator: f64) -> Ratio {
        Ratio { numerator, denominator, var_numerator: 1.0, var_denominator, covariance: 0.3 }
    }

    #[test]
    fn every_ratio_is_in_the_set_exactly_when_its_own_t_test_does_not_reject_it() {
        // Fieller's argument: a − θb is normal with a variance that is known for each θ.
        let t = 2.1;
        for r in [ratio(4.0, 9.0, 0.8), ratio(4.0, 1.5, 0.8), ratio(0.5, 0.4, 0.8), ratio(-4.0, 9.0, 0.8)] {
            let set = r.fieller(t);
            for i in -4000..4000 {
                let theta = f64::from(i) / 200.0 + 1e-4;
                let variance = r.var_numerator - 2.0 * theta * r.covariance + theta * theta * r.var_denominator;
                let kept = (r.numerator - theta * r.denominator).abs() <= t * variance.sqrt();
                assert_eq!(set.contains(theta), kept, "{r:?} {set:?} {theta}");
            }
        }
        assert!(matches!(ratio(4.0, 9.0, 0.8).fieller(t), Set::Between(..)));
        assert!(matches!(ratio(4.0, 1.5, 0.8).fieller(t), Set::Outside(..)));
        assert_eq!(ratio(0.5, 0.4, 0.8).fieller(t), Set::Anywhere);
    }

    #[test]
    fn a_sharp_denominator_leaves_the_first_order_interval() {
        // With v_bb → 0 it is a/b ± t √v_aa / b.
        let sharp = Ratio { covariance: 0.0, ..ratio(4.0, 8.0, 1e-12) };
        let Set::Between(low, high) = sharp.fieller(2.0) else { panic!("an interval") };
        assert!((low - 0.25).abs() < 1e-9 && (high - 0.75).abs() < 1e-9, "{low} {high}");
    }

    #[test]
    fn nothing_sensible_excludes_nothing() {
        assert_eq!(ratio(f64::NAN, 1.0, 1.0).fieller(2.0), Set::Anywhere);
        assert_eq!(ratio(1.0, 0.0, 0.0).fieller(2.0), Set::Anywhere);
    }
}
