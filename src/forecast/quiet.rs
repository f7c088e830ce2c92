//! The planned day without any noise: the laps from which a prediction is made.
//!
//! Given a plan; rides it in the simulation with every disturbance set to nothing, and cuts and accounts for it with
//! the code that solves real rides. What comes out is the design of the day. It estimates nothing.

use crate::analysis::air_of_run::{RunAir, run_air};
use crate::analysis::instrument::{InputQuantity, alter, inputs_of};
use crate::analysis::lap_inputs::{conditions, gravity, lap_inputs};
use crate::analysis::loop_choices::choices;
use crate::circuit::{RunToCut, cut};
use crate::error::Error;
use crate::plan::{InstrumentErrors, Noise, Plan, PlannedDay, SpeedSource};
use crate::record::Recording;
use crate::sample::{Cumulative, Reason, Ride, align};
use crate::session::{Session, WindMode};
use crate::simulate::{Truth, simulate};
use crate::solve::account::{FittedWind, LapAccount, RunConditions, SupposedAir};
use crate::solve::fit::{Choices, LapInput};
use crate::wording::counted;

/// Far below the whole watt that is recorded.
const ALTERNATION_W: f64 = 1e-3;

/// One lap ridden without noise.
pub(super) struct QuietLap {
    pub(super) input: LapInput,
    /// ∫ P² dt over each step, W² s.
    pub(super) power_square: Vec<f64>,
    /// Change of the residual of each step, m, when a source is moved by one standard uncertainty.
    pub(super) moved: Vec<Vec<f64>>,
    pub(super) duration_s: f64,
}

/// A standard uncertainty of the instrument.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct QuietSource {
    pub(super) input: InputQuantity,
    pub(super) standard_uncertainty: f64,
}

/// Relative standard deviations from run to run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Changes {
    cda: f64,
    crr: f64,
}

impl Changes {
    /// As a fraction of a resistance of two parts; `None` where none are stated.
    pub(super) fn of_resistance(&self, rolling_n: f64, drag_n: f64) -> Option<f64> {
        let changed = (self.crr * rolling_n).hypot(self.cda * drag_n);
        (changed > 0.0).then(|| changed / (rolling_n + drag_n))
    }
}

/// The day without noise.
pub(super) struct QuietDay {
    pub(super) session: Session,
    pub(super) truth: Truth,
    pub(super) rides: Vec<Ride>,
    pub(super) choices: Choices,
    /// Laps by run.
    pub(super) laps: Vec<Vec<QuietLap>>,
    /// The mass stands once and means that of the lap's own run.
    pub(super) sources: Vec<QuietSource>,
    /// Laps that were ridden but are not whole between two passes of the gate that is found.
    pub(super) laps_lost: usize,
    /// Changes from run to run that the plan states.
    pub(super) changes: Changes,
    /// Cycle of the planned speeds, laps.
    pub(super) cycle: usize,
}

/// The plan with nothing in the way: what is stated is true, nothing gusts, scatters, drifts or breaks.
pub(super) fn quiet(plan: &Plan) -> Plan {
    let mut quiet = plan.clone();
    quiet.noise = Noise {
        power_cv: 0.0,
        power_scale: 1.0,
        power_lag_s: 0.0,
        gust_sd_m_s: 0.0,
        wind_drift_m_s_per_h: 0.0,
        crr_drift_per_h: 0.0,
        speed_source: SpeedSource::Exact,
        speed_scale: 1.0,
        speed_lag_s: None,
        position_sd_m: 0.0,
        position_white_m: 0.0,
        altitude_sd_m: 0.0,
        lap_mark_sd_s: 0.0,
        rider_cv: 0.0,
        pace_cv: 0.0,
        mass_scatter_kg: 0.0,
        instrument_errors: InstrumentErrors::None,
        ..plan.noise.clone()
    };
    quiet.mishaps.clear();
    quiet.day = PlannedDay::default();
    quiet
}

/// Without noise power stays at one whole watt for long, which would pass for a meter that is stuck. The alternation takes
/// no energy away.
fn unstuck(mut recording: Recording) -> Recording {
    for (i, power_w) in recording.power_w.iter_mut().enumerate() {
        *power_w += if i % 2 == 0 { ALTERNATION_W } else { -ALTERNATION_W };
    }
    recording
}

impl QuietDay {
    /// Rides a plan whose runs are all on a loop or track.
    ///
    /// Errors: those of the simulation and of cutting laps.
    pub(super) fn ride(plan: &Plan) -> Result<QuietDay, Error> {
        let day = simulate(&quiet(plan), plan.seed)?;
        let session = day.session;
        let rides: Vec<Ride> = day.rides.iter().map(|r| align(&unstuck(r.to_recording())).0).collect();
        let to_cut: Vec<RunToCut> = session
            .runs
            .iter()
            .zip(&rides)
            .map(|(run, ride)| RunToCut { file: &run.file, ride, source: run.laps })
            .collect();
        let cut = cut(&to_cut, &session.circuit)?;
        let air: Vec<RunAir> =
            rides.iter().map(|ride| run_air(&session.air, &session.wind, None, ride)).collect::<Result<_, _>>()?;
        let runs = conditions(&session, &rides, &cut, &air, gravity(&rides));
        let choices = choices(&session, &cut);
        let (inputs, address) = lap_inputs(&session, &rides, &cut, &runs);
        let sources = sources(&session, &air);
        let mut laps: Vec<Vec<QuietLap>> = rides.iter().map(|_| Vec::new()).collect();
        for (input, at) in inputs.into_iter().zip(address) {
            let lap = &cut.runs[at.run][at.lap];
            // Without scatter a steady rider's power repeats itself as that of a stuck meter does.
            if lap.reason.is_some_and(|r| r != Reason::PowerStuck) {
                continue;
            }
            let stands = Standing::new(&day.truth, &session, &choices, at.run, &input);
            let rows = |run: &RunConditions| {
                LapAccount::new(run, at.lap, lap).map(|a| stands.residual(&a, &rides[at.run].work_j))
            };
            let moved = sources.iter().map(|s| {
                let input = s.input.in_run(at.run);
                let by = |u: f64| rows(&alter(&runs[at.run], &air[at.run], input, u));
                let (plus, minus) = (by(s.standard_uncertainty)?, by(-s.standard_uncertainty)?);
                Some(plus.iter().zip(&minus).map(|(p, m)| 0.5 * (p - m)).collect())
            });
            let Some(moved) = moved.collect::<Option<Vec<Vec<f64>>>>() else { continue };
            laps[at.run].push(QuietLap {
                power_square: input
                    .account
                    .edge_s
                    .windows(2)
                    .map(|e| power_square(&rides[at.run], e[0], e[1]))
                    .collect(),
                moved,
                duration_s: lap.duration_s(),
                input,
            });
        }
        let fewest = laps.iter().map(Vec::len).min().unwrap_or(0);
        if fewest == 0 {
            return Err(Error::NoLaps {
                file: "plan".into(),
                reason: format!(
                    "{} a run leave no whole lap between two passes of one place",
                    counted(plan.laps_per_run, "lap")
                ),
                next: "plan at least three laps a run",
            });
        }
        Ok(QuietDay {
            laps_lost: plan.laps_per_run.saturating_sub(fewest),
            cycle: plan.lap_speeds_km_h().len().max(1),
            changes: Changes { cda: plan.day.cda_run_to_run, crr: plan.day.crr_run_to_run },
            truth: day.truth,
            session,
            rides,
            choices,
            laps,
            sources,
        })
    }

    /// Whether changes from run to run are only supposed, so that a rehearsal has none.
    pub(super) fn supposes_changes(&self) -> bool {
        let session = &self.session;
        self.changes.of_resistance(1.0, 1.0).is_none() && session.uncertainty.run_to_run(session.circuit.kind) > 0.0
    }

    pub(super) fn work(&self, run: usize) -> &Cumulative {
        &self.rides[run].work_j
    }
}

/// The standard uncertainties that a session states, the mass once.
fn sources(session: &Session, air: &[RunAir]) -> Vec<QuietSource> {
    inputs_of(session, air, None, None, None)
        .into_iter()
        .filter(|(input, _)| input.run().is_none_or(|k| k == 0))
        .map(|(input, standard_uncertainty)| QuietSource { input, standard_uncertainty })
        .collect()
}

/// What is true while one lap is ridden.
struct Standing {
    crr: f64,
    cda_m2: f64,
    wind: FittedWind,
}

impl Standing {
    fn new(truth: &Truth, session: &Session, choices: &Choices, run: usize, lap: &LapInput) -> Standing {
        let setup = truth.setups.get(lap.account.setup);
        let fitted = choices.wind && session.wind.mode == WindMode::Estimate;
        Standing {
            crr: setup.map_or(f64::NAN, |s| s.crr),
            cda_m2: setup.map_or(f64::NAN, |s| s.cda_m2),
            wind: if fitted { true_wind(truth, run) } else { FittedWind::default() },
        }
    }

    fn residual(&self, account: &LapAccount, work: &Cumulative) -> Vec<f64> {
        let aero = account.aero(SupposedAir::of_wind(self.wind));
        account
            .supplied_m(work, 0.0)
            .iter()
            .zip(account.rolling_m.iter().zip(&aero.b))
            .map(|(a, (d, b))| a - self.crr * d - self.cda_m2 * b)
            .collect()
    }
}

/// The mean wind that was put into a run.
pub(super) fn true_wind(truth: &Truth, run: usize) -> FittedWind {
    truth.runs.get(run).map_or_else(FittedWind::default, |r| FittedWind {
        east_m_s: r.wind_east_m_s,
        north_m_s: r.wind_north_m_s,
        ..FittedWind::default()
    })
}

/// ∫ P² dt between two instants; a power record is the mean of the second before it.
fn power_square(ride: &Ride, from_s: f64, to_s: f64) -> f64 {
    let first = ride.time_s.partition_point(|t| *t <= from_s);
    let mut sum = 0.0;
    for i in first..ride.len() {
        let (begin, end) = ((ride.time_s[i] - 1.0).max(from_s), ride.time_s[i].min(to_s));
        if begin >= to_s {
            break;
        }
        let p = ride.power_w[i];
        sum += if p.is_finite() { p * p * (end - begin).max(0.0) } else { 0.0 };
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn power_that_stays_the_same_for_want_of_noise_is_no_fault_of_the_meter() {
        // With this wind power stays at one whole watt for over 12 s of every fast lap.
        let text = "order = [\"a\"]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\nrider_and_bike.mass_kg = 86.0\n\
                    [loop]\nlength_m = 1250.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n\
                    [wind]\nspeed_m_s = 1.0\nfrom_deg = 90.0\n[[setup]]\nid = \"a\"\ncda_m2 = 0.262\ncrr = 0.0045\n";
        let day = QuietDay::ride(&Plan::from_toml(text, "plan.toml").unwrap()).unwrap();
        let fast = day.laps[0].iter().filter(|l| l.input.account.mean_speed_m_s > 10.0).count();
        assert_eq!((day.laps[0].len(), fast), (6, 3));
    }
}
