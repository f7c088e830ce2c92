//! Paragraphs on uncertainty, on comparison, and on how to repeat the result.
//!
//! Given session and solution; gives words.

use super::super::held_fixed::held_fixed;
use super::super::lap_bootstrap;
use super::super::number::{percent, significant};
use super::super::sources::Source;
use super::super::units::Units;
use super::super::verdict::{name_of, reference_speed};
use super::paragraph::{HELD_FIXED, Paragraph, cite};
use super::ridden::{has_loops, has_venue};
use crate::session::{Session, Venue};
use crate::solution::{ModelCheck, Solution};
use crate::uncertainty::moderation::MODEL_DOF;

pub(super) fn uncertainty(session: &Session, solution: &Solution) -> Option<Paragraph> {
    let mut sources = vec![Source::Jcgm100];
    let mut text = Vec::new();
    if has_loops(session) {
        text.push(format!(
            "Scatter: residuals hang together within a lap, so each lap is one cluster of a sandwich covariance, corrected \
             for the smoothness of residuals (CR2) under a working model in which neighbouring steps are correlated and \
             each class of speed has a variance of its own; degrees of freedom follow Satterthwaite ({}; {}). The sandwich of few \
             laps is itself uncertain, so the variance of a result is the mean of the sandwich's and the model's, weighted by \
             degrees of freedom {}. The model has {MODEL_DOF} of these, never more than the laps, and none where laps \
             scatter so much that a test at 5 % rejects it: the variance is shrunk towards the model as far as the laps allow.",
            Source::BellMcCaffrey.cited(),
            Source::PustejovskyTipton.cited(),
            cite(Source::Smyth)
        ));
        sources.extend([Source::BellMcCaffrey, Source::PustejovskyTipton, Source::Smyth]);
        let found = lap_bootstrap::sentence(solution);
        if !found.is_empty() {
            sources.push(Source::RaoWu);
            text.push(format!(
                "Bootstrap over laps: of the n laps ridden at one planned speed in one run n − 1 are drawn with replacement and \
                 count n/(n − 1) times each, which does not make errors too small where n is small {}, and the linearised \
                 equations are solved again. {found} A ratio beyond 1.25 either way is among the findings; no interval \
                 rests on it.",
                cite(Source::RaoWu)
            ));
        }
    }
    if let Some(check) = &solution.model_check {
        sources.extend([Source::FreedmanLane, Source::Pitman]);
        text.push(model_check(check));
    }
    if has_venue(session, Venue::Rollers) {
        sources.push(Source::NeweyWest);
        text.push(format!(
            "Scatter on the rollers: the larger of two standard errors of the window's mean that respect that neighbouring \
             seconds are alike, one by weighted autocovariances {} and one from the means of batches, with what changes from \
             run to run.",
            cite(Source::NeweyWest)
        ));
    }
    if solution.separable || !solution.contrasts.is_empty() {
        text.push(format!(
            "Instruments: the result is solved again with each input moved up and down by one standard uncertainty, and \
             the moves are combined with the scatter {}. An error that all runs share moves all set-ups alike and cancels in \
             their differences, which are propagated on their own.",
            cite(Source::Jcgm100)
        ));
    }
    if let Some(made) = &solution.monte_carlo {
        sources.push(Source::Jcgm101);
        text.push(format!(
            "The intervals were checked by {} random draws of all instrument inputs, each solved again {}.",
            made.draws,
            cite(Source::Jcgm101)
        ));
    }
    text.push(format!("Intervals hold at {}, with Student's t.", percent(solution.confidence)));
    Paragraph::new("Uncertainty", &text, &sources)
}

/// How it was asked whether the model explains the day.
fn model_check(check: &ModelCheck) -> String {
    let probability = |p: f64| if p < 0.01 { "below 0.01".to_string() } else { significant(p, 2) };
    let mut text = format!(
        "Check of the model: what it leaves along the loop, by run, by planned speed, at its strongest place and in the form that \
         a wind turning along the loop would give it, is compared \
         with {} days in which whole laps err the other way at random (sign flipping, a randomisation test: {}; with what \
         the fit takes out of such errors: {}). The probability of patterns as strong as these is {}; at {} or less a finding \
         says what is left.",
        check.draws,
        Source::Pitman.cited(),
        Source::FreedmanLane.cited(),
        probability(check.p_value),
        check.level,
    );
    if let Some(bend) = &check.drag_bends {
        text.push_str(&format!(
            " So is a CdA that is another at each planned speed, by which drag would not be a straight line in the square of speed \
             (p {}).",
            probability(bend.p_value)
        ));
    }
    text
}

/// The quantities that the page shows as a table instead.
pub(super) fn fixed_quantities(session: &Session, solution: &Solution, units: Units) -> Option<Paragraph> {
    let lines: Vec<String> = held_fixed(session, solution, units)
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
    let (power, chain) = (Source::Maier, Source::Smit);
    let origin = format!(
        "Where the session states no u it is common practice without a source. For comparison: 54 power meters as they were differed \
         with a standard deviation of 3.2 % {}, and chains of many kinds lost 2.1 ± 1.5 % {}.",
        cite(power),
        cite(chain)
    );
    Paragraph::new(HELD_FIXED, &[text, origin], &[power, chain])
}

pub(super) fn comparison(session: &Session, solution: &Solution, units: Units) -> Option<Paragraph> {
    let contrasts_known = solution.contrasts.iter().any(|c| c.power_w.value.is_some());
    if !solution.separable && !contrasts_known {
        return None;
    }
    let mass = units.mass(solution.reference.mass_kg);
    let density = significant(solution.reference.air_density_kg_m3, 4);
    let rolling_only = if has_loops(session) { "" } else { " They are those of rolling alone." };
    let mut text = vec![format!(
        "Watts hold at {}, {mass} and {density} kg/m³ on the level in still air, at the place where power is \
         measured.{rolling_only}",
        reference_speed(solution, units),
    )];
    let mut sources = Vec::new();
    if contrasts_known {
        let alpha = percent(1.0 - solution.confidence);
        text.push(format!(
            "Every set-up is compared with {} in watts; p-values are adjusted for their number {}. Separated: the adjusted p \
             is below {alpha}. Not separated: it is not, which is no proof of equality. The smallest difference that such a \
             test finds in four of five repeats stands beside each.",
            name_of(solution, &solution.baseline),
            cite(Source::Holm)
        ));
        sources.push(Source::Holm);
        if !solution.leave_one_out.is_empty() {
            text.push(format!(
                "Influence: laps and runs are put in order by their scores in the sandwich; a difference without one of the largest is \
                 one Newton step from the solution with its laps at weight 0, profile and expectations as they are {}.",
                cite(Source::Pregibon)
            ));
            sources.push(Source::Pregibon);
        }
        if let Some(margin) = session.solve.negligible_power_w {
            text.push(format!(
                "Equivalent: two one-sided tests at {alpha} place the difference within ±{} W, which was stated to be \
                 negligible {}; that outranks separated.",
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
