//! What is known when CdA and Crr cannot be told apart: the fit with Crr held at a usual value.
//!
//! Given a fit; gives CdA at that Crr with its covariance. The sum of both drags at the speed ridden hardly depends on the
//! value held, which is why it can be reported.

use super::fit::{Frame, LapInput, LoopFit, robust};
use super::outer::{TOLERANCE_M, least_squares_from};
use super::speed_class::Origin;
use crate::error::Error;
use crate::session::Sharing;
use crate::uncertainty::cluster::{ClusterRobust, Laps};

/// Crr of an ordinary tyre on an ordinary road (common practice, no source).
pub const HELD_CRR: f64 = 0.005;
/// Precision that holds Crr, in units of the row variance: to a millionth.
const HELD_PRECISION: f64 = 1e9;

/// A fit with Crr held.
pub struct HeldFit {
    /// CdA of each set-up, m².
    pub cda_m2: Vec<f64>,
    /// Over all parameters but those held.
    pub covariance: ClusterRobust,
    /// Column of the CdA of each set-up in that covariance.
    pub column: Vec<usize>,
    /// Whether the air had to be taken as still.
    pub still_air: bool,
}

/// Repeats least squares with every Crr held at [`HELD_CRR`]. Where set-ups had each a Crr of their own each has a CdA of its
/// own instead: what they differ by is in the drag, whatever it is due to.
///
/// Errors: [`Error::Numerical`] when even CdA alone cannot be told.
pub fn with_crr_held(frame: &Frame, laps: &[LapInput], fit: &LoopFit) -> Result<HeldFit, Error> {
    let mut choices = frame.choices.clone();
    if choices.crr == Sharing::PerSetup {
        choices.cda = Sharing::PerSetup;
    }
    let frame = Frame { work: frame.work.clone(), choices: &choices, survey: frame.survey };
    let mut problem = frame.problem(laps, &fit.used, &fit.weight, fit.row_sd_m);
    let layout = problem.layout.clone();
    for &c in &layout.crr {
        problem.prior[c] = HELD_PRECISION;
        problem.prior_mean[c] = HELD_CRR;
    }
    // What was found of gusts rests on parameters that are not known here.
    problem.gust_variance.fill(0.0);
    let still_air = fit.classes.origin == Origin::OneSpeed;
    let winds: Vec<usize> =
        layout.runs.iter().flat_map(|r| [r.east, r.north, r.drift_east, r.drift_north]).flatten().collect();
    if still_air {
        // What a wind does to laps of one speed is the same in each and looks like the profile.
        for &c in &winds {
            problem.prior[c] = HELD_PRECISION;
        }
    }
    let nuisances = vec![0.0; layout.len - layout.linear];
    let point = least_squares_from(&problem, &nuisances, TOLERANCE_M)?;
    let is_held = |c: &usize| layout.crr.contains(c) || still_air && winds.contains(c);
    let free: Vec<usize> = (0..layout.len).filter(|c| !is_held(c)).collect();
    let blocks = problem.blocks(&point.parameters);
    let jacobian = problem.projected_columns(&blocks).select(&free);
    let laps_left = Laps { instruments: jacobian.clone(), jacobian, residual: problem.projected_residuals(&blocks) };
    Ok(HeldFit {
        cda_m2: layout.cda.iter().map(|c| point.parameters[*c]).collect(),
        covariance: robust(&problem, &laps_left, &fit.classes)?,
        column: layout.cda.iter().map(|c| free.iter().position(|f| f == c).unwrap_or(0)).collect(),
        still_air,
    })
}
