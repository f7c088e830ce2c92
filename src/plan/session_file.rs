//! The session a tester would write for a planned day.
//!
//! Given a plan and what the scale showed before each run; gives a [`Session`] and its text. It holds stated values
//! only, never the true ones.

use super::plan_file::Plan;
use crate::session::{Air, Circuit, Run, Session, Setup, Venue, Wind, WindMode};

/// Height at which a given wind is stated: that of the rider, so that nothing is scaled.
const WIND_HEIGHT_M: f64 = crate::constant::RIDER_HEIGHT_M;

/// The session of a day; `stated_kg` holds one mass a run.
pub(crate) fn session_of(plan: &Plan, stated_kg: &[f64], wind_scale: f64) -> Session {
    let kind = plan.circuit.kind;
    let track = kind == Venue::Track;
    let circuit = Circuit {
        kind,
        length_m: plan.circuit.length_m.filter(|_| track || !plan.circuit.has_positions()),
        length_sd_m: None,
        survey: plan.circuit.survey_sd_m.map(|_| "survey.csv".to_string()),
        survey_sd_m: plan.circuit.survey_sd_m,
        level: plan.circuit.level,
        bend_radius_m: plan.circuit.track_bend().map(|b| b.radius_m),
        transition_m: plan.circuit.track_bend().map(|b| b.transition_m),
        home_straight_bearing_deg: plan.circuit.home_straight_bearing_deg.filter(|_| track),
        gate: None,
        temperature_coefficient_per_c: plan.circuit.temperature_coefficient_per_c,
        reference_temperature_c: plan.circuit.reference_temperature_c,
    };
    let wind = match plan.wind.mode {
        WindMode::Given => Wind {
            mode: WindMode::Given,
            speed_m_s: Some(plan.wind.speed_m_s * wind_scale),
            from_deg: Some(plan.wind.from_deg),
            mast_height_m: WIND_HEIGHT_M,
            ..Wind::default()
        },
        mode => Wind { mode, expected_m_s: plan.wind.expected_m_s, ..Wind::default() },
    };
    let run = |i: usize, id: &String| Run {
        file: format!("run-{}.fit", i + 1),
        setup: id.clone(),
        mass_kg: stated_kg.get(i).copied(),
        tyre_temperature_c: plan.run_tyre_temperature_c.get(i).copied(),
        planned_speed_km_h: if plan.venue_of(i) == Venue::Rollers { Vec::new() } else { plan.lap_speeds_km_h() },
        on: Some(plan.venue_of(i)).filter(|v| *v != kind),
        ..Run::default()
    };
    Session {
        title: plan.title.clone(),
        baseline: plan.baseline.clone(),
        rider_and_bike: plan.rider_and_bike.clone(),
        uncertainty: plan.uncertainty.clone(),
        circuit,
        air: Air {
            temperature_c: Some(plan.air.temperature_c),
            pressure_hpa: Some(plan.air.pressure_hpa),
            humidity_pct: Some(plan.air.humidity_pct),
            log: None,
        },
        wind,
        expected: plan.expected,
        solve: plan.solve.clone(),
        reference: plan.reference.clone(),
        rollers: plan.rollers.clone(),
        setups: plan
            .setups
            .iter()
            .map(|s| Setup { id: s.id.clone(), label: s.label.clone(), factors: s.factors.clone() })
            .collect(),
        runs: plan.order.iter().enumerate().map(|(i, id)| run(i, id)).collect(),
    }
}

/// The text of a session file.
pub fn session_toml(session: &Session) -> String {
    // Every value is a plain number, text or table, so that writing cannot fail.
    toml::to_string(session).unwrap_or_default()
}
