//! What a test could have seen: power of the t test and the smallest difference found with a stated power.
//!
//! Given a standard error and its degrees of freedom (whole or not); uses the exact noncentral t distribution. It says
//! nothing about the difference that was seen.

use argmin::core::{CostFunction, Error as ArgminError, Executor, State};
use argmin::solver::brent::BrentRoot;
use statrs::function::gamma::checked_gamma_lr;

use super::student::{normal_cdf, t_quantile};

/// Panels of each of the three stretches of the quadrature.
const PANELS: usize = 24;
/// Reach in standard deviations; eight and a half leave 2e-17 of a normal.
const REACH: f64 = 8.5;
/// From here on a normal approximation is used, good to about 1e-6.
const NORMAL_FROM_DOF: f64 = 1e4;

/// Abscissae and weights of the eight-point Gauss–Legendre rule on [−1, 1], one side (Abramowitz & Stegun, table 25.4).
const LEGENDRE: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_3),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_48),
    (0.960_289_856_497_536_3, 0.101_228_536_290_376_26),
];

/// Upper tail P(T' > t), t > 0, of the noncentral t, T' = (Z + δ)/√(χ²_ν/ν).
///
/// Conditional on Z: P = ∫_{−δ}^{∞} φ(z) F_χ²ν(ν ((z + δ)/t)²) dz, good to about 1e-10 for every δ and `dof` ≥ 1; above
/// 10⁴ degrees of freedom Φ((δ − t(1 − 1/4ν))/√(1 + t²/2ν)) (Abramowitz & Stegun 1964, eq. 26.7.10). Source:
/// definition of the distribution, Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 2, ch. 31.
pub fn noncentral_t_upper_tail(t: f64, dof: f64, noncentrality: f64) -> f64 {
    if t.is_nan() || t <= 0.0 || dof.is_nan() || dof <= 0.0 || !noncentrality.is_finite() {
        return f64::NAN;
    }
    if dof.is_infinite() {
        return normal_cdf(noncentrality - t);
    }
    if dof >= NORMAL_FROM_DOF {
        return normal_cdf((noncentrality - t * (1.0 - 0.25 / dof)) / (1.0 + 0.5 * t * t / dof).sqrt());
    }
    let low = (-noncentrality).max(-REACH);
    if low >= REACH {
        return 0.0;
    }
    // F rises from 0 to 1 around z = t − δ over a width of t/√2ν, which many degrees of freedom make narrow: that
    // stretch gets panels of its own.
    let rise = REACH * t / (2.0 * dof).sqrt();
    let edges = [low, t - noncentrality - rise, t - noncentrality + rise, REACH].map(|edge| edge.clamp(low, REACH));
    let integrand = |z: f64| {
        let x = 0.5 * dof * ((z + noncentrality) / t).powi(2);
        let below = if x > 0.0 { checked_gamma_lr(0.5 * dof, x).unwrap_or(f64::NAN) } else { 0.0 };
        (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt() * below
    };
    edges.windows(2).map(|stretch| integrate(&integrand, stretch[0], stretch[1])).sum()
}

/// Composite Gauss–Legendre rule; 0 for an empty stretch.
fn integrate(integrand: &impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    if high <= low {
        return 0.0;
    }
    let half = 0.5 * (high - low) / PANELS as f64;
    let panel = |index: usize| {
        let middle = low + (2 * index + 1) as f64 * half;
        LEGENDRE
            .iter()
            .map(|(x, weight)| weight * (integrand(middle - half * x) + integrand(middle + half * x)))
            .sum::<f64>()
    };
    (0..PANELS).map(panel).sum::<f64>() * half
}

/// Chance that a two-sided t test at level `alpha` finds a true difference, both tails counted.
///
/// ```
/// // Two groups of twenty, one standard deviation apart, 38 degrees of freedom.
/// let power = loopwright::uncertainty::power::two_sided_power(1.0, (2.0_f64 / 20.0).sqrt(), 38.0, 0.05);
/// assert!((power - 0.8689530).abs() < 1e-6);
/// ```
pub fn two_sided_power(difference: f64, standard_error: f64, dof: f64, alpha: f64) -> f64 {
    let critical = t_quantile(1.0 - 0.5 * alpha, dof);
    let noncentrality = difference / standard_error;
    noncentral_t_upper_tail(critical, dof, noncentrality) + noncentral_t_upper_tail(critical, dof, -noncentrality)
}

/// Smallest true difference that a two-sided t test at level `alpha` finds with the stated power, in the unit of
/// `standard_error`; NaN when an argument makes no sense (`alpha` < `power` < 1 is needed).
///
/// ```
/// // Eight pairs, unit standard deviation of the differences.
/// let d = loopwright::uncertainty::power::detectable_difference((1.0_f64 / 8.0).sqrt(), 7.0, 0.05, 0.8);
/// assert!((d - 1.156035).abs() < 1e-6);
/// ```
pub fn detectable_difference(standard_error: f64, dof: f64, alpha: f64, power: f64) -> f64 {
    let critical = t_quantile(1.0 - 0.5 * alpha, dof);
    if !(standard_error.is_finite() && standard_error >= 0.0 && critical.is_finite() && power > alpha && power < 1.0) {
        return f64::NAN;
    }
    // With δ = 0 the power is alpha; the upper end is doubled until it is enough, which a few steps reach since T'
    // exceeds t whenever Z + δ exceeds t times a bounded quantile of the chi distribution.
    let mut upper = 2.0 * critical + 4.0;
    while two_sided_power(upper, 1.0, dof, alpha) < power {
        upper *= 2.0;
        if upper > 1e9 {
            return f64::NAN;
        }
    }
    let search = BrentRoot::new(0.0, upper, 1e-9);
    let found = Executor::new(MissingPower { dof, alpha, power }, search)
        .configure(|state| state.max_iters(200))
        .run()
        .ok()
        .and_then(|result| result.state().get_param().copied());
    found.map_or(f64::NAN, |noncentrality| noncentrality * standard_error)
}

struct MissingPower {
    dof: f64,
    alpha: f64,
    power: f64,
}

impl CostFunction for MissingPower {
    type Param = f64;
    type Output = f64;

    fn cost(&self, noncentrality: &f64) -> Result<f64, ArgminError> {
        Ok(two_sided_power(*noncentrality, 1.0, self.dof, self.alpha) - self.power)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::student::t_upper_tail;

    #[test]
    fn without_noncentrality_the_tail_is_that_of_student() {
        // Identity: δ = 0 is the central t.
        for dof in [1.0, 2.5, 7.0, 63.2, 4000.0] {
            for t in [0.3, 1.0, 2.4, 9.0] {
                let difference = noncentral_t_upper_tail(t, dof, 0.0) - t_upper_tail(t, dof);
                assert!(difference.abs() < 1e-9, "dof {dof} t {t}: {difference:e}");
            }
        }
    }

    #[test]
    fn with_many_degrees_of_freedom_the_detectable_difference_is_the_sum_of_two_normal_quantiles() {
        // Normal theory: z(0.975) + z(0.8) = 1.959964 + 0.841621, the lower tail is below 1e-5.
        let d = detectable_difference(1.0, f64::INFINITY, 0.05, 0.8);
        assert!((d - 2.801_585).abs() < 1e-5, "{d}");
    }

    #[test]
    fn the_tail_is_smooth_where_the_normal_approximation_takes_over() {
        // Both sides approximate the same function; 2e-6 allows for the stated 1e-6 of the approximation.
        for noncentrality in [0.5, 2.0, 3.5] {
            let step = noncentral_t_upper_tail(2.0, 9_999.9, noncentrality)
                - noncentral_t_upper_tail(2.0, 10_000.1, noncentrality);
            assert!(step.abs() < 2e-6, "{step:e}");
        }
    }

    #[test]
    fn nonsense_gives_no_number() {
        assert!(detectable_difference(f64::NAN, 5.0, 0.05, 0.8).is_nan());
        assert!(detectable_difference(1.0, f64::NAN, 0.05, 0.8).is_nan());
        assert!(detectable_difference(1.0, 5.0, 0.05, 0.01).is_nan());
        assert!(detectable_difference(1.0, 1.0, 0.05, 0.8) > 10.0);
    }
}
