//! Paragraph on how CdA and Crr come out of the accounts of all laps.
//!
//! Given session and solution; gives words.

use super::super::crr_drift;
use super::super::crr_held;
use super::super::number::{counted, fixed, significant};
use super::super::sources::Source;
use super::super::units::Units;
use super::super::verdict::name_of;
use super::paragraph::{Paragraph, cite};
use super::ridden::{has_loops, loop_runs};
use crate::session::{Lag, Session, Sharing, WindMode};
use crate::solution::Solution;

pub(super) fn estimation(session: &Session, solution: &Solution, units: Units) -> Option<Paragraph> {
    if !has_loops(session) {
        return None;
    }
    let mut sources = Vec::new();
    let mut text = Vec::new();
    if session.setups.len() > 1 {
        let sharing = |sharing: Sharing| match sharing {
            Sharing::Common => "one value common to all set-ups",
            Sharing::PerSetup => "one value for each set-up",
        };
        text.push(format!("CdA: {}. Crr: {}.", sharing(session.solve.cda), sharing(session.solve.crr)));
    }
    text.push(together(session, solution));
    text.push(
        "Fast laps scatter more than slow ones, so a lap weighs as v^−q; q makes the misclosures most likely, with a prior \
         of 3.5 ± 1 from the physics of gusts and power meters."
            .into(),
    );
    text.extend(estimator(session, solution, &mut sources));
    text.push(expectations(session));
    text.push(between_runs(session, &mut sources));
    text.extend(tyre_temperature(session, solution, &mut sources));
    text.extend(drift(session, solution));
    text.extend(separation(solution, units));
    if !solution.separable {
        text.push(not_separable(solution));
    }
    text.push(if solution.solver.converged {
        format!("The solver settled after {}.", counted(solution.solver.iterations as usize, "step"))
    } else {
        format!("The solver did not settle within {} steps; the best point is given.", solution.solver.iterations)
    });
    Paragraph::new("Estimation", &text, &sources)
}

/// What is solved together and from where the search starts.
fn together(session: &Session, solution: &Solution) -> String {
    let (lags, winds) = (matches!(session.solve.lag, Lag::Word(_)), session.wind.mode == WindMode::Estimate);
    let also = match (lags, winds) {
        (true, true) => ", winds and lags",
        (true, false) => " and lags",
        (false, true) => " and winds",
        (false, false) => "",
    };
    let starts = match solution.solver.starts {
        0 | 1 => String::new(),
        n => format!(", from {n} starts of the wind"),
    };
    format!("Profile, coefficients{also} are solved together; the search begins with least squares{starts}.")
}

/// What stands for what the rides cannot tell.
fn expectations(session: &Session) -> String {
    let e = &session.expected;
    format!(
        "What is expected beforehand enters as one more row for each parameter: CdA {} ± {} m², Crr {} within a factor of e to \
         the ± {}, and those of wind, lag and yaw. It is weighed against the long-run variance of a step, decides only what the \
         rides leave open, and its width is part of every interval, with a line of the budget each.",
        significant(e.cda_m2, 2),
        significant(e.cda_sd_m2, 2),
        significant(e.crr, 2),
        significant(e.crr_fraction, 2),
    )
}

/// What changes between runs.
fn between_runs(session: &Session, sources: &mut Vec<Source>) -> String {
    sources.push(Source::PattersonThompson);
    format!(
        "The run is the unit of replication: each run is given a value of its own with all else shared as stated, and what \
         changes between runs of one set-up, a share τ of the resistance, is mixed into the set-ups with the prior of half a \
         Student's t with 3 degrees of freedom and scale {} and the restricted likelihood {}.",
        significant(session.uncertainty.run_to_run(session.circuit.kind), 2),
        cite(Source::PattersonThompson),
    )
}

/// How laps were sorted by planned speed.
fn classes(session: &Session, solution: &Solution) -> String {
    let count = solution.runs.iter().flat_map(|r| &r.laps).filter_map(|lap| lap.planned_speed_class).max();
    let mut planned: Vec<u64> = loop_runs(session).flat_map(|r| &r.planned_speed_km_h).map(|v| v.to_bits()).collect();
    planned.sort_unstable();
    planned.dedup();
    let stated = loop_runs(session).all(|run| !run.planned_speed_km_h.is_empty()) && Some(planned.len()) == count;
    match count {
        Some(count) if count > 1 => format!(
            "The {count} planned speeds, {}, serve",
            if stated { "stated in the session" } else { "seen as clear gaps between the mean speeds of laps" }
        ),
        // Without classes each lap's own mean speed stands for its plan.
        _ => "The mean speed of each lap, times the mean course of speed along a lap, serves".into(),
    }
}

fn estimator(session: &Session, solution: &Solution, sources: &mut Vec<Source>) -> Vec<String> {
    sources.extend([Source::Sargan, Source::Wooldridge]);
    let of_cda = match solution.separable {
        true => "",
        false => " Where planned speeds do not differ CdA has no instrument and rests on what is expected of it.",
    };
    let mut text = vec![format!(
        "A gust changes the speed it should explain, so least squares leans to a low CdA and a high Crr. A plan is what no \
         gust can change. {} as instruments ({}; {}): from the point of least squares, the equations are solved in which the \
         residual has no part along the model's own columns taken at the mean speed and power of laps of one plan, in each \
         run's own air, mass and wind.{of_cda}",
        classes(session, solution),
        Source::Sargan.cited(),
        Source::Wooldridge.cited(),
    )];
    text.extend(solution.separation.first_stage_f.filter(|f| f.is_finite()).map(|f| {
        sources.push(Source::StaigerStock);
        let strength = significant(f, 3);
        format!("Their first-stage F is {strength}, where less than 10 would be weak {}.", cite(Source::StaigerStock))
    }));
    text
}

/// Crr brought to a reference temperature.
fn tyre_temperature(session: &Session, solution: &Solution, sources: &mut Vec<Source>) -> Option<String> {
    let rule = solution.circuit.tyre_rule?;
    sources.push(Source::Iso28580);
    let read = loop_runs(session).filter(|run| run.tyre_temperature_c.is_some()).count();
    let temperature = match loop_runs(session).count() {
        all if all == read => "the temperature read at the tyres",
        _ if read == 0 => "the temperature of the air, which stands for that of the tyres",
        _ => "the temperature read at the tyres or, where there is none, that of the air",
    };
    let uncertainty = match rule.standard_uncertainty_per_c {
        u if u > 0.0 => format!("± {} ", significant(u, 2)),
        _ => String::new(),
    };
    let whose = if rule.is_supposed { "as bicycle tyres have it, since none was stated" } else { "as stated" };
    Some(format!(
        "Crr is brought to {} °C with {} {uncertainty}per °C, {whose}, in the form of {}, from {temperature}.",
        significant(rule.reference_c, 3),
        significant(rule.coefficient_per_c, 3),
        Source::Iso28580.cited()
    ))
}

/// What a drift of Crr is, where one was asked for.
fn drift(session: &Session, solution: &Solution) -> Option<String> {
    session.solve.crr_drift.then(|| {
        format!(
            "Crr may change linearly in time over the day, by one rate common to all set-ups, counted from the mean moment of \
             the laps used. A power meter whose zero creeps would look alike. {}",
            crr_drift::sentence(solution)
        )
        .trim_end()
        .to_string()
    })
}

fn separation(solution: &Solution, units: Units) -> Option<String> {
    let separation = &solution.separation;
    let (low, high) = (separation.speed_min_m_s?, separation.speed_max_m_s?);
    let correlation = separation.correlation.filter(|r| r.is_finite() && solution.separable);
    let speed = |v: f64| fixed(Some(units.speed_value(v)), 1);
    let speeds = format!("from {} to {} {}", speed(low), speed(high), units.speed_unit());
    // One number stands for all set-ups only where there is one.
    let whose = match solution.setups.len() {
        0 | 1 => String::new(),
        _ => format!(" of {}", name_of(solution, &solution.baseline)),
    };
    Some(match solution.separable {
        true => format!(
            "Lap speeds {speeds} tell CdA from Crr{}.",
            correlation.map_or(String::new(), |r| format!(
                " (correlation of the two estimates{whose} {})",
                fixed(Some(r), 2).replace('-', "−")
            ))
        ),
        false => format!("Lap speeds {speeds} do not tell CdA from Crr."),
    })
}

fn not_separable(solution: &Solution) -> String {
    let mut text = String::from(
        "Neither is reported. Differences are, where one of the two is shared, and so is the resistance at the mean speed",
    );
    if let Some(held) = crr_held::words(solution) {
        text.push_str(&format!(", with the CdA that goes with it if Crr is {held}"));
    }
    text.push('.');
    text
}
