//! Which level to ride next: one more run at each that lies within those ridden, and what it would tell.
//!
//! Given the fitted coefficients' covariance and what is asked of them; gives the levels by gain. It supposes that the next run is
//! as good as the mean of those ridden, and that what moves all set-ups alike moves it too.

use super::NextLevel;
use super::model::Joint;
use nalgebra::{DMatrix, DVector};

/// Gains smaller than this are none.
const LEAST_GAIN: f64 = 0.005;
/// Levels that are named.
const NAMED: usize = 3;

/// What the next run is for.
pub(super) struct Question<'a> {
    pub joint: &'a Joint,
    /// Of the coefficients; the first is the mean.
    pub covariance: &'a DMatrix<f64>,
    /// Of the coefficients in the number that is to be known better.
    pub weights: DVector<f64>,
    /// Levels ridden, in ascending order.
    pub levels: &'a [f64],
    /// Row of the design at a level.
    pub row: &'a dyn Fn(f64) -> DVector<f64>,
}

impl Question<'_> {
    pub(super) fn answer(&self) -> Vec<NextLevel> {
        let covariance = self.own();
        let now = (&covariance * &self.weights).dot(&self.weights);
        let run = self.joint.of_one_run();
        if !(now > 0.0 && run > 0.0) {
            return Vec::new();
        }
        let gain = |level: f64| {
            let with = added(&covariance, &(self.row)(level), run);
            let then = (&with * &self.weights).dot(&self.weights).max(0.0);
            NextLevel { level, width_ratio: (then / now).sqrt() }
        };
        let mut list: Vec<NextLevel> = candidates(self.levels).into_iter().map(gain).collect();
        list.retain(|n| n.width_ratio < 1.0 - LEAST_GAIN);
        list.sort_by(|a, b| a.width_ratio.total_cmp(&b.width_ratio));
        list.truncate(NAMED);
        list
    }

    /// Covariance of the coefficients without what moves all set-ups alike, which lies in the mean alone.
    fn own(&self) -> DMatrix<f64> {
        let mut covariance = self.covariance.clone();
        let all = &self.joint.covariance;
        let k = all.nrows();
        let common = (all.sum() - all.trace()) / (k * (k - 1)) as f64;
        covariance[(0, 0)] -= common.max(0.0).min(covariance[(0, 0)]);
        covariance
    }
}

/// Levels ridden and those halfway between neighbours.
fn candidates(levels: &[f64]) -> Vec<f64> {
    let halfway = levels.windows(2).map(|pair| 0.5 * (pair[0] + pair[1]));
    levels.iter().copied().chain(halfway).collect()
}

/// With one more reading of `row` (rank-one update of the normal equations).
fn added(covariance: &DMatrix<f64>, row: &DVector<f64>, variance: f64) -> DMatrix<f64> {
    let moved = covariance * row;
    covariance - &moved * moved.transpose() / (variance + row.dot(&moved))
}
