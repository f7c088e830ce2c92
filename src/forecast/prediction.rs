//! What a design can and cannot show: standard errors and detectable differences of CdA, Crr and watts.
//!
//! Given a design and the noise of its rows; gives for each set-up and planned comparison what solving the ridden day
//! would report, split into its parts as there. It judges no result.

use super::between_runs::between_runs;
use super::design::{Design, DesignChoice, DesignRun};
use super::on_the_loop::on_the_loop;
use super::propagate::{Extent, Propagated};
use super::quiet::QuietDay;
use super::row_noise::RowNoise;
use crate::analysis::instrument::InputQuantity;
use crate::analysis::known::Uncertain;
use crate::analysis::quantities::{Linear, PowerAt, SetupQuantities};
use crate::analysis::run_values::BetweenRuns;
use crate::error::Error;
use crate::plan::Plan;
use crate::session::Session;
use crate::uncertainty::budget::Combined;
use crate::uncertainty::power::detectable_difference;
use crate::uncertainty::student::coverage_factor;
use nalgebra::DVector;
use serde::Serialize;

/// Chance with which a difference is to be found.
pub(super) const POWER: f64 = 0.8;
/// From this ratio on gusts that outlast a lap make the scatter larger than solving will report.
const OUTLASTING: f64 = 1.15;

/// One predicted quantity, in its own unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Predicted {
    /// All of the following together.
    pub se: f64,
    /// Scatter of the laps.
    pub scatter_se: f64,
    /// What the laps leave to priors: wind along the loop, yaw, and at one speed CdA and Crr themselves.
    pub prior_se: f64,
    /// What changes from run to run.
    pub run_to_run_se: f64,
    pub instrument_se: f64,
    /// `None` where the laps leave none.
    pub dof: Option<f64>,
    /// Smallest true difference that is found with 80 % power when Holm's test is strictest, at (1 − confidence) over
    /// the number of planned comparisons; for a single set-up the smallest change from a known value.
    pub detectable: Option<f64>,
}

/// What is predicted for one set-up.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SetupForecast {
    pub id: String,
    pub label: String,
    pub laps: usize,
    /// `None` where CdA and Crr cannot be told apart.
    pub crr: Option<Predicted>,
    pub cda_m2: Option<Predicted>,
    /// At the reference conditions.
    pub power_w: Option<Predicted>,
    /// Resistance at the mean speed ridden, which is known in any case on a loop.
    pub drag_n: Option<Predicted>,
    pub mean_speed_m_s: Option<f64>,
}

/// What is predicted for a set-up against the baseline; `None` for what is held common or cannot be told.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DifferenceForecast {
    pub setup: String,
    pub baseline: String,
    pub crr: Option<Predicted>,
    pub cda_m2: Option<Predicted>,
    pub power_w: Option<Predicted>,
}

/// What a design can show.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Prediction {
    /// Whole laps of each run that can be used; 0 on rollers.
    pub laps_of_run: usize,
    pub runs: usize,
    pub separable: bool,
    /// Why not, and what to ride.
    pub not_separable: Option<[String; 2]>,
    /// "instruments" or, on rollers, "rehearsals".
    pub estimator: &'static str,
    pub setups: Vec<SetupForecast>,
    pub differences: Vec<DifferenceForecast>,
    /// Correlation of CdA and Crr of the baseline.
    pub correlation: Option<f64>,
    /// Standard deviation of one step of the energy account, m.
    pub row_sd_m: Option<f64>,
    /// True scatter over what solving will report, above 1 where gusts outlast a lap.
    pub scatter_ratio: f64,
}

/// Predicts the runs of a plan that are on its loop.
///
/// Errors: those of the simulation without noise, [`Error::Numerical`], and [`Error::Inconsistent`] for a plan on rollers alone,
/// which `forecast` predicts by rehearsals.
pub fn predict_plan(plan: &Plan) -> Result<Prediction, Error> {
    let Some(plan) = on_the_loop(plan) else {
        return Err(Error::Inconsistent {
            file: "plan".into(),
            line: None,
            message: "on rollers errors are predicted by rehearsals; ask for the whole forecast".into(),
        });
    };
    let day = QuietDay::ride(&plan)?;
    predict(&day, &as_planned(&day, &plan), &RowNoise::of(&plan.noise))
}

/// The runs of the plan as they stand in it.
pub(super) fn as_planned(day: &QuietDay, plan: &Plan) -> DesignChoice {
    DesignChoice {
        runs: day
            .session
            .runs
            .iter()
            .enumerate()
            .map(|(of, run)| DesignRun { of, setup: day.session.setup_of(run) })
            .collect(),
        laps: plan.laps_per_run.saturating_sub(day.laps_lost).max(1),
        survey_sd_m: plan.circuit.survey_sd_m,
        pause_s: plan.pause_between_runs_s,
        crr_drift: day.session.solve.crr_drift,
        crr: day.session.solve.crr,
        cda: day.session.solve.cda,
        weighing: 1.0,
        runs_alike: false,
    }
}

/// Predicts a design.
pub(super) fn predict(day: &QuietDay, choice: &DesignChoice, noise: &RowNoise) -> Result<Prediction, Error> {
    let design = Design::new(day, choice);
    let main = design.propagate(noise, Extent::Whole)?;
    let between = between_runs(day, choice, noise, (&main.layout, &design.parameters(&main.layout)))?;
    let session = &day.session;
    let power = PowerAt::reference(session);
    let setups = session.setups.len();
    let baseline = session.baseline();
    let alpha = 1.0 - session.solve.confidence;
    let comparisons = setups.saturating_sub(1).max(1);
    let view = View { day, of: &main, between: &between, alpha: alpha / comparisons as f64 };
    let quantities: Vec<SetupQuantities> = (0..setups).map(|s| SetupQuantities::new(&main.layout, s, &power)).collect();
    let direct: Vec<Vec<f64>> = (0..setups).map(|s| direct(day, session, s)).collect();
    let none = vec![0.0; day.sources.len()];

    let widest = quantities
        .iter()
        .map(|q| view.of(&q.crr, &none))
        .map(|p| coverage_factor(session.solve.confidence, p.dof.unwrap_or(f64::NAN)) * p.scatter_se)
        .fold(0.0_f64, |a, b| if b.is_nan() { f64::INFINITY } else { a.max(b) });
    let share = |(q, open): (&SetupQuantities, &f64)| {
        let laps = q.cda.coefficients.dot(&(&main.scatter * &q.cda.coefficients));
        open / (open + laps)
    };
    let expected_share = quantities.iter().zip(&main.open_cda).map(share).fold(0.0, f64::max);
    let not_separable = design.not_separable(widest, expected_share);
    let separable = not_separable.is_none();
    let single = |s: usize| {
        let q = &quantities[s];
        let shown = |linear: &Linear, direct: &[f64]| separable.then(|| view.of(linear, direct));
        let (drag, mean_speed_m_s) = drag(&design, q, s);
        SetupForecast {
            id: session.setups[s].id.clone(),
            label: session.setups[s].name().to_string(),
            laps: design.laps_of(s).count(),
            crr: shown(&q.crr, &none),
            cda_m2: shown(&q.cda, &none),
            power_w: shown(&q.power, &direct[s]),
            drag_n: Some(view.of(&drag, &none)),
            mean_speed_m_s: Some(mean_speed_m_s),
        }
    };
    let difference = |s: usize| {
        let q = quantities[s].minus(&quantities[baseline]);
        let apart: Vec<f64> = direct[s].iter().zip(&direct[baseline]).map(|(a, b)| a - b).collect();
        let common = |linear: &Linear| linear.coefficients.iter().all(|c| *c == 0.0);
        // With one of the two held common the difference of the other is known even where the values are not.
        let known = separable || common(&q.crr) || common(&q.cda);
        let shown = |linear: &Linear, direct: &[f64]| (known && !common(linear)).then(|| view.of(linear, direct));
        DifferenceForecast {
            setup: session.setups[s].id.clone(),
            baseline: session.setups[baseline].id.clone(),
            crr: shown(&q.crr, &none),
            cda_m2: shown(&q.cda, &none),
            power_w: shown(&q.power, &apart),
        }
    };
    let first = &quantities[baseline];
    let whole = &main.scatter + &main.open;
    let variance = |a: &Linear, b: &Linear| a.coefficients.dot(&(&whole * &b.coefficients));
    let correlation =
        variance(&first.crr, &first.cda) / (variance(&first.crr, &first.crr) * variance(&first.cda, &first.cda)).sqrt();
    Ok(Prediction {
        laps_of_run: choice.laps,
        runs: choice.runs.len(),
        separable,
        not_separable,
        estimator: "instruments",
        setups: (0..setups).map(single).collect(),
        differences: (0..setups).filter(|s| *s != baseline).map(difference).collect(),
        correlation: Some(correlation).filter(|c| separable && c.is_finite()),
        row_sd_m: Some(main.row_sd_m),
        scatter_ratio: scatter_ratio(&main, first),
    })
}

impl Prediction {
    /// Gusts that outlast a lap make true scatter larger than the laps can show.
    pub fn gusts_outlast_laps(&self) -> bool {
        self.scatter_ratio > OUTLASTING
    }
}

fn scatter_ratio(of: &Propagated, first: &SetupQuantities) -> f64 {
    let c = &first.power.coefficients;
    (c.dot(&(&of.scatter * c)) / c.dot(&(&of.scatter_by_lap * c))).sqrt()
}

/// What quantities are read from.
#[derive(Clone, Copy)]
struct View<'a> {
    day: &'a QuietDay,
    of: &'a Propagated,
    between: &'a BetweenRuns,
    /// Level of the strictest planned test.
    alpha: f64,
}

impl View<'_> {
    /// A linear quantity; `direct` is what each source does to it beside moving the parameters.
    fn of(&self, linear: &Linear, direct: &[f64]) -> Predicted {
        let c: &DVector<f64> = &linear.coefficients;
        let scatter_se = c.dot(&(&self.of.scatter * c)).max(0.0).sqrt();
        let instrument: f64 = self
            .of
            .shifts
            .iter()
            .map(|s| {
                let whole = c.dot(&s.parameters) + if s.run.is_none() { direct[s.source] } else { 0.0 };
                whole * whole
            })
            .sum();
        let instrument_se = instrument.sqrt();
        let spare = self.of.laps.saturating_sub(self.of.layout.shared).max(1) as f64;
        let dof = match &self.of.robust {
            Some(robust) => robust.contrast(c).moderated().dof,
            None => spare,
        };
        let confidence = self.day.session.solve.confidence;
        let scatter = Combined { standard_uncertainty: scatter_se, dof };
        let prior_se = c.dot(&(&self.of.open * c)).max(0.0).sqrt();
        let between = self.between.of(linear);
        let all = Uncertain {
            prior_se: Some(prior_se),
            run_to_run: Some(between),
            instrument_se: Some(instrument_se),
            ..Uncertain::of_laps(0.0, scatter)
        };
        let both = all.estimate(confidence);
        let se = both.se.unwrap_or(f64::NAN);
        let known = |x: f64| x.is_finite().then_some(x);
        let detectable = both.dof.map(|d| detectable_difference(se, d, self.alpha, POWER));
        Predicted {
            se,
            scatter_se,
            prior_se,
            run_to_run_se: between.standard_uncertainty,
            instrument_se,
            dof: both.dof,
            detectable: detectable.and_then(known),
        }
    }
}

/// What each source does to the watts of a set-up at given parameters: they are stated where power is measured.
fn direct(day: &QuietDay, session: &Session, setup: usize) -> Vec<f64> {
    let Some(truth) = day.truth.setups.get(setup) else { return vec![0.0; day.sources.len()] };
    let watts = |session: &Session| {
        let p = PowerAt::reference(session);
        p.per_crr_w * truth.crr + p.per_cda_w_m2 * truth.cda_m2 + p.bearing_w
    };
    day.sources
        .iter()
        .map(|s| {
            let by = |u: f64| {
                let mut other = session.clone();
                match s.input {
                    InputQuantity::Efficiency => other.rider_and_bike.drivetrain_efficiency += u,
                    InputQuantity::Bearing => {
                        other.rider_and_bike.bearing_friction.constant_n *= 1.0 + u;
                        other.rider_and_bike.bearing_friction.linear_n_s_per_m *= 1.0 + u;
                    }
                    _ => {}
                }
                watts(&other)
            };
            0.5 * (by(s.standard_uncertainty) - by(-s.standard_uncertainty))
        })
        .collect()
}

/// Crr m g + ½ρ CdA v² at the mean speed of a set-up, and that speed.
fn drag(design: &Design, q: &SetupQuantities, setup: usize) -> (Linear, f64) {
    let (mut weight_n, mut density, mut way_m, mut time_s, mut count) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for a in design.laps_of(setup) {
        let duration_s = a.edge_s[a.steps()] - a.edge_s[0];
        weight_n += a.weight_n;
        density += a.mean_density_kg_m3;
        way_m += a.mean_speed_m_s * duration_s;
        time_s += duration_s;
        count += 1.0;
    }
    let speed_m_s: f64 = way_m / time_s;
    let per_cda = 0.5 * density / count * speed_m_s * speed_m_s;
    let coefficients = &q.crr.coefficients * (weight_n / count) + &q.cda.coefficients * per_cda;
    (Linear { coefficients, constant: 0.0 }, speed_m_s)
}
