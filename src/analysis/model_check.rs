//! Does the model explain the day? The test of what a fit leaves along the loop, and where it is strongest.
//!
//! Given a solved loop; gives the result of the test, findings and the series of the figure. It changes no result.

use super::loop_venue::LoopVenue;
use super::{drag_bend, wind_turn};
use crate::evidence::{LeftAlong, ModelResidual};
use crate::finding::{Finding, LeftAtSpeed, Misfit, MostLeft, What};
use crate::quantity::km_h_from_m_s;
use crate::session::Venue;
use crate::solution::{DragBendResult, ModelCheck};
use crate::solve::account::LapAccount;
use crate::uncertainty::rows::Rows;
use crate::uncertainty::sign_flip::{Explained, GroupLeft, KnownEffect, Left, explained};

/// Probability below which chance is not believed.
const LEVEL: f64 = 0.01;
/// Days drawn, and the seed of the draws: fixed, so that the same rides have the same findings.
const DRAWS: usize = 999;
const SEED: u64 = 1;
/// What a sound account of a speed read once a second leaves of each class in a step, m (simulated days; common practice, no
/// source).
const FLOOR_M: f64 = 0.003;
const TRACK_FLOOR_M: f64 = 0.01;
/// A step is not looked at where speeds change so many times as differently from lap to lap as in most steps: there the rider
/// goes from one planned speed to the next, and one reading a second errs.
const CHANGING: f64 = 2.5;

/// What the check tells.
#[derive(Default)]
pub struct Checked {
    pub result: Option<ModelCheck>,
    pub residual: Option<ModelResidual>,
    pub findings: Vec<Finding>,
}

/// See the module. Nothing where there are too few laps to tell.
pub fn check(venue: &LoopVenue, kind: Venue) -> Checked {
    let Some(tested) = test(venue, kind) else { return Checked::default() };
    let residual = residual(venue, &tested);
    let findings = findings(&tested, &residual, &middles(venue));
    let Tested { explained, turn, bend, .. } = tested;
    let result = ModelCheck {
        level: LEVEL,
        draws: DRAWS,
        p_value: explained.p_value,
        p_by_run: explained.by_run,
        p_by_speed: explained.by_class,
        p_at_one_place: explained.at_one_place,
        p_of_turning_wind: turn.map_or(1.0, |effect| effect.p_value),
        drag_bends: bend
            .map(|effect| DragBendResult { p_value: effect.p_value, power_left_w: left_at_speeds(&residual) }),
    };
    Checked { result: Some(result), residual: Some(residual), findings }
}

/// The test, with the effects of known form by their names.
struct Tested {
    explained: Explained,
    turn: Option<KnownEffect>,
    bend: Option<KnownEffect>,
    /// Steps that are judged.
    is_kept: Vec<bool>,
}

/// Mean over the lap of what is left at each planned speed, W.
fn left_at_speeds(residual: &ModelResidual) -> Vec<f64> {
    let mean = |of: &LeftAlong| of.power_w.iter().sum::<f64>() / of.power_w.len().max(1) as f64;
    residual.classes.iter().map(mean).collect()
}

fn test(venue: &LoopVenue, kind: Venue) -> Option<Tested> {
    let fit = &venue.fit;
    let solved = venue.frame().solved(&venue.laps, fit).ok()?;
    let run: Vec<usize> = fit.used.iter().map(|i| venue.laps[*i].account.run).collect();
    let laps = solved.rows();
    let is_lacking = |j: usize| laps.jacobian.laps.iter().any(|lap| lap.missing.contains(&j));
    let place = middles(venue);
    let is_kept: Vec<bool> =
        steady_steps(venue).into_iter().enumerate().map(|(j, steady)| steady && !is_lacking(j)).collect();
    let turn = wind_turn::columns(&solved, &fit.parameters, &place, &is_kept);
    let bend = drag_bend::columns(&solved, &fit.parameters, &fit.classes, &is_kept);
    let (has_turn, has_bend) = (turn.is_some(), bend.is_some());
    let known: Vec<Rows> = turn.into_iter().chain(bend).collect();
    let left = Left {
        laps: &laps,
        inverse: &solved.inverse()?,
        weight: &fit.weight,
        run: &run,
        class: &fit.classes.of_lap,
        place: &place,
        is_kept: &is_kept,
        floor_m: if kind == Venue::Track { TRACK_FLOOR_M } else { FLOOR_M },
        known: &known,
    };
    let mut explained = explained(&left, DRAWS, SEED)?;
    let mut effects = std::mem::take(&mut explained.known).into_iter();
    let turn = if has_turn { effects.next() } else { None };
    let bend = if has_bend { effects.next() } else { None };
    Some(Tested { explained, turn, bend, is_kept })
}

/// Middle of each step as a share of the lap.
fn middles(venue: &LoopVenue) -> Vec<f64> {
    venue.cut.edge.windows(2).map(|e| 0.5 * (e[0] + e[1])).collect()
}

/// Whether laps change their speed alike in a step.
fn steady_steps(venue: &LoopVenue) -> Vec<bool> {
    let laps: Vec<Vec<f64>> =
        venue.fit.used.iter().map(|i| venue.laps[*i].account.node_speeds().collect::<Vec<f64>>()).collect();
    let steps = venue.cut.edge.len() - 1;
    let nodes = laps.first().map_or(0, Vec::len) / steps.max(1);
    let spread = |j: usize| {
        let change: Vec<f64> = laps.iter().map(|v| v[(j + 1) * nodes - 1] - v[j * nodes]).collect();
        let mean = change.iter().sum::<f64>() / change.len() as f64;
        (change.iter().map(|c| (c - mean).powi(2)).sum::<f64>() / change.len() as f64).sqrt()
    };
    let spread: Vec<f64> = (0..steps).map(spread).collect();
    let mut sorted = spread.clone();
    sorted.sort_by(f64::total_cmp);
    spread.iter().map(|s| *s <= CHANGING * sorted[steps / 2]).collect()
}

/// The pattern that chance explains least; a known form goes before one that is only described, and of two described alike
/// both are told.
fn findings(tested: &Tested, residual: &ModelResidual, place: &[f64]) -> Vec<Finding> {
    let Tested { explained, turn, bend, .. } = tested;
    if explained.p_value > LEVEL {
        return Vec::new();
    }
    let by_speed = explained.by_class.min(explained.at_one_place);
    let known = [turn, bend].into_iter().flatten().map(|effect| effect.p_value);
    let strongest = known.fold(explained.by_run.min(by_speed), f64::min);
    let is_told = |p: f64| p == strongest;
    if let Some(effect) = turn.as_ref().filter(|effect| is_told(effect.p_value)) {
        let turn_deg = wind_turn::largest(&effect.coefficient, place).to_degrees();
        let what = Misfit::WindTurns { p_value: effect.p_value, turn_deg };
        return vec![Finding::of_session(What::Misfit(what))];
    }
    if let Some(effect) = bend.as_ref().filter(|effect| is_told(effect.p_value)) {
        let speeds = residual.classes.iter().zip(left_at_speeds(residual));
        let speeds = speeds
            .map(|(class, power_w)| LeftAtSpeed { speed_km_h: km_h_from_m_s(class.speed_m_s), power_w })
            .collect();
        let what = Misfit::DragBends { p_value: effect.p_value, speeds };
        return vec![Finding::of_session(What::Misfit(what))];
    }
    let mut out = Vec::new();
    if let Some((left, most)) = most(&residual.runs, residual).filter(|_| is_told(explained.by_run)) {
        out.push(Finding::of_run(left.of, What::Misfit(Misfit::ByRun { p_value: explained.by_run, most })));
    }
    if let Some((left, most)) = most(&residual.classes, residual).filter(|_| is_told(by_speed)) {
        let speed_km_h = km_h_from_m_s(left.speed_m_s);
        out.push(Finding::of_session(What::Misfit(Misfit::BySpeed { p_value: by_speed, speed_km_h, most })));
    }
    out
}

/// The place where something is farthest beyond what chance explains.
fn most<'l>(groups: &'l [LeftAlong], residual: &ModelResidual) -> Option<(&'l LeftAlong, MostLeft)> {
    let ratio =
        |of: &LeftAlong, j: usize| if of.chance_w[j] > 0.0 { (of.power_w[j] / of.chance_w[j]).abs() } else { 0.0 };
    let all = groups.iter().flat_map(|of| (0..of.power_w.len()).map(move |j| (of, j)));
    let (of, j) =
        all.filter(|(_, j)| residual.is_judged[*j]).max_by(|(a, i), (b, j)| ratio(a, *i).total_cmp(&ratio(b, *j)))?;
    Some((of, MostLeft { power_w: of.power_w[j], distance_m: residual.distance_m[j] }))
}

/// The same as series: watts that the rider put in and the model does not explain.
fn residual(venue: &LoopVenue, tested: &Tested) -> ModelResidual {
    let used = &venue.fit.used;
    let along = |left: &GroupLeft, of_lap: &dyn Fn(usize) -> usize| -> LeftAlong {
        let laps: Vec<&LapAccount> =
            (0..used.len()).filter(|g| of_lap(*g) == left.label).map(|g| &venue.laps[used[g]].account).collect();
        let mean =
            |of: &dyn Fn(&LapAccount) -> f64| laps.iter().map(|lap| of(lap)).sum::<f64>() / laps.len().max(1) as f64;
        let watts = |metres: &[f64]| -> Vec<f64> {
            let per_metre = |j: usize| mean(&|lap| lap.weight_n / (lap.edge_s[j + 1] - lap.edge_s[j]));
            metres.iter().enumerate().map(|(j, m)| m * per_metre(j)).collect()
        };
        LeftAlong {
            of: left.label,
            speed_m_s: mean(&|lap| lap.mean_speed_m_s),
            power_w: watts(&left.mean_m),
            chance_w: watts(&left.chance_sd_m),
        }
    };
    ModelResidual {
        distance_m: middles(venue).iter().map(|share| share * venue.cut.length_m).collect(),
        is_judged: tested.is_kept.clone(),
        runs: tested.explained.runs.iter().map(|left| along(left, &|g| venue.laps[used[g]].account.run)).collect(),
        classes: tested.explained.classes.iter().map(|left| along(left, &|g| venue.fit.classes.of_lap[g])).collect(),
    }
}
