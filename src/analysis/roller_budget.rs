//! What one standard uncertainty of each input does to the results of a roller venue.
//!
//! Given the runs and the session's standard uncertainties; gives the same kind of budget as a loop has, without CdA.

use super::instrument::{InstrumentBudget, OUTPUTS};
use super::quantities::PowerAt;
use super::roller_run::SolvedRun;
use crate::error::Error;
use crate::rollers::{Reach, RollerRun, Sensitivity, sensitivities};
use crate::session::Session;
use crate::solution::Quantity;
use crate::uncertainty::budget::{Budget, Source};
use nalgebra::DMatrix;

/// Works out the budget.
///
/// An error common to the session moves every set-up at once, so it cancels in differences; that of one run moves its
/// set-up by its share in the value (set-ups × runs). Where runs are repeated the errors of single runs also show in their scatter and are
/// counted twice, on the safe side. Errors: those of [`sensitivities`].
pub fn budget(
    session: &Session,
    runs: &[SolvedRun],
    shares: &DMatrix<f64>,
    power: &PowerAt,
) -> Result<InstrumentBudget, Error> {
    let setups = session.setups.len();
    let lines: Vec<Vec<Sensitivity>> =
        runs.iter().map(|r| sensitivities(&r.result, &r.uncertainty)).collect::<Result<_, _>>()?;
    let kinds = lines.first().map_or(&[][..], Vec::as_slice);
    let mut sources = Vec::new();
    let mut group = Vec::new();
    let mut add = |kind: &Sensitivity, name: String, moved: &[usize]| {
        let mut change = vec![0.0; OUTPUTS * setups];
        let mut largest_u: f64 = 0.0;
        for &k in moved {
            let Some(line) = lines[k].iter().find(|l| l.source == kind.source) else { continue };
            let (first, share) = (OUTPUTS * runs[k].setup, shares[(runs[k].setup, k)]);
            change[first + Quantity::Crr as usize] += share * line.crr;
            change[first + Quantity::Power as usize] += share * watts(session, power, &runs[k].result, line);
            largest_u = largest_u.max(line.standard_uncertainty);
        }
        if change.iter().any(|c| *c != 0.0) {
            sources.push(Source::linear(&name, largest_u, kind.unit, f64::INFINITY, &change));
            group.push(kind.source);
        }
    };
    for kind in kinds {
        match kind.reach {
            Reach::Session => add(kind, kind.source.to_string(), &(0..runs.len()).collect::<Vec<usize>>()),
            Reach::Run => {
                let name = |k: usize| format!("{}, run {}", kind.source, runs[k].run + 1);
                (0..runs.len()).for_each(|k| add(kind, name(k), &[k]));
            }
        }
    }
    Ok(InstrumentBudget { budget: Budget::new(sources)?, setups, group })
}

/// Change of the rolling watts at the reference. Watts are given where power is measured, so the efficiency enters
/// them once more and all but cancels.
fn watts(session: &Session, power: &PowerAt, run: &RollerRun, line: &Sensitivity) -> f64 {
    let again = if line.source == "drivetrain efficiency" {
        -run.crr_flat * line.standard_uncertainty / session.rider_and_bike.drivetrain_efficiency
    } else {
        0.0
    };
    power.per_crr_w * (line.crr + again)
}
