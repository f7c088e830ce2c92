//! A roller venue as it is written and drawn.
//!
//! Given solved runs; gives solution, series for the figures and columns for the table. It computes no account.

use super::air_of_run::readings;
use super::budget_lines::budget_lines;
use super::contrasts::{Pair, PairDifference, contrasts};
use super::known::{Known, Uncertain};
use super::quantities::PowerAt;
use super::ridden_session::RiddenSession;
use super::roller_replication::run_to_run;
use super::roller_venue::RollerVenue;
use super::run_results::{empty_solution, run_result, venue_word};
use super::venue_outcome::VenueOutcome;
use crate::air::moist_air_density;
use crate::evidence::{Evidence, RunEvidence, WarmUpEvidence};
use crate::rollers::RollerRun;
use crate::sample::{Reason, Ride, SampleColumns};
use crate::session::{Session, Venue};
use crate::solution::{
    BudgetLine, CircuitResult, Contribution, Measured, PairContribution, Quantity, RollerWindow, RunResult,
    SetupResult, Solution, Solver,
};
use crate::uncertainty::replication::Contrast;

/// Puts everything together.
pub fn outcome(inputs: &RiddenSession, rides: &[Ride], venue: RollerVenue) -> VenueOutcome {
    let session = &inputs.session;
    let per_crr_w = PowerAt::reference(session).per_crr_w;
    let against = Pair::against_baseline(session);
    let family = |pairs: &[Pair]| {
        let differences: Vec<PairDifference> =
            pairs.iter().map(|p| difference(session, &venue, *p, per_crr_w)).collect();
        contrasts(session, &differences)
    };
    let solution = Solution {
        // There is no air drag to be told apart.
        separable: true,
        setups: (0..session.setups.len()).map(|s| setup(session, &venue, s, per_crr_w)).collect(),
        contrasts: family(&against),
        all_pairs: family(&Pair::all(session)),
        runs: rides.iter().enumerate().map(|(k, ride)| run(inputs, ride, k, venue.result(k))).collect(),
        circuit: CircuitResult { kind: venue_word(Venue::Rollers), ..CircuitResult::default() },
        budget: venue
            .budget
            .as_ref()
            .map(|b| budget_lines(b, session, &against).into_iter().map(without_cda).collect())
            .unwrap_or_default(),
        run_to_run: Some(run_to_run(session, &venue.replication, Venue::Rollers, "Crr")),
        solver: Solver { iterations: 0, converged: true, starts: 1, estimator: "energy account".into() },
        ..empty_solution(session)
    };
    let evidence = Evidence {
        runs: rides.iter().enumerate().map(|(k, ride)| run_evidence(session, ride, k, venue.result(k))).collect(),
        warm_ups: venue
            .runs
            .iter()
            .map(|r| WarmUpEvidence { run: r.run, setup: r.setup, ..r.result.evidence.clone() })
            .collect(),
        ..Evidence::default()
    };
    let columns = rides.iter().enumerate().map(|(k, ride)| columns(ride, venue.result(k))).collect();
    VenueOutcome { solution, findings: venue.findings, evidence, columns, budget: venue.budget }
}

/// Windows and what changes from run to run.
fn of_runs(contrast: &Contrast, confidence: f64, instrument_se: Option<f64>) -> Uncertain {
    let [windows, between] = contrast.parts(confidence);
    Uncertain { run_to_run: Some(between), instrument_se, ..Uncertain::of_laps(contrast.distribution.mean(), windows) }
}

fn crr_of(session: &Session, venue: &RollerVenue, s: usize) -> Uncertain {
    let instrument_se = venue.budget.as_ref().map(|b| b.combined(&b.of_setup(s, Quantity::Crr)));
    of_runs(&venue.replication.value(s), session.solve.confidence, instrument_se)
}

fn setup(session: &Session, venue: &RollerVenue, s: usize, per_crr_w: f64) -> SetupResult {
    let crr = crr_of(session, venue, s);
    let rolling = Uncertain {
        instrument_se: venue.budget.as_ref().map(|b| b.combined(&b.of_setup(s, Quantity::Power))),
        ..crr.times(per_crr_w)
    };
    let (mut way_m, mut time_s) = (0.0, 0.0);
    for r in venue.runs.iter().filter(|r| r.setup == s) {
        way_m += r.result.sums.distance_m;
        time_s += r.result.sums.duration_s;
    }
    SetupResult {
        id: session.setups[s].id.clone(),
        label: session.setups[s].name().to_string(),
        crr: crr.estimate(session.solve.confidence),
        rolling_power_w: rolling.estimate(session.solve.confidence),
        mean_speed_m_s: (time_s > 0.0).then(|| way_m / time_s),
        ..SetupResult::default()
    }
}

/// The watts of a difference are those of rolling at the reference; on rollers there is nothing else.
fn difference(session: &Session, venue: &RollerVenue, pair: Pair, per_crr_w: f64) -> PairDifference {
    let u = |output| venue.budget.as_ref().map(|b| b.combined(&b.of_difference(pair.setup, pair.baseline, output)));
    let of_pair = venue.replication.difference(pair.setup, pair.baseline);
    let crr = of_runs(&of_pair, session.solve.confidence, u(Quantity::Crr));
    let power_w = Uncertain { instrument_se: u(Quantity::Power), ..crr.times(per_crr_w) };
    PairDifference { pair, crr: Known::Within(crr), cda_m2: Known::Not, power_w: Known::Within(power_w) }
}

fn run(inputs: &RiddenSession, ride: &Ride, k: usize, result: Option<&RollerRun>) -> RunResult {
    let finite = |x: f64| x.is_finite().then_some(x);
    // There is no drag of the air on rollers; its density is told where its pressure was.
    let air = inputs.session.air.with(inputs.session.air_here(&inputs.session.runs[k]));
    let density = air.pressure_hpa.zip(air.temperature_c).map(|_| {
        let read = readings(&air, None, None);
        moist_air_density(read.temperature_c, read.pressure_pa, read.humidity_pct).density_kg_m3
    });
    RunResult {
        air_density_kg_m3: density.filter(|_| air.log.is_none()),
        temperature_c: result.and_then(|r| r.inputs.temperature_c),
        window: result.map(|r| RollerWindow {
            from_s: r.window_from_s,
            to_s: r.window_to_s,
            time_constant_s: r.time_constant_s,
            mean_speed_m_s: r.mean_speed_m_s,
            mean_power_w: r.mean_power_w,
            crr_drum: r.crr_drum,
            crr: Measured { value: finite(r.crr_flat), se: finite(r.se_scatter.hypot(r.se_warm_up)) },
        }),
        ..run_result(inputs, ride, k)
    }
}

fn inside(ride: &Ride, result: Option<&RollerRun>) -> Vec<bool> {
    let within = |t: &f64| result.is_some_and(|r| (r.window_from_s..=r.window_to_s).contains(t));
    ride.time_s.iter().map(within).collect()
}

fn run_evidence(session: &Session, ride: &Ride, k: usize, result: Option<&RollerRun>) -> RunEvidence {
    RunEvidence { used: inside(ride, result), ..RunEvidence::unused(session.setup_of(&session.runs[k]), ride) }
}

fn columns(ride: &Ride, result: Option<&RollerRun>) -> SampleColumns {
    SampleColumns {
        lap: vec![None; ride.len()],
        chainage_m: vec![f64::NAN; ride.len()],
        elevation_m: vec![f64::NAN; ride.len()],
        reason: inside(ride, result).into_iter().map(|used| (!used).then_some(Reason::OutsideWindow)).collect(),
    }
}

/// On rollers CdA is unknown, not untouched.
fn without_cda(line: BudgetLine) -> BudgetLine {
    let unknown = |list: Vec<Contribution>| list.into_iter().map(|c| Contribution { cda_m2: None, ..c }).collect();
    let pairs = line.pairs.into_iter().map(|p| PairContribution { cda_m2: None, ..p }).collect();
    BudgetLine { cda_m2: None, setups: unknown(line.setups), contrasts: unknown(line.contrasts), pairs, ..line }
}
