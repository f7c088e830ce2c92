//! Results of several days, loops or venues brought together.
//!
//! Given independent estimates of the same quantity with standard errors and degrees of freedom; gives the pooled value
//! under agreement and under disagreement, and how strong the disagreement is. It never leaves a result out.

use crate::error::Error;
use crate::uncertainty::student::{chi_squared_upper_tail, f_upper_tail};

/// One result to be pooled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measurement {
    pub value: f64,
    pub standard_error: f64,
    /// Of the standard error; infinite when it is taken as known.
    pub dof: f64,
}

/// A pooled value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    pub value: f64,
    pub standard_error: f64,
    pub dof: f64,
}

/// Everything that is said of a set of results.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pooled {
    /// Inverse-variance mean: right when the results differ only by their errors.
    pub common: Mean,
    /// Cochran's Q.
    pub q: f64,
    pub q_dof: f64,
    /// Chance of so large a disagreement if there were none, degrees of freedom of the errors taken into account.
    pub p_value: f64,
    /// √(Q/(k − 1)): by how much the stated errors would have to grow to explain the scatter.
    pub birge_ratio: f64,
    /// Share of the scatter beyond the errors, (Q − (k − 1))/Q, at least 0.
    pub i_squared: f64,
    /// Variance between results by DerSimonian–Laird, and the mean under it.
    pub between_variance: f64,
    pub random: Mean,
    /// Standard error of `random` from the scatter itself (Hartung–Knapp), with k − 1 degrees of freedom.
    pub hartung_knapp_se: f64,
}

impl Pooled {
    /// Pool two or more results.
    ///
    /// ```
    /// use loopwright::compare::pooling::{Measurement, Pooled};
    /// let day = |value| Measurement { value, standard_error: 0.2, dof: f64::INFINITY };
    /// let pooled = Pooled::of(&[day(4.0), day(4.4)])?;
    /// assert!((pooled.common.value - 4.2).abs() < 1e-12);
    /// assert!((pooled.q - 2.0).abs() < 1e-9);
    /// # Ok::<(), loopwright::error::Error>(())
    /// ```
    pub fn of(results: &[Measurement]) -> Result<Pooled, Error> {
        check(results)?;
        let q_dof = results.len() as f64 - 1.0;
        let fixed = Weighted::of(results, 0.0);
        let laird = dersimonian_laird(results);
        let random = Weighted::of(results, laird);
        Ok(Pooled {
            common: common_mean(results, &fixed),
            q: fixed.q,
            q_dof,
            p_value: disagreement_p(results, &fixed),
            birge_ratio: (fixed.q / q_dof).sqrt(),
            i_squared: if fixed.q > 0.0 { (1.0 - q_dof / fixed.q).max(0.0) } else { 0.0 },
            between_variance: laird,
            random: random.mean(q_dof),
            hartung_knapp_se: (random.q / q_dof / random.total).sqrt(),
        })
    }

    /// The mean to report: the common one while the results agree at level `alpha`, else the random-effects one with
    /// the larger of its two standard errors.
    pub fn reported(&self, alpha: f64) -> Mean {
        if self.p_value >= alpha {
            return self.common;
        }
        Mean { standard_error: self.random.standard_error.max(self.hartung_knapp_se), ..self.random }
    }

    /// Standard error of the common mean blown up by the Birge ratio where that exceeds one
    /// (Birge 1932, Phys. Rev. 40:207).
    pub fn birge_se(&self) -> f64 {
        self.common.standard_error * self.birge_ratio.max(1.0)
    }
}

/// Sums under the weights 1/(se² + τ²).
struct Weighted {
    total: f64,
    squares: f64,
    value: f64,
    /// Σ w (y − ȳ)².
    q: f64,
}

impl Weighted {
    fn of(results: &[Measurement], between_variance: f64) -> Weighted {
        let weight = |result: &Measurement| 1.0 / (result.standard_error.powi(2) + between_variance);
        let total: f64 = results.iter().map(weight).sum();
        let value = results.iter().map(|result| weight(result) * result.value).sum::<f64>() / total;
        let square = |result: &Measurement| (result.value - value).powi(2);
        Weighted {
            total,
            squares: results.iter().map(|result| weight(result).powi(2)).sum(),
            value,
            q: results.iter().map(|result| weight(result) * square(result)).sum(),
        }
    }

    fn mean(&self, dof: f64) -> Mean {
        Mean { value: self.value, standard_error: self.total.recip().sqrt(), dof }
    }
}

/// Inverse-variance mean; the standard error allows for weights that are themselves estimated,
/// var = (1/W)[1 + 4 Σ (1/νᵢ)(wᵢ/W)(1 − wᵢ/W)] (Meier 1953, Biometrics 9:59), degrees of freedom W²/Σ(wᵢ²/νᵢ).
fn common_mean(results: &[Measurement], fixed: &Weighted) -> Mean {
    let share = |result: &Measurement| result.standard_error.powi(-2) / fixed.total;
    let excess: f64 = results.iter().map(|result| share(result) * (1.0 - share(result)) / result.dof).sum();
    let loss: f64 = results.iter().map(|result| share(result).powi(2) / result.dof).sum();
    Mean {
        value: fixed.value,
        standard_error: ((1.0 + 4.0 * excess) / fixed.total).sqrt(),
        dof: if loss == 0.0 { f64::INFINITY } else { loss.recip() },
    }
}

/// Chi-squared tail of Q when the errors are known, else Welch's F for means of unequal precision:
/// F = (Q/(k−1))/(1 + 2(k−2)/(k²−1) Λ), Λ = Σ(1 − wᵢ/W)²/νᵢ, on k − 1 and (k²−1)/3Λ degrees of freedom
/// (Welch 1951, Biometrika 38:330).
fn disagreement_p(results: &[Measurement], fixed: &Weighted) -> f64 {
    let count = results.len() as f64;
    let share = |result: &Measurement| result.standard_error.powi(-2) / fixed.total;
    let lambda: f64 = results.iter().map(|result| (1.0 - share(result)).powi(2) / result.dof).sum();
    if lambda == 0.0 {
        return chi_squared_upper_tail(fixed.q, count - 1.0);
    }
    let scale = count * count - 1.0;
    let f = fixed.q / (count - 1.0) / (1.0 + 2.0 * (count - 2.0) / scale * lambda);
    f_upper_tail(f, count - 1.0, scale / (3.0 * lambda))
}

/// τ² = max(0, (Q − (k−1))/(W − Σw²/W)) (DerSimonian & Laird 1986, Control. Clin. Trials 7:177, eq. 8).
fn dersimonian_laird(results: &[Measurement]) -> f64 {
    let fixed = Weighted::of(results, 0.0);
    ((fixed.q - (results.len() as f64 - 1.0)) / (fixed.total - fixed.squares / fixed.total)).max(0.0)
}

fn check(results: &[Measurement]) -> Result<(), Error> {
    let refusal = |message| Err(Error::Numerical { stage: "pooling", message });
    if results.len() < 2 {
        return refusal(format!("at least 2 results are needed, not {}", results.len()));
    }
    let sound =
        |r: &Measurement| r.value.is_finite() && r.standard_error.is_finite() && r.standard_error > 0.0 && r.dof > 0.0;
    match results.iter().position(|result| !sound(result)) {
        None => Ok(()),
        Some(bad) => refusal(format!(
            "result {} is {} ± {} on {} degrees of freedom; a value, a positive standard error and \
             positive degrees of freedom are needed",
            bad + 1,
            results[bad].value,
            results[bad].standard_error,
            results[bad].dof
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::student::t_two_sided_p;

    #[test]
    fn two_results_disagree_by_the_t_test_with_satterthwaites_degrees_of_freedom() {
        // Welch 1951: for k = 2 the F test is Welch's t test, t² = d²/(s₁² + s₂²), ν = (s₁² + s₂²)²/(s₁⁴/ν₁ + s₂⁴/ν₂).
        let results = [
            Measurement { value: 4.1, standard_error: 0.3, dof: 6.0 },
            Measurement { value: 5.0, standard_error: 0.2, dof: 11.0 },
        ];
        let dof = 0.13_f64.powi(2) / (0.09_f64.powi(2) / 6.0 + 0.04_f64.powi(2) / 11.0);
        let expected = t_two_sided_p(0.9 / 0.13_f64.sqrt(), dof);
        assert!((Pooled::of(&results).unwrap().p_value / expected - 1.0).abs() < 1e-9);
    }

    #[test]
    fn results_that_agree_report_the_common_mean_and_others_a_wider_one() {
        let day = |value| Measurement { value, standard_error: 0.1, dof: 12.0 };
        let agree = Pooled::of(&[day(4.0), day(4.1), day(4.05)]).unwrap();
        assert_eq!(agree.reported(0.05), agree.common);
        assert_eq!((agree.between_variance, agree.i_squared), (0.0, 0.0));
        let differ = Pooled::of(&[day(4.0), day(5.1), day(6.05)]).unwrap();
        assert!(differ.reported(0.05).standard_error > 3.0 * differ.common.standard_error);
        assert_eq!(differ.reported(0.05).dof, 2.0);
    }

    #[test]
    fn a_result_without_error_is_refused_with_its_number() {
        let good = Measurement { value: 1.0, standard_error: 0.1, dof: 5.0 };
        let refused = Pooled::of(&[good, Measurement { standard_error: 0.0, ..good }]).unwrap_err().to_string();
        assert!(refused.contains("result 2"), "{refused}");
        assert!(Pooled::of(&[good]).is_err());
    }
}
