//! Runs that differ from the other runs of their set-up, in the words of a session.
//!
//! Given a solved venue; gives findings. One Crr a run is fitted with the rest shared (one CdA in a test of positions); the
//! statistics are in `compare`. It changes no result.

use super::super::loop_venue::LoopVenue;
use crate::compare::run_twins::{RunEstimate, Unlike, mass_needed_kg, unlike};
use crate::finding::{Apart, Finding, MassWanted, Slip, What};
use crate::session::{Session, Sharing};
use crate::solution::Solution;
use crate::solve::fit::{Frame, fit};
use nalgebra::DMatrix;

/// What changes from mounting to mounting, of the resistance on a loop and of Crr on rollers (common practice, no source).
const OF_RESISTANCE: f64 = 0.007;
const OF_CRR: f64 = 0.01;

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

/// The runs of a loop, each fitted as a set-up of its own in what a test compares. Where set-ups have both a CdA and a Crr of
/// their own one CdA serves all here: what that leaves in Crr is alike in the runs of a set-up.
pub(in crate::analysis) fn of_loop(session: &Session, venue: &LoopVenue) -> Option<OfRuns> {
    if !has_twins(session) {
        return None;
    }
    let count = session.runs.len();
    let mut laps = venue.laps.clone();
    laps.iter_mut().zip(&venue.address).for_each(|(lap, at)| lap.account.setup = at.run);
    let mut choices = venue.choices.clone();
    choices.setups = count;
    // One Crr a run leaves nothing for a drift between runs.
    choices.crr_drift = false;
    let of_positions = session.solve.crr == Sharing::Common && session.solve.cda == Sharing::PerSetup;
    (choices.crr, choices.cda) = match of_positions {
        true => (Sharing::Common, Sharing::PerSetup),
        false => (Sharing::PerSetup, Sharing::Common),
    };
    let frame = Frame { choices: &choices, ..venue.frame() };
    let fitted = fit(&frame, &mut laps, Some(&venue.fit)).ok()?;
    let column = |k: usize| if of_positions { fitted.layout.cda[k] } else { fitted.layout.crr[k] };
    let (robust, working) = (&fitted.covariance.covariance, &fitted.covariance.working);
    let runs = (0..count).map(|k| {
        let used = fitted.used.iter().map(|i| &laps[*i].account).filter(|a| a.run == k);
        let (mut n, mut per_crr, mut per_cda) = (0.0, 0.0, 0.0);
        for account in used {
            n += 1.0;
            per_crr += account.weight_n;
            per_cda += 0.5 * account.mean_density_kg_m3 * account.mean_speed_m_s.powi(2);
        }
        let (crr, cda) = (fitted.parameters[fitted.layout.crr[k]], fitted.parameters[fitted.layout.cda[k]]);
        let resistance = crr * per_crr + cda * per_cda;
        let per_value = if of_positions { per_cda } else { per_crr };
        RunEstimate {
            setup: session.setup_of(&session.runs[k]),
            value: if n > 0.0 { fitted.parameters[column(k)] } else { f64::NAN },
            run_to_run_sd: OF_RESISTANCE * (resistance / per_value).abs(),
        }
    });
    Some(OfRuns {
        quantity: if of_positions { "CdA" } else { "Crr" },
        runs: runs.collect(),
        // A sandwich of few laps is uncertain, so that the model of the scatter within laps counts as much.
        covariance: DMatrix::from_fn(count, count, |i, j| {
            0.5 * (robust[(column(i), column(j))] + working[(column(i), column(j))])
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
        run_to_run_sd: OF_CRR * value(k).abs(),
    });
    let variance = |k: usize| crr(k).and_then(|c| c.se).unwrap_or(f64::NAN).powi(2);
    Some(OfRuns {
        quantity: "Crr",
        runs: runs.collect(),
        covariance: DMatrix::from_fn(count, count, |i, j| if i == j { variance(i) } else { 0.0 }),
    })
}
