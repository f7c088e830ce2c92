//! Which level to ride next: one more run at each that lies within those ridden, and what it would tell.
//!
//! Given a fitted curve and what is asked of it; gives the levels by gain. It supposes that the next run is as good as the mean
//! of those ridden, and that what moves all set-ups alike moves it too.

use super::NextLevel;
use super::curve::Over;
use nalgebra::{DMatrix, DVector};

/// Gains smaller than this are none.
const LEAST_GAIN: f64 = 0.005;
/// Levels that are named.
const NAMED: usize = 3;

/// What the next run is for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Question {
    /// The best level, at this place.
    Best(f64),
    /// Whether there is a bend at all.
    Bend,
}

pub(super) fn next(over: &Over, question: Question) -> Vec<NextLevel> {
    let weights = match question {
        Question::Best(u) => over.steepness(u),
        Question::Bend => over.bend_weights(),
    };
    let covariance = own(over);
    let now = (&covariance * &weights).dot(&weights);
    let run = over.joint.of_one_run();
    if !(now > 0.0 && run > 0.0) {
        return Vec::new();
    }
    let gain = |level: f64| {
        let row = over.row(over.range.scaled(level));
        let with = added(&covariance, &row, run);
        NextLevel { level, width_ratio: ((&with * &weights).dot(&weights).max(0.0) / now).sqrt() }
    };
    let mut list: Vec<NextLevel> = candidates(&over.levels).into_iter().map(gain).collect();
    list.retain(|n| n.width_ratio < 1.0 - LEAST_GAIN);
    list.sort_by(|a, b| a.width_ratio.total_cmp(&b.width_ratio));
    list.truncate(NAMED);
    list
}

/// Levels ridden and those halfway between neighbours.
fn candidates(levels: &[f64]) -> Vec<f64> {
    let halfway = levels.windows(2).map(|pair| 0.5 * (pair[0] + pair[1]));
    levels.iter().copied().chain(halfway).collect()
}

/// Covariance of the coefficients without what moves all set-ups alike, which lies in the mean alone.
fn own(over: &Over) -> DMatrix<f64> {
    let mut covariance = over.fit().covariance.clone();
    let all = &over.joint.covariance;
    let k = all.nrows();
    let common = (all.sum() - all.trace()) / (k * (k - 1)) as f64;
    covariance[(0, 0)] -= common.max(0.0).min(covariance[(0, 0)]);
    covariance
}

/// With one more reading of `row` (rank-one update of the normal equations).
fn added(covariance: &DMatrix<f64>, row: &DVector<f64>, variance: f64) -> DMatrix<f64> {
    let moved = covariance * row;
    covariance - &moved * moved.transpose() / (variance + row.dot(&moved))
}
