//! Ordinary least squares by Householder QR on a column-scaled design, never by normal equations.
//!
//! Given a design matrix and a right-hand side whose rows are already weighted; gives coefficients, their unscaled
//! covariance and how well the design determines them. It never drops a column by itself: a design of deficient rank
//! comes back with its rank and without coefficients.

use nalgebra::{DMatrix, DVector};

use crate::error::Error;

/// What a linear fit gives.
#[derive(Debug, Clone, PartialEq)]
pub struct LeastSquares {
    /// Minimiser of ‖y − Xb‖; NaN throughout when the rank is below the number of columns.
    pub coefficients: DVector<f64>,
    /// (XᵀX)⁻¹, to be multiplied by the residual variance; NaN throughout when the rank is deficient.
    pub unscaled_covariance: DMatrix<f64>,
    /// y − Xb; NaN throughout when the rank is deficient.
    pub residuals: DVector<f64>,
    pub residual_sum_of_squares: f64,
    /// Rows minus columns.
    pub residual_dof: usize,
    /// Singular values of the unit-column design above [`RANK_TOLERANCE`] times the largest.
    pub rank: usize,
    /// Ratio of the largest to the smallest singular value of the design scaled to columns of unit length.
    pub condition: f64,
}

/// Singular values of the scaled design below this share of the largest count as zero: a few hundred rounding errors.
pub const RANK_TOLERANCE: f64 = 1e-13;

impl LeastSquares {
    pub fn has_full_rank(&self) -> bool {
        self.rank == self.coefficients.len()
    }

    /// Residual standard deviation √(RSS / (n − k)); NaN when there are no spare rows.
    pub fn residual_sd(&self) -> f64 {
        (self.residual_sum_of_squares / self.residual_dof as f64).sqrt()
    }

    /// Covariance of the coefficients for independent errors of equal size, s² (XᵀX)⁻¹.
    pub fn covariance(&self) -> DMatrix<f64> {
        &self.unscaled_covariance * self.residual_sd().powi(2)
    }

    /// Standard error of one coefficient under [`LeastSquares::covariance`].
    pub fn standard_error(&self, coefficient: usize) -> f64 {
        self.residual_sd() * self.unscaled_covariance[(coefficient, coefficient)].sqrt()
    }
}

/// Fit y = Xb + e.
///
/// X S = QR with S a diagonal of powers of two (so that scaling rounds nothing), b = S R⁻¹ Qᵀy,
/// (XᵀX)⁻¹ = S R⁻¹ R⁻ᵀ S. Source: Golub & Van Loan, Matrix Computations, §5.3.
///
/// ```
/// use nalgebra::{dmatrix, dvector};
/// let fit = loopwright::solve::least_squares::least_squares(
///     &dmatrix![1.0, 0.0; 1.0, 1.0; 1.0, 2.0],
///     &dvector![1.0, 3.0, 5.0],
/// )?;
/// assert!((fit.coefficients[1] - 2.0).abs() < 1e-12);
/// # Ok::<(), loopwright::error::Error>(())
/// ```
pub fn least_squares(x: &DMatrix<f64>, y: &DVector<f64>) -> Result<LeastSquares, Error> {
    let (rows, columns) = x.shape();
    if columns == 0 || rows < columns || y.len() != rows {
        return Err(refusal(format!(
            "{rows} rows of design, {} of data and {columns} unknowns; an unknown and as many rows are needed",
            y.len()
        )));
    }
    if !x.iter().chain(y.iter()).all(|value| value.is_finite()) {
        return Err(refusal("the design or the data holds a value that is not a number; mark it missing first".into()));
    }
    let scale = DVector::from_iterator(columns, x.column_iter().map(|column| power_of_two_below(column.norm())));
    let mut scaled = x.clone();
    for (mut column, factor) in scaled.column_iter_mut().zip(scale.iter()) {
        column /= *factor;
    }
    let qr = scaled.qr();
    let r = qr.r();
    let singular = singular_values_of_unit_columns(&r);
    let largest = singular.first().copied().unwrap_or(0.0);
    let smallest = singular.last().copied().unwrap_or(0.0);
    let rank = singular.iter().filter(|s| **s > RANK_TOLERANCE * largest).count();
    let mut fit = LeastSquares {
        coefficients: DVector::from_element(columns, f64::NAN),
        unscaled_covariance: DMatrix::from_element(columns, columns, f64::NAN),
        residuals: DVector::from_element(rows, f64::NAN),
        residual_sum_of_squares: f64::NAN,
        residual_dof: rows - columns,
        rank,
        condition: if smallest > 0.0 { largest / smallest } else { f64::INFINITY },
    };
    if rank < columns {
        return Ok(fit);
    }
    let mut rotated = y.clone();
    qr.q_tr_mul(&mut rotated);
    let solved = r.solve_upper_triangular(&rotated.rows(0, columns).into_owned());
    let inverse = r.solve_upper_triangular(&DMatrix::identity(columns, columns));
    let (Some(solved), Some(mut inverse)) = (solved, inverse) else {
        fit.rank = columns - 1;
        return Ok(fit);
    };
    for (mut row, factor) in inverse.row_iter_mut().zip(scale.iter()) {
        row /= *factor;
    }
    fit.coefficients = solved.component_div(&scale);
    fit.unscaled_covariance = &inverse * inverse.transpose();
    fit.residuals = y - x * &fit.coefficients;
    fit.residual_sum_of_squares = fit.residuals.norm_squared();
    Ok(fit)
}

fn refusal(message: String) -> Error {
    Error::Numerical { stage: "least squares", message }
}

/// The power of two just below a length, 1 for a column of zeros.
fn power_of_two_below(length: f64) -> f64 {
    if length > 0.0 { length.log2().floor().clamp(-1000.0, 1000.0).exp2() } else { 1.0 }
}

/// Descending. The columns of R are as long as those of the design, so R can be scaled in its place.
fn singular_values_of_unit_columns(r: &DMatrix<f64>) -> Vec<f64> {
    let mut unit = r.clone();
    for mut column in unit.column_iter_mut() {
        let length = column.norm();
        if length > 0.0 {
            column /= length;
        }
    }
    let mut values: Vec<f64> = unit.singular_values().iter().copied().collect();
    values.sort_by(|a, b| b.total_cmp(a));
    values
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{dmatrix, dvector};

    #[test]
    fn a_column_that_repeats_another_is_reported_and_no_coefficient_is_given() {
        // Algebra: the third column is twice the second.
        let fit = least_squares(
            &dmatrix![1.0, 1.0, 2.0; 1.0, 2.0, 4.0; 1.0, 3.0, 6.0; 1.0, 5.0, 10.0],
            &dvector![1.0, 2.0, 3.0, 4.0],
        )
        .unwrap();
        assert_eq!(fit.rank, 2);
        assert!(!fit.has_full_rank());
        assert!(fit.coefficients.iter().all(|b| b.is_nan()));
        assert!(fit.condition > 1e13);
    }

    #[test]
    fn the_condition_does_not_depend_on_the_units_of_a_column() {
        // Algebra: the scaled design has unit columns whatever the units; a cosine c gives √((1+c)/(1−c)).
        let metres = dmatrix![1.0, 1.0; 1.0, 2.0; 1.0, 3.0];
        let mut millimetres = metres.clone();
        millimetres.column_mut(1).scale_mut(1000.0);
        let y = dvector![1.0, 2.0, 2.0];
        let cosine = 6.0 / (3.0_f64 * 14.0).sqrt();
        let expected = ((1.0 + cosine) / (1.0 - cosine)).sqrt();
        for x in [&metres, &millimetres] {
            let fit = least_squares(x, &y).unwrap();
            assert!((fit.condition / expected - 1.0).abs() < 1e-12, "{} {expected}", fit.condition);
        }
    }

    #[test]
    fn a_missing_value_or_too_few_rows_is_refused() {
        assert!(least_squares(&dmatrix![1.0; f64::NAN], &dvector![1.0, 2.0]).is_err());
        assert!(least_squares(&dmatrix![1.0, 2.0], &dvector![1.0]).is_err());
        assert!(least_squares(&dmatrix![1.0; 2.0], &dvector![1.0]).is_err());
    }
}
