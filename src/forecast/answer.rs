//! The whole answer about a plan: what it can show, whether that is enough, and what would help.
//!
//! Given a plan; gives a [`Forecast`] for the terminal, the run sheet and `plan.json`. It writes and prints nothing.

use super::alternatives::{Alternative, alternatives, rounds_needed};
use super::by_rehearsal::{ByRehearsal, REHEARSALS, TogetherForecast, predict_by_rehearsal, predict_together};
use super::factors::factors;
use super::goal::{Measure, goals};
use super::in_words::place_of;
use super::laps_needed::{GoalReached, Laps, LapsTable};
use super::on_the_loop::on_the_loop;
use super::one_speed::{OneSpeed, one_speed};
use super::order::{OrderForecast, orders, orders_on_rollers};
use super::prediction::{Prediction, as_planned, predict};
use super::quiet::QuietDay;
use super::row_noise::RowNoise;
use super::speeds::{SpeedAdvice, best_speeds};
use crate::error::Error;
use crate::factor::FactorResult;
use crate::plan::{Plan, PlannedSetup};
use crate::session::Venue;
use crate::session::credible::{doubtful_crr, doubtful_mass, doubtful_run};
use serde::Serialize;

/// Version of `plan.json`.
pub const FORECAST_SCHEMA: u32 = 1;
/// Gusts above this share of the slowest speed are no longer a small disturbance.
const STRONG_GUSTS: f64 = 0.15;
/// Below so many degrees of freedom an error is itself hardly known.
const FEW_DOF: f64 = 5.0;

/// Parts of the work for a loop: the day as planned, targets, rounds, other plans, speeds, orders, laps, one speed.
const PARTS_ON_A_LOOP: usize = 8;

/// What a plan can show.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Forecast {
    pub schema: u32,
    pub loopwright: String,
    pub title: String,
    pub confidence: f64,
    /// Chance with which a detectable difference is found.
    pub power: f64,
    pub reference_speed_km_h: f64,
    pub order: Vec<String>,
    /// 0 when every run is on rollers.
    pub laps_per_run: usize,
    pub speeds_km_h: Vec<f64>,
    /// Where the laps are planned by power; the speeds are then those that they hold on the level in still air.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub powers_w: Vec<f64>,
    /// Length of a run on rollers; `null` when every run is on a loop.
    pub rollers_run_s: Option<f64>,
    pub loop_length_m: Option<f64>,
    /// Of the runs on the loop where a day mixes venues.
    pub prediction: Option<Prediction>,
    /// On a day of loop and rollers, the differences that both see.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub together: Option<TogetherForecast>,
    /// What a day at one speed gives and what would add to it; `null` where two speeds are planned.
    pub one_speed: Option<OneSpeed>,
    /// In what the lists below are counted: that of the first target, else watts.
    pub measure: Measure,
    pub goals: Vec<GoalReached>,
    /// Rounds of the whole order that reach every target which laps alone do not; `null` when none do or none is needed.
    pub rounds_needed: Option<usize>,
    pub alternatives: Vec<Alternative>,
    pub best_speeds: Option<SpeedAdvice>,
    /// What would be said of the factors if the set-ups are as planned and the day has no chance in it; `null` without factors.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub factors: Option<FactorResult>,
    pub orders: Vec<OrderForecast>,
    pub laps: Option<LapsTable>,
    /// Where the prediction cannot hold, and what it leaves out.
    pub caveats: Vec<String>,
}

/// Predicts a plan and what would change it.
///
/// Errors: those of [`Plan::check`] and of riding it without noise.
///
/// ```
/// use loopwright::forecast::forecast;
/// use loopwright::plan::Plan;
/// let plan = Plan::from_toml(
///     r#"
///     order = ["a", "b", "b", "a"]
///     laps_per_run = 4
///     speeds_km_h = [29.0, 41.0]
///     rider_and_bike.mass_kg = 85.0
///     loop.length_m = 900.0
///     solve.cda = "common"
///     target.power_w = 4.0
///     [[setup]]
///     id = "a"
///     cda_m2 = 0.30
///     crr = 0.0045
///     [[setup]]
///     id = "b"
///     cda_m2 = 0.30
///     crr = 0.0041
///     "#,
///     "PLAN.toml",
/// )?;
/// let forecast = forecast(&plan)?;
/// assert!(forecast.goals[0].detectable.is_some());
/// # Ok::<(), loopwright::error::Error>(())
/// ```
pub fn forecast(plan: &Plan) -> Result<Forecast, Error> {
    forecast_in_parts(plan, &|| ())
}

/// Number of parts in which [`forecast_in_parts`] works.
pub fn forecast_parts(plan: &Plan) -> usize {
    let rollers = plan.runs_on(Venue::Rollers);
    let rehearsals = if rollers == 0 { 0 } else { REHEARSALS as usize };
    rehearsals + if rollers == plan.order.len() { 0 } else { PARTS_ON_A_LOOP }
}

/// As [`forecast`]; `at_each` is called as each part of the work begins; whoever unwinds out of it ends it.
///
/// Errors: those of [`forecast`].
pub fn forecast_in_parts(plan: &Plan, at_each: &(dyn Fn() + Sync)) -> Result<Forecast, Error> {
    plan.check()?;
    let goals = goals(&plan.target);
    let measure = goals.first().map_or(Measure::PowerW, |g| g.measure);
    let rollers = plan.runs_on(Venue::Rollers);
    let mut out = Forecast {
        schema: FORECAST_SCHEMA,
        loopwright: env!("CARGO_PKG_VERSION").to_string(),
        title: plan.title.clone(),
        confidence: plan.solve.confidence,
        power: super::prediction::POWER,
        reference_speed_km_h: plan.reference.speed_km_h,
        order: plan.order.clone(),
        laps_per_run: if rollers == plan.order.len() { 0 } else { plan.laps_per_run },
        rollers_run_s: (rollers > 0).then_some(plan.run_duration_s),
        speeds_km_h: plan.lap_speeds_km_h(),
        powers_w: plan.powers_w.clone(),
        loop_length_m: plan.circuit.length_m,
        prediction: None,
        together: None,
        one_speed: None,
        measure,
        goals: Vec::new(),
        rounds_needed: None,
        alternatives: Vec::new(),
        best_speeds: None,
        factors: None,
        orders: Vec::new(),
        laps: None,
        caveats: doubts(plan),
    };
    let Some(on_the_loop) = on_the_loop(plan) else {
        let ByRehearsal { predicted: prediction, caveat } = predict_by_rehearsal(plan, at_each)?;
        out.caveats.extend(caveat);
        out.goals = goals.into_iter().map(|g| GoalReached::of(g, &prediction)).collect();
        out.orders = orders_on_rollers(plan);
        out.factors = factors(plan, &prediction);
        out.caveats.push(format!(
            "On rollers the errors are those that solving {REHEARSALS} rehearsals reports; with another warm-up they differ. \
             A longer run, a weighing more and the stated no-load drag help most."
        ));
        out.prediction = Some(prediction);
        return Ok(out);
    };
    if on_the_loop.order.len() < plan.order.len() {
        let place = place_of(&on_the_loop);
        let alone = format!("Tables without the word «together» are of the runs on the {place} alone.");
        match predict_together(plan, at_each) {
            Ok(together) => {
                out.caveats.extend(together.caveat);
                out.together = together.predicted;
            }
            Err(why) => out.caveats.push(format!(
                "What {place} and rollers say together is not predicted, because rehearsals of the day cannot be solved: {why}"
            )),
        }
        out.caveats.push(alone);
    }
    let plan = &on_the_loop;
    at_each();
    let day = QuietDay::ride(plan)?;
    let choice = as_planned(&day, plan);
    let noise = RowNoise::of(&plan.noise);
    let prediction = predict(&day, &choice, &noise)?;
    let laps = Laps { day: &day, choice: &choice, noise: &noise };
    at_each();
    let together = |g: &GoalReached| out.together.as_ref().and_then(|t| g.goal.measure.of_all(&t.differences));
    let judged = |goal| {
        let on_the_loop = laps.judge(goal);
        let found = together(&on_the_loop);
        on_the_loop.or_with(found)
    };
    out.goals = goals.into_iter().map(judged).collect();
    at_each();
    let beyond: Vec<&GoalReached> = out.goals.iter().filter(|g| !g.reached && g.laps_per_run.is_none()).collect();
    let rounds: Vec<Option<usize>> =
        beyond.iter().map(|g| rounds_needed(&day, &choice, &noise, g.goal.measure, g.goal.target)).collect();
    out.rounds_needed = rounds.into_iter().reduce(|a, b| Some(a?.max(b?))).flatten();
    at_each();
    out.alternatives = alternatives(plan, &day, &choice, &noise, measure);
    at_each();
    out.best_speeds = Some(best_speeds(plan, &noise, measure));
    at_each();
    out.orders = orders(plan, &day, &choice, &noise);
    out.factors = factors(plan, &prediction);
    at_each();
    out.laps = Some(laps.table());
    at_each();
    out.one_speed = one_speed(plan, &day, &choice, &noise, &prediction);
    out.caveats.extend(caveats(plan, &prediction));
    out.prediction = Some(prediction);
    Ok(out)
}

/// Values of the plan that are hardly meant.
fn doubts(plan: &Plan) -> Vec<String> {
    let of = |setup: &PlannedSetup| format!(" of {}", setup.id);
    let runs = (0..plan.order.len()).map(|run| plan.nominal_duration_s(run));
    doubtful_mass(plan.rider_and_bike.mass_kg)
        .into_iter()
        .chain(plan.setups.iter().filter_map(|s| doubtful_crr(&of(s), s.crr)))
        .chain(doubtful_run(runs.fold(0.0, f64::max)))
        .collect()
}

fn caveats(plan: &Plan, prediction: &Prediction) -> Vec<String> {
    let mut out = Vec::new();
    let speeds = plan.distinct_speeds_km_h();
    if speeds.len() == 2 && prediction.separable {
        out.push(
            "With two speeds a rider who sits up in slow laps goes unseen: 2 % more drag in them moves Crr by 0.0005 and CdA by \
             0.006 m², and differences hardly at all. Where the values themselves count, plan three speeds."
                .into(),
        );
    }
    if prediction.gusts_outlast_laps() {
        out.push(format!(
            "Gusts of {:.0} s outlast a lap, so laps that follow each other err alike: their scatter is {:.0} % larger than the ± of \
             the result will say. The errors predicted here allow for that.",
            plan.noise.gust_time_s,
            100.0 * (prediction.scatter_ratio - 1.0)
        ));
    }
    let slowest = crate::quantity::m_s_from_km_h(speeds.first().copied().unwrap_or(30.0));
    if plan.noise.gust_sd_m_s > STRONG_GUSTS * slowest {
        out.push(format!(
            "Gusts of {:.1} m/s are strong against {:.0} km/h; the prediction treats them as small and is too hopeful. \
             Rehearse the plan.",
            plan.noise.gust_sd_m_s, speeds[0]
        ));
    }
    let dof = prediction.differences.iter().filter_map(|d| d.power_w?.dof);
    let dof = dof.chain(prediction.setups.iter().filter_map(|s| s.power_w?.dof)).fold(f64::INFINITY, f64::min);
    if dof < FEW_DOF {
        out.push(format!(
            "The ± that such a day reports is itself known only to some {:.0} %, because few runs and laps show how large chance is. \
             Ride each set-up more often to make it firm.",
            100.0 / (2.0 * dof.max(0.5)).sqrt()
        ));
    }
    let supposed = plan.uncertainty.run_to_run(plan.circuit.kind);
    if plan.day.cda_run_to_run == 0.0 && plan.day.crr_run_to_run == 0.0 && supposed > 0.0 {
        out.push(format!(
            "Mounting a set-up again is supposed to change its resistance by {} (uncertainty.run_to_run_fraction). More laps do not \
             help against that, more runs do. A rehearsal has such changes only where [day] states them.",
            crate::wording::percent(supposed)
        ));
    }
    if !plan.mishaps.is_empty() {
        out.push("The planned mishaps are not predicted; a rehearsal has them.".into());
    }
    let turning = format!("a wind that turns along the {}", place_of(plan));
    let unpredicted: Vec<&str> = [
        (plan.day.junction_at.is_some(), "stops at a junction"),
        (plan.day.wind_turns_deg != 0.0, turning.as_str()),
        (plan.day.slow_lap_cda_excess != 0.0, "a rider who sits up in slow laps"),
    ]
    .into_iter()
    .filter_map(|(happens, what)| happens.then_some(what))
    .collect();
    if !unpredicted.is_empty() {
        out.push(format!(
            "Not predicted: {}. Rehearse the plan with --repeat to see what it does to bias and intervals.",
            unpredicted.join(", ")
        ));
    }
    if plan.noise.wind_drift_m_s_per_h != 0.0 {
        out.push("What a wind that grows through the day does is predicted only in part; rehearse it.".into());
    }
    out
}
