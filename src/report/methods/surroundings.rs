//! Paragraphs on air and wind.
//!
//! Given session and solution; gives words.

use super::super::number::{fixed, listed, significant};
use super::super::sources::Source;
use super::super::units::Units;
use super::paragraph::{Paragraph, cite};
use super::ridden::{has_loops, largest};
use crate::session::{AirHere, Gusts, GustsWord, Session, WindMode};
use crate::solution::Solution;
use crate::solve::fit::DRIFT_SHARE;

pub(super) fn air(session: &Session, solution: &Solution, units: Units) -> Option<Paragraph> {
    if !has_loops(session) {
        return None;
    }
    let air = &session.air;
    let mut sources = vec![Source::Picard];
    let mut text = vec![format!("Air density follows CIPM-2007 {} from", cite(Source::Picard))];
    let stated = |value: Option<String>, name: &str| match value {
        _ if air.log.is_some() => format!("{name} of the weather log"),
        Some(value) => format!("{name} {value} (stated)"),
        None => format!("{name} as the findings say"),
    };
    let temperature = |t: f64| format!("{} {}", significant(units.temperature_value(t), 5), units.temperature_unit());
    let items = [
        stated(air.temperature_c.map(temperature), "temperature"),
        stated(air.pressure_hpa.map(|p| units.air_pressure(p)), "station pressure"),
        stated(air.humidity_pct.map(|h| format!("{} %", significant(h, 5))), "humidity"),
    ];
    text.push(format!("{}.", listed(&items)));
    if session.runs.iter().any(|run| session.air_here(run) != AirHere::default()) {
        text.push("Readings at a run or its venue hold for that run.".into());
    }
    if air.pressure_hpa.is_none() && air.log.is_none() {
        text.push(format!(
            "A pressure that was not stated is that of the standard atmosphere at the elevation of the ride {}.",
            cite(Source::Iso2533)
        ));
        sources.push(Source::Iso2533);
    }
    let densities: Vec<f64> =
        solution.runs.iter().filter_map(|run| run.air_density_kg_m3).filter(|d| d.is_finite()).collect();
    if let (Some(low), Some(high)) =
        (densities.iter().copied().reduce(f64::min), densities.iter().copied().reduce(f64::max))
    {
        let (low, high) = (fixed(Some(low), 3), fixed(Some(high), 3));
        text.push(if low == high {
            format!("It was {low} kg/m³.")
        } else {
            format!("It was {low} to {high} kg/m³ in the means of the runs.")
        });
    }
    Paragraph::new("Air", &text, &sources)
}

pub(super) fn wind(session: &Session, solution: &Solution, units: Units) -> Option<Paragraph> {
    if !has_loops(session) {
        return None;
    }
    let mut sources = Vec::new();
    let mut text = match session.wind.mode {
        WindMode::Estimate => estimated(session, solution, units),
        WindMode::Given => {
            sources.push(Source::WmoGuide);
            vec![given(session)]
        }
        WindMode::None => vec!["The air is taken as still, as stated.".to_string()],
    };
    let spread = largest(solution.runs.iter().map(|run| run.wind.gust_m_s));
    match (session.wind.gusts, session.wind.mode) {
        (_, WindMode::None) => {}
        (Gusts::Word(GustsWord::None), _) => text.push("Gusts add no drag, as stated.".into()),
        (Gusts::StandardDeviation(sd), _) => text.push(format!(
            "Gusts with a standard deviation of {} m/s along travel, as stated, add to the mean drag, which grows with the \
             square of the wind.",
            significant(sd, 3)
        )),
        (Gusts::Word(GustsWord::Estimate), _) => {
            if let Some(gust) = spread {
                sources.extend([Source::En1991, Source::EfronStein]);
                let size = match gust {
                    gust if gust < 0.005 => "nothing of them here".to_string(),
                    gust => format!("{} {} over all runs", fixed(Some(units.wind_value(gust)), 2), units.wind_unit()),
                };
                text.push(format!(
                    "Drag grows with the square of the wind, so gusts add to its mean. Their standard deviation along \
                     travel, {size}, is seen in what residuals of short steps 2.5 to 12 s apart still share, \
                     when the scatter of a power meter is gone; it is taken to fade with a time constant near 2.8 s \
                     {}. Leaving out one lap at a time tells its uncertainty {}.",
                    cite(Source::En1991),
                    cite(Source::EfronStein)
                ));
            }
        }
    }
    let corrected = spread.is_some() && solution.runs.iter().any(|run| run.wind.east_m_s.se.is_some());
    if corrected {
        text.push(
            "The square of the fitted wind's own error would pass for drag that is not there and is taken off.".into(),
        );
    }
    Paragraph::new("Wind", &text, &sources)
}

fn estimated(session: &Session, solution: &Solution, units: Units) -> Vec<String> {
    let fitted = solution.runs.iter().any(|run| run.wind.east_m_s.se.is_some());
    if !fitted {
        return vec!["Without a line with bearings wind cannot be told; the air is taken as still.".into()];
    }
    let mut text = vec![
        "Wind is one vector for each run at the height of the rider, solved together with CdA and Crr: its effect changes \
         sign with the heading."
            .to_string(),
    ];
    let drifting = solution.runs.iter().filter(|run| run.wind.drift_east_m_s.value.is_some()).count();
    if drifting > 0 {
        text.push("In a run of five laps or more it may change linearly with time.".into());
    }
    let expected_m_s = session.wind.expected_m_s;
    text.push(format!(
        "Each component is expected to be 0 ± {} m/s{}.",
        significant(expected_m_s, 2),
        match drifting {
            0 => String::new(),
            _ =>
                format!(" and its change to the end of the run 0 ± {} m/s", significant(DRIFT_SHARE * expected_m_s, 2)),
        }
    ));
    if !solution.circuit.wind_along.is_empty() {
        text.push(
            "What share of it is met at each place of the loop is common to all runs: the logarithm of the share is a sum of \
             waves round the loop, each expected to be 0 ± 0.5 κ over its number. κ, between 0 in the open and 1.5, is the mean of \
             what the rides say of it."
                .into(),
        );
    }
    if !solution.yaw.is_empty() {
        text.push(
            "Drag may depend on yaw, CdA (1 + k sin²ψ), with w·w∥ as the square of the air speed; k is expected to be \
             0.3 ± 1.2, as published curves are. Differences of wind between runs tell it only as far as they are larger than \
             the errors of the fitted winds."
                .into(),
        );
    }
    if let Some(strongest) = largest(solution.runs.iter().map(|run| run.wind.speed_m_s)) {
        text.push(format!(
            "The strongest mean of a run was {} {}.",
            fixed(Some(units.wind_value(strongest)), 1),
            units.wind_unit()
        ));
    }
    text
}

fn given(session: &Session) -> String {
    let wind = &session.wind;
    let value = match (wind.speed_m_s, wind.from_deg) {
        (Some(speed), Some(from)) => format!("{} m/s from {}°", significant(speed, 3), significant(from, 3)),
        _ => "that of the weather log".into(),
    };
    format!(
        "Wind is given: {value} at {} m above ground, brought to the height of the rider by the logarithmic profile with a \
         roughness length of {} m {}, with a standard uncertainty of {} %.",
        significant(wind.mast_height_m, 3),
        significant(wind.roughness_length_m, 3),
        cite(Source::WmoGuide),
        significant(session.uncertainty.wind_fraction * 100.0, 3),
    )
}
