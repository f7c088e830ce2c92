//! All runs of a session on rollers: an energy account and a window each, then set-ups with what changes from run to run.
//!
//! Given inputs and rides that are all on rollers; gives what the outcome is made from. It compares no set-ups.

use super::air_of_run::DEVICE_TEMPERATURE_U_C;
use super::instrument::InstrumentBudget;
use super::quantities::PowerAt;
use super::ridden_session::{Depth, RiddenSession};
use super::roller_budget::budget;
use super::roller_replication::replication;
use super::roller_run::SolvedRun;
use super::run_results::order_finding;
use super::solvable_laps::unusable;
use crate::error::Error;
use crate::finding::{Finding, What};
use crate::record::Recording;
use crate::rollers::drum::conversion_uncertainty;
use crate::rollers::practice::{self, RunConditions};
use crate::rollers::{Choice, RollerRun, StatedWindow, analyse};
use crate::sample::Ride;
use crate::session::{Run, Session, Venue};
use crate::uncertainty::replication::Replication;
use std::borrow::Cow;

/// The runs on rollers, solved.
pub struct RollerVenue {
    pub runs: Vec<SolvedRun>,
    pub replication: Replication,
    pub budget: Option<InstrumentBudget>,
    pub findings: Vec<Finding>,
}

impl RollerVenue {
    /// Result of a run of the inputs, unless it was left out.
    pub fn result(&self, run: usize) -> Option<&RollerRun> {
        self.runs.iter().find(|r| r.run == run).map(|r| &r.result)
    }
}

/// Solves the runs on rollers. A run without a window is left out and told, as long as its set-up has another.
///
/// Errors: [`Error::RunsUnusable`] for runs without power, speed or a window where their set-up has no other.
pub fn solve(inputs: &RiddenSession, rides: &[Ride], depth: Depth) -> Result<RollerVenue, Error> {
    let session = &inputs.session;
    let mut findings = Vec::new();
    let mut runs: Vec<SolvedRun> = Vec::with_capacity(rides.len());
    let mut refused: Vec<Option<Error>> = vec![None; rides.len()];
    for (k, (run, ride)) in session.runs.iter().zip(rides).enumerate() {
        let air = run.tyre_temperature_c.or_else(|| temperature(inputs, run, ride));
        let choice =
            Choice { temperature_c: air, window: run.window_s.map(|[from_s, to_s]| StatedWindow { from_s, to_s }) };
        let recording = mended(&inputs.recordings[k], ride);
        let setup = session.setup_of(run);
        let result = match analyse(&recording, &session.rider_of(run), &session.rollers, &choice) {
            Ok(result) => result,
            Err(error @ (Error::NoSteadyWindow { .. } | Error::NoChannel { .. })) => {
                refused[k] = Some(error);
                continue;
            }
            Err(error) => return Err(error),
        };
        let mut u = session.uncertainty.clone();
        let radii_m = (0.5 * session.rollers.drum_diameter_m, result.inputs.rider.wheel_radius_m);
        u.drum_conversion_fraction.get_or_insert_with(|| conversion_uncertainty(radii_m.0, radii_m.1));
        if air.is_none() {
            u.temperature_c = u.temperature_c.max(DEVICE_TEMPERATURE_U_C);
            findings.extend(device_temperature(session, &result).map(|w| Finding::of_run(k, w)));
        }
        findings.extend(run_findings(k, &result, &findings));
        runs.push(SolvedRun { run: k, setup, result, uncertainty: u });
    }
    for (run, why) in refused.iter().enumerate() {
        let Some(error) = why else { continue };
        if !runs.iter().any(|r| r.setup == session.setup_of(&session.runs[run])) {
            return Err(unusable(&refused, error.clone()));
        }
        findings.push(Finding::of_run(run, What::RollerRunLeftOut { reason: error.to_string() }));
    }
    findings.extend(session_findings(session, &runs));
    findings.extend(order_finding(session, rides));
    let replication = replication(session, &runs)?;
    findings.extend(replication_finding(session, &replication, runs.len()));
    let shares = replication.shares();
    let budget = if depth.budget { Some(budget(session, &runs, &shares, &PowerAt::reference(session))?) } else { None };
    Ok(RollerVenue { runs, replication, budget, findings })
}

/// Where the intervals rest on what was supposed of changes from run to run.
fn replication_finding(session: &Session, replication: &Replication, runs: usize) -> Option<Finding> {
    let seen = replication.run_to_run(session.solve.confidence);
    let fraction = session.uncertainty.run_to_run(Venue::Rollers);
    let what = match seen.repeats {
        0 => What::NoRepeats { runs, fraction },
        repeats if seen.rests_on_prior() => {
            What::RunToRunSupposed { repeats, setups: replication.setups(), fraction, of: "Crr" }
        }
        _ => return None,
    };
    Some(Finding::of_session(what))
}

/// As stated, else that of the weather log in the middle of the ride, where it covers that.
fn temperature(inputs: &RiddenSession, run: &Run, ride: &Ride) -> Option<f64> {
    let middle = ride.start_unix_s + 0.5 * ride.duration_s();
    let logged = || {
        let log = inputs.weather.as_ref()?;
        log.check_covers(middle, middle).ok()?;
        log.at(middle).map(|w| w.temperature_c)
    };
    inputs.session.air_here(run).temperature_c.or(inputs.session.air.temperature_c).or_else(logged)
}

/// A device that records distance alone has its speed from there; power that dropped out is bridged.
fn mended<'a>(recording: &'a Recording, ride: &Ride) -> Cow<'a, Recording> {
    let lacks_speed = !Recording::has(&recording.speed_m_s) && Recording::has(&ride.speed_m_s);
    if !lacks_speed && ride.drop_outs.count() == 0 {
        return Cow::Borrowed(recording);
    }
    let mut out = recording.clone();
    if lacks_speed {
        out.speed_m_s = ride.speed_m_s.clone();
    }
    out.power_w = ride.mended_power_w();
    Cow::Owned(out)
}

/// Only of interest where Crr is brought to a reference temperature.
fn device_temperature(session: &Session, run: &RollerRun) -> Option<What> {
    let temperature_c = run.inputs.temperature_c.filter(|_| session.rollers.temperature_coefficient_per_c != 0.0)?;
    Some(What::TemperatureAssumed { temperature_c, from_device: true })
}

/// What a run says, but once what holds for all of them.
fn run_findings(k: usize, run: &RollerRun, said: &[Finding]) -> Vec<Finding> {
    let common = |what: &What| matches!(what, What::NoLoadDragAssumed);
    let new = run.findings.iter().filter(|w| !common(w) || !said.iter().any(|f| f.what == **w));
    new.map(|w| if common(w) { Finding::of_session(w.clone()) } else { Finding::of_run(k, w.clone()) }).collect()
}

fn session_findings(session: &Session, runs: &[SolvedRun]) -> Vec<Finding> {
    let mut out = Vec::new();
    if let Some(SolvedRun { result: first, uncertainty, .. }) = runs.first() {
        let r = &session.rollers;
        out.push(What::RollerAssumptions {
            drum_diameter_m: r.drum_diameter_m,
            drum_spacing_m: r.drum_spacing_m,
            drum_over_flat: first.crr_drum / first.crr_flat,
            conversion_fraction: uncertainty.drum_conversion_fraction.unwrap_or(0.0),
            rear_weight_fraction: r.rear_weight_fraction,
            front_driven: r.front_driven,
        });
    }
    out.extend(
        runs.first()
            .and_then(|r| practice::of_drums(session.rollers.drum_diameter_m, r.result.inputs.rider.wheel_radius_m)),
    );
    let conditions: Vec<RunConditions> = runs
        .iter()
        .map(|r| (&session.runs[r.run], &r.result))
        .map(|(run, result)| RunConditions {
            name: run.file.clone(),
            tyre_pressure_kpa: run.tyre_pressure_kpa,
            weighed: run.mass_kg.is_some(),
            mean_speed_m_s: result.mean_speed_m_s,
            gear: result.gear,
        })
        .collect();
    out.extend(practice::between_runs(&conditions));
    out.into_iter().map(Finding::of_session).collect()
}
