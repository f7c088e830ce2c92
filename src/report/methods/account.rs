//! Paragraphs on the energy account of a lap and on the alignment of power and speed.
//!
//! Given session and solution; gives words.

use super::super::number::{measured, significant};
use super::super::sources::Source;
use super::super::units::Units;
use super::paragraph::{Paragraph, cite};
use super::ridden::{has_geometry, has_loops};
use crate::session::{Lag, Session};
use crate::solution::Solution;

/// Standard deviation of a surveyed height where none is stated; see the command line's loader.
const SURVEY_SD_M: f64 = 0.02;

pub(super) fn energy(session: &Session, solution: &Solution, units: Units) -> Option<Paragraph> {
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
        "Here u is the speed of the centre of mass and v that of the wheels, N the load on the tyres, w the speed of the \
         air that meets the rider and w∥ its part along travel. The account is summed over every step of a lap without \
         differentiating speed, so only the speeds at the ends of a step enter its kinetic energy, and solved for the \
         height z of the road, which must be the same at every pass of a place."
            .into(),
    ];
    text.push(match session.circuit.bend_radius_m.filter(|_| has_geometry(session)) {
        Some(radius) => format!(
            "In the bends (radius {}) the bicycle leans by φ: the centre of mass rides slower and lower than the wheels, \
             and the load on the tyres rises.",
            units.length(radius)
        ),
        None => "In bends the bicycle leans by φ; the shorter and lower path of the centre of mass and the higher load on \
                 the tyres follow the curvature of the mean line of all laps, where positions show one."
            .into(),
    });
    text.push(match solution.circuit.gate {
        Some(_) => format!("g is normal gravity at the place {}.", cite(Source::Nga)),
        None => format!("g is normal gravity where positions tell the place {}, else 9.80665 m/s².", cite(Source::Nga)),
    });
    if session.circuit.survey.is_some() {
        text.push(format!(
            "The height gained in each step leans on a survey as on a prior (random effects, standard deviation of a \
             height {} m), shifted along the loop to where it fits the profile solved without it best; the rides may \
             correct it.",
            significant(session.circuit.survey_sd_m.unwrap_or(SURVEY_SD_M), 3)
        ));
    } else {
        text.push(
            "No elevation data is used: the height gained in each step is one unknown common to all laps, and the steps of \
             a loop add up to zero."
                .into(),
        );
    }
    Paragraph::new("Energy account", &text, &[Source::Martin, Source::Nga])
}

pub(super) fn alignment(session: &Session, solution: &Solution) -> Option<Paragraph> {
    if !has_loops(session) {
        return None;
    }
    let text = match session.solve.lag {
        Lag::Word(_) => {
            let lags: Vec<String> = solution
                .runs
                .iter()
                .filter(|run| run.lag_s.value.is_some())
                .map(|run| measured(&run.lag_s).replace('-', "−"))
                .collect();
            let shown = if (1..=6).contains(&lags.len()) { format!(" ({} s)", lags.join(", ")) } else { String::new() };
            let hidden = if solution.separable { "" } else { " It rests on CdA and Crr and is not reported here." };
            format!(
                "Devices do not stamp power and speed at one instant; by how much speed runs behind power, the lag, is solved \
                 for each run{shown}, with a normal prior of 0 ± 3 s that only matters where the rides say nothing.{hidden}"
            )
        }
        Lag::Seconds(lag_s) => {
            format!("The lag of speed behind power is held at {} s, as stated.", significant(lag_s, 3))
        }
    };
    Paragraph::new("Time alignment", &[text], &[])
}
