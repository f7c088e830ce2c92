//! What a planned sweep or design of several factors would say: effects, slope and best level with the intervals to expect.
//!
//! Given a plan and the predicted errors of its differences; gives what solving would say if every set-up were as planned. It
//! rides nothing.

use super::prediction::Prediction;
use crate::constant::STANDARD_GRAVITY_M_S2;
use crate::factor::model::{Joint, common_dof};
use crate::factor::{FactorLevels, FactorResult, answer};
use crate::plan::Plan;
use crate::quantity::m_s_from_km_h;
use crate::session::Venue;
use nalgebra::{DMatrix, DVector};

/// `None` without factors, or where no difference in watts is predicted.
///
/// Differences with the baseline are predicted; their variances are shared out by runs, σ²(1/n + 1/n₀), which is exact where
/// runs are alike.
pub(super) fn factors(plan: &Plan, prediction: &Prediction) -> Option<FactorResult> {
    let session = crate::plan::session_of(plan, &vec![plan.rider_and_bike.mass_kg; plan.order.len()], 1.0);
    let factors = session.factors()?;
    let runs: Vec<usize> = plan.setups.iter().map(|s| plan.order.iter().filter(|id| **id == s.id).count()).collect();
    let place = |id: &str| plan.setups.iter().position(|s| s.id == id);
    let (mut sum, mut dof) = (0.0, Vec::new());
    for d in &prediction.differences {
        let (watts, a, b) = (d.power_w?, place(&d.setup)?, place(&d.baseline)?);
        sum += watts.se.powi(2) / (1.0 / runs[a] as f64 + 1.0 / runs[b] as f64);
        dof.push(watts.dof.unwrap_or(f64::INFINITY));
    }
    if !(sum > 0.0 && f64::is_finite(sum)) {
        return None;
    }
    let of_run = sum / dof.len() as f64;
    let joint = Joint {
        values: DVector::from_iterator(plan.setups.len(), plan.setups.iter().map(|s| watts(plan, s.cda_m2, s.crr))),
        covariance: DMatrix::from_diagonal(&DVector::from_iterator(
            runs.len(),
            runs.iter().map(|n| of_run / *n as f64),
        )),
        dof: common_dof(&dof),
        day: vec![0; runs.len()],
        runs,
    };
    let output = if rollers_only(plan) { "rolling_power_w" } else { "power_w" };
    let told = answer(output, &factors, &joint, session.baseline(), plan.solve.confidence);
    Some(FactorResult { factors: FactorLevels::of(&factors), outputs: vec![told] })
}

fn rollers_only(plan: &Plan) -> bool {
    plan.runs_on(Venue::Rollers) == plan.order.len()
}

/// Watts of a set-up at the reference; bearings are alike in all.
fn watts(plan: &Plan, cda_m2: f64, crr: f64) -> f64 {
    let v = m_s_from_km_h(plan.reference.speed_km_h);
    let mass_kg = plan.reference.mass_kg.unwrap_or(plan.rider_and_bike.mass_kg);
    let air_n = if rollers_only(plan) { 0.0 } else { 0.5 * plan.reference.air_density_kg_m3 * cda_m2 * v * v };
    (crr * mass_kg * STANDARD_GRAVITY_M_S2 + air_n) * v / plan.rider_and_bike.drivetrain_efficiency
}
