//! The joint covariance of set-ups from the variances of all their differences.
//!
//! Given the matrix V of variances of differences; gives a covariance that has them. With P = 1 − 11ᵀ/k, PΣP = −½ PVP (Gower
//! 1966, Biometrika 53:325, eq. 2.3). What moves every set-up alike is not in V and concerns no effect.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

/// Variances of pairs come from formulas of their own, so that together they may be short of a covariance by their rounding and
/// shrinking; no direction has less than this fraction of the mean.
const LEAST_SHARE: f64 = 1e-4;
/// What moves all alike, in units of the largest variance: large enough to be free, small enough to be harmless.
const COMMON: f64 = 100.0;

/// −½ PVP.
fn centred(variance: &DMatrix<f64>) -> DMatrix<f64> {
    let k = variance.nrows();
    let row = DVector::from_fn(k, |i, _| variance.row(i).mean());
    let all = row.mean();
    DMatrix::from_fn(k, k, |i, j| -0.5 * (variance[(i, j)] - row[i] - row[j] + all))
}

fn axes(centred: DMatrix<f64>) -> Option<SymmetricEigen<f64, nalgebra::Dyn>> {
    SymmetricEigen::try_new(centred, f64::EPSILON, 10_000)
}

/// A covariance that has these variances of differences, free in what moves all alike.
pub fn covariance(variance: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let k = variance.nrows();
    let centred = centred(variance);
    let least = LEAST_SHARE * centred.trace() / (k - 1).max(1) as f64;
    let eigen = axes(centred)?;
    let lifted = eigen.eigenvalues.map(|v| v.max(least));
    let mut whole = &eigen.eigenvectors * DMatrix::from_diagonal(&lifted) * eigen.eigenvectors.transpose();
    whole.add_scalar_mut(COMMON * variance.amax());
    whole.iter().all(|v| v.is_finite()).then_some(whole)
}

/// How one error moves the set-ups, about their mean, from how far it moves each pair; of several errors the largest part. Its
/// sign is open.
pub fn leading(variance: &DMatrix<f64>) -> Option<DVector<f64>> {
    let eigen = axes(centred(variance))?;
    let (place, largest) = eigen.eigenvalues.argmax();
    let moved = eigen.eigenvectors.column(place) * largest.max(0.0).sqrt();
    moved.iter().all(|v| v.is_finite()).then_some(moved)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(v: &DMatrix<f64>) -> DMatrix<f64> {
        let k = v.nrows();
        DMatrix::from_fn(k, k, |i, j| if i == j { 0.0 } else { v[(i, i)] + v[(j, j)] - 2.0 * v[(i, j)] })
    }

    #[test]
    fn the_variances_of_all_pairs_come_back() {
        // Any covariance: pairs of it, and pairs of what is made of them.
        let root = DMatrix::from_row_slice(3, 3, &[1.0, 0.2, 0.1, 0.4, 2.0, 0.3, -0.5, 0.1, 0.7]);
        let truth = &root * root.transpose();
        let back = pairs(&covariance(&pairs(&truth)).unwrap());
        assert!((&back - pairs(&truth)).amax() < 1e-9 * truth.amax(), "{back}");
    }

    #[test]
    fn variances_that_no_covariance_has_are_lifted_to_one() {
        // 9 > 1 + 1 + 2·1: the long way is longer than both short ones together can make it.
        let odd = DMatrix::from_row_slice(3, 3, &[0.0, 1.0, 9.0, 1.0, 0.0, 1.0, 9.0, 1.0, 0.0]);
        let whole = covariance(&odd).unwrap();
        assert!(nalgebra::Cholesky::new(whole).is_some());
    }

    #[test]
    fn one_error_comes_back_from_its_pairs_but_for_its_sign_and_level() {
        let moved = DVector::from_vec(vec![1.0, 3.0, -2.0, 0.5]);
        let back = leading(&pairs(&(&moved * moved.transpose()))).unwrap();
        let about = moved.add_scalar(-moved.mean());
        assert!((&back - &about).amax().min((&back + &about).amax()) < 1e-9, "{back}");
    }
}
