//! Paragraphs on what was made of the account: estimation, uncertainty, comparison, and how to repeat it.
//!
//! Given session and solution; gives words.

use super::super::held_fixed::held_fixed;
use super::super::number::{fixed, percent, significant};
use super::super::sources::Source;
use super::super::units::Units;
use super::super::verdict::{name_of, reference_speed};
use super::{HELD_FIXED, Paragraph, cite, has_loops, has_venue};
use crate::session::{Session, Sharing, Venue};
use crate::solution::Solution;

pub(super) fn estimation(session: &Session, solution: &Solution) -> Option<Paragraph> {
    if !has_loops(session) {
        return None;
    }
    let mut sources = vec![Source::GolubPereyra];
    let mut text = Vec::new();
    if session.setups.len() > 1 {
        let sharing = |sharing: Sharing| match sharing {
            Sharing::Common => "one value common to all set-ups",
            Sharing::PerSetup => "one value for each set-up",
        };
        text.push(format!("CdA: {}. Crr: {}.", sharing(session.solve.cda), sharing(session.solve.crr)));
    }
    text.push(format!(
        "Each lap is cut into equal steps of the loop; one elevation profile common to all laps, the coefficients, and \
         wind and delay of each run are solved together, the linear part exactly within the rest {}.",
        cite(Source::GolubPereyra)
    ));
    match solution.solver.estimator.as_str() {
        "instruments" => {
            let strength = solution.separation.first_stage_f.filter(|f| f.is_finite());
            text.push(format!(
                "A gust changes the speed it should explain, so plain least squares leans to a low CdA and a high Crr. The \
                 planned speed of each lap, which no gust can change, serves as instrument {}{}.",
                cite(Source::Sargan),
                strength.map_or(String::new(), |f| format!(
                    "; its first-stage F is {}, where less than 10 would be weak {}",
                    significant(f, 3),
                    cite(Source::StaigerStock)
                ))
            ));
            sources.push(Source::Sargan);
            if strength.is_some() {
                sources.push(Source::StaigerStock);
            }
        }
        "least squares" => text.push(
            "The estimate is that of least squares: the laps do not fall into separate planned speeds that could serve as \
             instruments against gusts."
                .into(),
        ),
        _ => {}
    }
    let separation = &solution.separation;
    if let (Some(low), Some(high)) = (separation.speed_min_m_s, separation.speed_max_m_s) {
        let correlation = separation.correlation.filter(|r| r.is_finite());
        text.push(format!(
            "Lap speeds from {} to {} m/s tell CdA from Crr{}.",
            fixed(Some(low), 1),
            fixed(Some(high), 1),
            correlation.map_or(String::new(), |r| format!(
                " (correlation of the two estimates {})",
                fixed(Some(r), 2).replace('-', "−")
            ))
        ));
    }
    if !solution.separable {
        text.push("That is not enough here: only their combination is reported.".into());
    }
    text.push(if solution.solver.converged {
        format!("The solver settled after {} steps.", solution.solver.iterations)
    } else {
        format!("The solver did not settle within {} steps; the best point is given.", solution.solver.iterations)
    });
    Paragraph::new("Estimation", &text, &sources)
}

pub(super) fn uncertainty(session: &Session, solution: &Solution) -> Option<Paragraph> {
    let mut sources = vec![Source::Jcgm100];
    let mut text = Vec::new();
    if has_loops(session) {
        text.push(format!(
            "Scatter: residuals hang together within a lap, so standard errors treat each lap as one cluster, with the \
             bias-reduced sandwich and its degrees of freedom ({}; {}).",
            Source::BellMcCaffrey.cited(),
            Source::PustejovskyTipton.cited()
        ));
        sources.extend([Source::BellMcCaffrey, Source::PustejovskyTipton]);
    }
    if has_venue(session, Venue::Rollers) {
        text.push(
            "On the rollers the standard error of the window's mean respects that neighbouring seconds are alike."
                .into(),
        );
    }
    text.push(format!(
        "Measuring chain: the result is solved again with each source moved by one standard uncertainty, and the moves are \
         combined {}. In differences between set-ups an error that all runs share cancels.",
        cite(Source::Jcgm100)
    ));
    text.push(format!("Intervals hold at {}.", percent(solution.confidence)));
    Paragraph::new("Uncertainty", &text, &sources)
}

/// The quantities that the page shows as a table instead.
pub(super) fn fixed_quantities(session: &Session, units: Units) -> Option<Paragraph> {
    let lines: Vec<String> = held_fixed(session, units)
        .into_iter()
        .map(|f| {
            if f.uncertainty.is_empty() {
                format!("{} {}", f.name, f.value)
            } else {
                format!("{} {} (u = {})", f.name, f.value, f.uncertainty)
            }
        })
        .collect();
    let text = format!("Stated or usual values, with their standard uncertainty u: {}.", lines.join("; "));
    Paragraph::new(HELD_FIXED, &[text], &[])
}

pub(super) fn comparison(session: &Session, solution: &Solution, units: Units) -> Option<Paragraph> {
    let mass = units.mass(solution.reference.mass_kg);
    let density = significant(solution.reference.air_density_kg_m3, 4);
    let mut text = vec![format!(
        "Watts hold at {}, {mass} and {density} kg/m³ on the level in still air, at the place where power is measured.",
        reference_speed(solution, units),
    )];
    let mut sources = Vec::new();
    if !solution.contrasts.is_empty() {
        text.push(format!(
            "Every set-up is compared with {}; p-values are adjusted for their number {}. The smallest difference that a \
             test of this kind would find in four of five repeats stands beside each.",
            name_of(solution, &solution.baseline),
            cite(Source::Holm)
        ));
        sources.push(Source::Holm);
        if let Some(margin) = session.solve.negligible_power_w {
            text.push(format!(
                "A difference below {} W counts as negligible, as stated; two one-sided tests decide about equivalence {}.",
                significant(margin, 3),
                cite(Source::Schuirmann)
            ));
            sources.push(Source::Schuirmann);
        }
    }
    Paragraph::new("Comparison", &text, &sources)
}

pub(super) fn repeating(session: &Session, solution: &Solution) -> Option<Paragraph> {
    let text = format!(
        "Computed by loopwright {}, seed {}. The same files and session give the same result, byte for byte.",
        solution.loopwright, session.solve.seed
    );
    Paragraph::new("Repeating it", &[text], &[])
}
