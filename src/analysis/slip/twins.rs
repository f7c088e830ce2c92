//! Runs that differ from the other runs of their set-up, in the words of a session.
//!
//! Given what each run by itself gives (one Crr a run, one CdA in a test of positions); gives findings. The statistics are in
//! `compare`. It changes no result.

use super::super::run_values::RunValues;
use crate::compare::run_twins::{RunEstimate, Unlike, mass_needed_kg, unlike};
use crate::finding::{Apart, Finding, MassWanted, Slip, What};
use crate::session::{Session, Venue};
use crate::solution::Solution;
use nalgebra::DMatrix;

/// One estimate for each run of the session, NaN for a run without one.
pub(in crate::analysis) struct OfRuns {
    /// "Crr" or "CdA".
    pub quantity: &'static str,
    pub runs: Vec<RunEstimate>,
    pub covariance: DMatrix<f64>,
}

/// One finding for each thing that does not fit.
pub(in crate::analysis) fn findings(session: &Session, of: &OfRuns) -> Vec<Finding> {
    let file = |k: usize| session.runs[k].file.clone();
    let setup = |k: usize| session.setups[session.setup_of(&session.runs[k])].name().to_string();
    let by_mass = of.quantity == "Crr";
    let told = |what: Unlike| match what {
        Unlike::Run { run, apart: by, se, twins } => {
            let stated_kg = session.rider_of(&session.runs[run]).mass_kg;
            let needed_kg = mass_needed_kg(stated_kg, of.runs[run].value, by);
            let mass = by_mass.then_some(MassWanted { stated_kg, needed_kg });
            let apart = Apart { quantity: of.quantity, by, se };
            let slip = Slip::RunDiffers { file: file(run), setup: setup(run), apart, twins, mass };
            Finding::of_run(run, What::Slip(slip))
        }
        Unlike::Pair { runs: [a, b], apart: by, se } => {
            let mass_ratio = by_mass.then(|| of.runs[a].value / of.runs[b].value);
            let apart = Apart { quantity: of.quantity, by, se };
            let slip = Slip::PairDiffers { files: [file(a), file(b)], setup: setup(a), apart, mass_ratio };
            Finding::of_session(What::Slip(slip))
        }
        Unlike::Exchanged { pairs } => {
            let pairs = pairs.into_iter().map(|[a, b]| [file(a), file(b)]).collect();
            Finding::of_session(What::Slip(Slip::SetupsSwapped { pairs }))
        }
    };
    unlike(&of.runs, &of.covariance).into_iter().map(told).collect()
}

/// Whether any set-up was ridden more than once.
fn has_twins(session: &Session) -> bool {
    let setups: Vec<usize> = session.runs.iter().map(|r| session.setup_of(r)).collect();
    setups.iter().enumerate().any(|(k, s)| setups[..k].contains(s))
}

/// The runs of a loop, each with what a test compares to itself.
pub(in crate::analysis) fn of_loop(session: &Session, values: &RunValues) -> Option<OfRuns> {
    if !has_twins(session) {
        return None;
    }
    let count = session.runs.len();
    let place = |k: usize| values.run.iter().position(|r| *r == k);
    let fraction = session.uncertainty.run_to_run(Venue::Road);
    let runs = (0..count).map(|k| RunEstimate {
        setup: session.setup_of(&session.runs[k]),
        value: place(k).map_or(f64::NAN, |i| values.value[i]),
        run_to_run_sd: place(k).map_or(f64::NAN, |i| fraction * values.resistance[i]),
    });
    Some(OfRuns {
        quantity: values.quantity(),
        runs: runs.collect(),
        covariance: DMatrix::from_fn(count, count, |i, j| {
            place(i).zip(place(j)).map_or(f64::NAN, |(i, j)| values.covariance[(i, j)])
        }),
    })
}

/// The runs on rollers, whose windows are independent.
pub(in crate::analysis) fn of_rollers(session: &Session, solution: &Solution) -> Option<OfRuns> {
    if !has_twins(session) {
        return None;
    }
    let crr = |k: usize| solution.runs[k].window.as_ref().map(|w| w.crr);
    let value = |k: usize| crr(k).and_then(|c| c.value).unwrap_or(f64::NAN);
    let count = session.runs.len();
    let runs = (0..count).map(|k| RunEstimate {
        setup: session.setup_of(&session.runs[k]),
        value: value(k),
        run_to_run_sd: session.uncertainty.run_to_run(Venue::Rollers) * value(k).abs(),
    });
    let variance = |k: usize| crr(k).and_then(|c| c.se).unwrap_or(f64::NAN).powi(2);
    Some(OfRuns {
        quantity: "Crr",
        runs: runs.collect(),
        covariance: DMatrix::from_fn(count, count, |i, j| if i == j { variance(i) } else { 0.0 }),
    })
}
