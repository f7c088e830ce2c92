//! Paragraphs on what was ridden and on the energy account: runs, model terms, air, wind, alignment.
//!
//! Given session and solution; gives words.

use super::super::laps_left_out;
use super::super::number::{counted, fixed, listed, measured, significant};
use super::super::sources::Source;
use super::super::units::Units;
use super::{Paragraph, cite, has_loops, has_venue};
use crate::session::{Lag, LapSource, Session, Venue, WindMode};
use crate::solution::Solution;

pub(super) fn rides(session: &Session, solution: &Solution, units: Units) -> Option<Paragraph> {
    let mut venues = Vec::new();
    for (venue, words) in
        [(Venue::Road, "a closed loop on the road"), (Venue::Track, "a track"), (Venue::Rollers, "twin-drum rollers")]
    {
        if has_venue(session, venue) {
            venues.push(words.to_string());
        }
    }
    let runs = counted(session.runs.len(), "run");
    let setups = counted(session.setups.len(), "set-up");
    let mut text = vec![format!("{runs} of {setups} on {}.", listed(&venues))];
    if has_loops(session) {
        if let Some(length) = solution.circuit.length_m.filter(|l| l.is_finite()) {
            let origin = if session.circuit.length_m.is_some() { "as stated" } else { "found from the rides" };
            text.push(format!("The loop is {} long, {origin}.", units.length(length)));
        }
        let device = session.runs.iter().filter(|run| run.laps == LapSource::Device).count();
        text.push(match device {
            0 => {
                "Laps are cut at passes of the gate where there are positions, else at regular lap marks, else by the \
                  stated length."
                    .to_string()
            }
            n if n == session.runs.len() => "Laps are cut at the lap marks of the device.".into(),
            n => format!(
                "Laps are cut at the lap marks of the device in {}, else at passes of the gate.",
                counted(n, "run")
            ),
        });
        text.push(laps_left_out::sentence(solution));
        let stated = session.runs.iter().any(|run| !run.leave_out.is_empty() || !run.keep.is_empty());
        if stated {
            text.push("Some laps were left out or kept by the rider's own statement.".into());
        }
        text.push("Marked laps are kept in the data and shown.".into());
    }
    Paragraph::new("Rides", &text, &[])
}

pub(super) fn energy(session: &Session) -> Option<Paragraph> {
    if !has_loops(session) {
        return None;
    }
    let mut text = vec![
        format!(
            "The work of the rider that reaches the road equals the change of kinetic and potential energy plus what \
             rolling, air and bearings take, with the terms of {}: ηP = d/dt[½mu² + ½(I/r²)v² + mg(z + h(cos φ − 1))] + \
             Crr·N·v + ½ρ·CdA·w·w∥·u + (b₀ + b₁v)v.",
            Source::Martin.cited()
        ),
        "It is summed over time without differentiating speed, and solved for the height z of the road, which must be \
         the same at every pass of a place."
            .into(),
    ];
    text.push(if has_venue(session, Venue::Track) {
        format!(
            "In the bends (radius {} m) the bicycle leans: the centre of mass rides slower and lower than the wheels, \
             and the load on the tyres rises.",
            session.circuit.bend_radius_m.map_or("as found".into(), |r| significant(r, 4))
        )
    } else {
        "Where the road bends the bicycle leans; the lower path of the centre of mass and the higher load on the tyres \
         are part of the account, with the curvature of the mean line of all laps."
            .into()
    });
    text.push(format!(
        "Free fall is that of the WGS84 ellipsoid at the place, where it is known {}.",
        cite(Source::Nga)
    ));
    if session.circuit.survey.is_some() {
        let sd = session
            .circuit
            .survey_sd_m
            .map_or(String::new(), |sd| format!(" with a standard deviation of {} m", significant(sd, 3)));
        text.push(format!("The elevation profile leans on a survey{sd}; the rides may correct it."));
    } else {
        text.push("No elevation data is used: the profile is solved from the rides.".into());
    }
    Paragraph::new("Energy account", &text, &[Source::Martin, Source::Nga])
}

pub(super) fn rollers(session: &Session) -> Option<Paragraph> {
    if !has_venue(session, Venue::Rollers) {
        return None;
    }
    let rollers = &session.rollers;
    let mut text = vec![
        "On the rollers there is no air drag and no slope: the work that reaches the drums is taken by the tyres, the \
         bearings and the drums. Crr is energy over load times distance in a window after the warm-up, found by a test \
         for a remaining trend."
            .to_string(),
        format!(
            "The rear wheel stands between two drums of {} m, {} m apart; the front wheel {}.",
            significant(rollers.drum_diameter_m, 4),
            significant(rollers.drum_spacing_m, 4),
            if rollers.front_driven { "turns a third drum over a belt" } else { "does not drive a drum" },
        ),
        format!("Crr on the drums is taken to a flat road by the drum formula of {}.", Source::Iso18164.cited()),
    ];
    text.push(match rollers.no_load_power_w_at_40_km_h {
        Some(watts) => format!("The drums alone take {} W at 40 km/h, as stated.", significant(watts, 3)),
        None => "The no-load drag of the drums was not stated and is taken as zero.".into(),
    });
    if rollers.temperature_coefficient_per_c != 0.0 {
        text.push(format!(
            "Crr is corrected to {} °C with {} per °C, as stated.",
            significant(rollers.reference_temperature_c, 3),
            significant(rollers.temperature_coefficient_per_c, 3)
        ));
    }
    Paragraph::new("Rollers", &text, &[Source::Iso18164])
}

pub(super) fn air(session: &Session, solution: &Solution) -> Option<Paragraph> {
    if !has_loops(session) {
        return None;
    }
    let air = &session.air;
    let mut sources = vec![Source::Picard];
    let mut text = vec![format!("Air density follows CIPM-2007 {} from", cite(Source::Picard))];
    let stated = |value: Option<f64>, unit: &str, name: &str| match value {
        Some(value) => format!("{name} {} {unit} (stated)", significant(value, 5)),
        None if air.log.is_some() => format!("{name} of the weather log"),
        None => format!("{name} as the findings say"),
    };
    let items = [
        stated(air.temperature_c, "°C", "temperature"),
        stated(air.pressure_hpa, "hPa", "station pressure"),
        stated(air.humidity_pct, "%", "humidity"),
    ];
    text.push(format!("{}.", listed(&items)));
    if air.pressure_hpa.is_none() && air.log.is_none() {
        text.push(format!(
            "A pressure that was not stated is that of the standard atmosphere {}.",
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
            format!("It was {low} to {high} kg/m³.")
        });
    }
    Paragraph::new("Air", &text, &sources)
}

pub(super) fn wind(session: &Session, solution: &Solution) -> Option<Paragraph> {
    if !has_loops(session) {
        return None;
    }
    let wind = &session.wind;
    let speeds: Vec<f64> =
        solution.runs.iter().filter_map(|run| run.wind.speed_m_s).filter(|s| s.is_finite()).collect();
    let strongest = speeds.iter().copied().reduce(f64::max);
    let mut sources = Vec::new();
    let mut text = Vec::new();
    match wind.mode {
        WindMode::Estimate => {
            text.push(
                "Wind is one vector for each run, uniform over the loop at the height of the rider, solved together with \
                 CdA and Crr: its effect changes sign with the heading."
                    .to_string(),
            );
            if let Some(strongest) = strongest {
                text.push(format!("The strongest was {} m/s.", fixed(Some(strongest), 1)));
            }
        }
        WindMode::Given => {
            let value = match (wind.speed_m_s, wind.from_deg) {
                (Some(speed), Some(from)) => format!("{} m/s from {}°", significant(speed, 3), significant(from, 3)),
                _ => "that of the weather log".into(),
            };
            text.push(format!(
                "Wind is given: {value} at {} m above ground, brought to the height of the rider by the logarithmic \
                 profile with a roughness length of {} m {}, with a standard uncertainty of {} %.",
                significant(wind.mast_height_m, 3),
                significant(wind.roughness_length_m, 3),
                cite(Source::WmoGuide),
                significant(session.uncertainty.wind_fraction * 100.0, 3),
            ));
            sources.push(Source::WmoGuide);
        }
        WindMode::None => text.push("The air is taken as still, as stated.".into()),
    }
    let gusts = solution.runs.iter().filter_map(|run| run.wind.gust_m_s).filter(|g| g.is_finite()).reduce(f64::max);
    if let Some(gust) = gusts {
        text.push(format!("Gusts of up to {} m/s (standard deviation) add to the mean drag.", fixed(Some(gust), 1)));
    }
    Paragraph::new("Wind", &text, &sources)
}

pub(super) fn alignment(session: &Session, solution: &Solution) -> Option<Paragraph> {
    if !has_loops(session) {
        return None;
    }
    let text = match session.solve.lag {
        Lag::Word(_) => {
            let lags: Vec<String> = solution.runs.iter().map(|run| measured(&run.lag_s)).collect();
            let lags =
                if lags.len() <= 6 && !lags.is_empty() { format!(" ({} s)", lags.join(", ")) } else { String::new() };
            format!(
                "Devices do not stamp power and speed at one instant; the delay between them (lag) is solved for each run{lags}."
            )
        }
        Lag::Seconds(lag) => {
            format!("The delay of speed against power is held at {} s, as stated.", significant(lag, 3))
        }
    };
    Paragraph::new("Time alignment", &[text], &[])
}
