//! Tails and quantiles of the normal, Student, F and chi-squared distributions, for degrees of freedom that need not
//! be whole numbers.
//!
//! Given statistics and degrees of freedom; gives probabilities and quantiles. An argument outside the range of a
//! distribution gives NaN, never a panic and never an endless search.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
use statrs::function::beta::checked_beta_reg;
use statrs::function::gamma::checked_gamma_ur;

/// Above this many degrees of freedom the series in 1/ν is used: it is exact to about 1e-13 there, and the
/// incomplete beta function does not settle for very large arguments.
const SERIES_FROM_DOF: f64 = 1e4;

/// Quantile of the standard normal distribution, 0 < `probability` < 1.
///
/// ```
/// assert!((loopwright::uncertainty::student::normal_quantile(0.975) - 1.959_963_985).abs() < 1e-8);
/// ```
pub fn normal_quantile(probability: f64) -> f64 {
    if !(probability > 0.0 && probability < 1.0) {
        return f64::NAN;
    }
    Normal::standard().inverse_cdf(probability)
}

/// Distribution function of the standard normal, Φ(z).
pub fn normal_cdf(z: f64) -> f64 {
    if z.is_nan() { f64::NAN } else { Normal::standard().cdf(z) }
}

/// Quantile of Student's t with `dof` degrees of freedom, `dof` ≥ 1 or infinite, either tail at least 1e-5.
///
/// Below 10⁴ degrees of freedom by inversion of the incomplete beta function, above by t = z + (z³ + z)/4ν
/// + (5z⁵ + 16z³ + 3z)/96ν² + … (Abramowitz & Stegun 1964, eq. 26.7.5).
///
/// ```
/// let t = loopwright::uncertainty::student::t_quantile(0.975, 9.0);
/// assert!((t - 2.262157).abs() < 1e-6);
/// ```
pub fn t_quantile(probability: f64, dof: f64) -> f64 {
    if dof.is_nan() || dof < 0.99 || !(probability > 0.0 && probability < 1.0) {
        return f64::NAN;
    }
    if dof < SERIES_FROM_DOF {
        return StudentsT::new(0.0, 1.0, dof).map_or(f64::NAN, |t| t.inverse_cdf(probability));
    }
    let z = normal_quantile(probability);
    let (z3, z5) = (z.powi(3), z.powi(5));
    z + (z3 + z) / (4.0 * dof) + (5.0 * z5 + 16.0 * z3 + 3.0 * z) / (96.0 * dof * dof)
}

/// Half-width of a two-sided interval in standard errors: t_{(1+confidence)/2}(dof), the coverage factor of the GUM.
pub fn coverage_factor(confidence: f64, dof: f64) -> f64 {
    t_quantile(0.5 * (1.0 + confidence), dof)
}

/// Upper tail P(T > t) of Student's t, `dof` > 0 or infinite.
///
/// ½ I_{ν/(ν+t²)}(ν/2, ½) for t ≥ 0 (Abramowitz & Stegun 1964, eq. 26.7.1); above 10⁴ degrees of freedom the tail of
/// the normal deviate that an expansion gives for t (Hill 1970, Commun. ACM 13:617, algorithm 395).
pub fn t_upper_tail(t: f64, dof: f64) -> f64 {
    if t.is_nan() || dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    if dof >= SERIES_FROM_DOF {
        return normal_cdf(-normal_deviate(t, dof));
    }
    let share = if t.is_infinite() { 0.0 } else { dof / (dof + t * t) };
    let tail = 0.5 * checked_beta_reg(0.5 * dof, 0.5, share).unwrap_or(f64::NAN);
    if t >= 0.0 { tail } else { 1.0 - tail }
}

/// Normal deviate with the same tail as t, for many degrees of freedom; from memory of the algorithm, checked by the
/// tests against the independent series of [`t_quantile`].
fn normal_deviate(t: f64, dof: f64) -> f64 {
    if dof.is_infinite() || t.is_infinite() {
        return t;
    }
    let a = dof - 0.5;
    let b = 48.0 * a * a;
    let y = a * (t * t / dof).ln_1p();
    let correction = ((-0.4 * y - 3.3) * y - 24.0) * y - 85.5;
    ((correction / (0.8 * y * y + 100.0 + b) + y + 3.0) / b + 1.0) * y.sqrt() * t.signum()
}

/// Two-sided p-value of a t statistic.
///
/// ```
/// let p = loopwright::uncertainty::student::t_two_sided_p(2.262157, 9.0);
/// assert!((p - 0.05).abs() < 1e-6);
/// ```
pub fn t_two_sided_p(t: f64, dof: f64) -> f64 {
    2.0 * t_upper_tail(t.abs(), dof)
}

/// Upper tail P(X > x) of chi-squared with `dof` > 0 degrees of freedom: Q(ν/2, x/2).
pub fn chi_squared_upper_tail(x: f64, dof: f64) -> f64 {
    if x.is_nan() || !dof.is_finite() || dof <= 0.0 {
        return f64::NAN;
    }
    if x <= 0.0 {
        return 1.0;
    }
    if x.is_infinite() {
        return 0.0;
    }
    checked_gamma_ur(0.5 * dof, 0.5 * x).unwrap_or(f64::NAN)
}

/// Upper tail P(X > x) of F with `numerator_dof` > 0 (finite) and `denominator_dof` > 0 (may be infinite).
///
/// I_{ν₂/(ν₂+ν₁x)}(ν₂/2, ν₁/2) (Abramowitz & Stegun 1964, eq. 26.6.2); beyond 10⁴ degrees of freedom in the
/// denominator the chi-squared limit, off by less than 2e-4 relative to the tail for x up to 5.
pub fn f_upper_tail(x: f64, numerator_dof: f64, denominator_dof: f64) -> f64 {
    if x.is_nan()
        || denominator_dof.is_nan()
        || !numerator_dof.is_finite()
        || numerator_dof <= 0.0
        || denominator_dof <= 0.0
    {
        return f64::NAN;
    }
    if x <= 0.0 {
        return 1.0;
    }
    if x.is_infinite() {
        return 0.0;
    }
    if denominator_dof >= SERIES_FROM_DOF {
        return chi_squared_upper_tail(x * numerator_dof, numerator_dof);
    }
    let share = denominator_dof / (denominator_dof + numerator_dof * x);
    checked_beta_reg(0.5 * denominator_dof, 0.5 * numerator_dof, share).unwrap_or(f64::NAN)
}

/// Quantile of F with two degrees of freedom in the numerator, in closed form: (ν/2) [(1 − confidence)^(−2/ν) − 1].
///
/// A joint region of two parameters holds the points with dᵀ C⁻¹ d ≤ 2 F, C their covariance on `dof` degrees of freedom.
/// Follows from P(F > x) = (1 + 2x/ν)^(−ν/2).
///
/// ```
/// let f = loopwright::uncertainty::student::two_parameter_f_quantile(0.95, 10.0);
/// assert!((f - 4.102_821).abs() < 1e-6);
/// ```
pub fn two_parameter_f_quantile(confidence: f64, dof: f64) -> f64 {
    if dof.is_nan() || dof <= 0.0 || !(confidence > 0.0 && confidence < 1.0) {
        return f64::NAN;
    }
    let log_tail = (-confidence).ln_1p();
    if dof.is_infinite() { -log_tail } else { 0.5 * dof * (-2.0 * log_tail / dof).exp_m1() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantile_and_tail_undo_each_other_from_one_degree_of_freedom_to_a_billion() {
        // Definition of a quantile; covers both sides of the change to the series.
        // From 0.99, because Welch and Satterthwaite's formula may round 1 down.
        for dof in [0.99, 1.0, 1.05, 1.3, 2.0, 3.7, 11.0, 29.4, 333.0, 9_999.0, 10_001.0, 1e6, 1e9, f64::INFINITY] {
            for upper in [0.49, 0.4, 0.1, 0.025, 0.005, 1e-4, 1e-5] {
                let t = t_quantile(1.0 - upper, dof);
                let back = t_upper_tail(t, dof);
                assert!((back / upper - 1.0).abs() < 1e-7, "dof {dof} upper {upper} t {t} back {back}");
            }
        }
    }

    #[test]
    fn the_quantile_is_smooth_where_the_series_takes_over() {
        // Abramowitz & Stegun eq. 26.7.5: the quantile moves by (z³ + z)/4ν² per degree of freedom.
        let step = t_quantile(0.975, 9_999.5) - t_quantile(0.975, 10_000.5);
        let z = normal_quantile(0.975);
        assert!((step - (z.powi(3) + z) / 4e8).abs() < 1e-9, "{step}");
    }

    #[test]
    fn what_lies_outside_a_distribution_is_not_a_number() {
        assert!(t_quantile(0.975, f64::NAN).is_nan());
        assert!(t_quantile(0.975, 0.0).is_nan());
        assert!(t_quantile(1.0, 5.0).is_nan());
        assert!(t_upper_tail(1.0, -1.0).is_nan());
        assert!(f_upper_tail(1.0, 0.0, 3.0).is_nan());
        assert!(chi_squared_upper_tail(f64::NAN, 3.0).is_nan());
        assert_eq!(t_two_sided_p(f64::INFINITY, 3.0), 0.0);
        assert_eq!(t_two_sided_p(f64::NEG_INFINITY, 1e6), 0.0);
    }

    #[test]
    fn the_closed_form_for_two_parameters_is_the_quantile_of_f() {
        // Definition of a quantile, by the incomplete beta function.
        for dof in [1.0, 4.4, 17.0, 900.0] {
            let tail = f_upper_tail(two_parameter_f_quantile(0.95, dof), 2.0, dof);
            assert!((tail - 0.05).abs() < 1e-10, "{dof} {tail}");
        }
    }

    #[test]
    fn an_f_with_one_degree_in_the_numerator_is_a_squared_t() {
        // Identity of the two distributions.
        for dof in [1.5, 6.0, 40.0, 2e4] {
            let t = 1.7_f64;
            let relative = f_upper_tail(t * t, 1.0, dof) / t_two_sided_p(t, dof) - 1.0;
            assert!(relative.abs() < if dof > 1e4 { 2e-4 } else { 1e-10 }, "{dof} {relative}");
        }
    }
}
