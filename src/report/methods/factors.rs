//! The paragraph on factors of the set-ups.
//!
//! Given a solution; gives words, or nothing where no factors were stated.

use super::super::number::percent;
use super::super::sources::Source;
use super::paragraph::{Paragraph, cite};
use crate::factor::Answer;
use crate::solution::Solution;

pub(super) fn factors(solution: &Solution) -> Option<Paragraph> {
    let told: Vec<_> = solution.factors.as_ref()?.outputs.iter().filter_map(Answer::told).collect();
    let level = percent(1.0 - solution.confidence);
    let mut sources = vec![Source::Holm];
    let mut text = vec![
        "Factors: the values of the set-ups are taken as sums of what each factor does, fitted by generalised least squares. Their \
         joint covariance is the one behind the differences of all pairs as they are given here, so that laps, priors, instruments \
         and changes from run to run count in it; what moves all set-ups alike drops out."
            .to_string(),
    ];
    if told.iter().any(|o| !o.effects.is_empty()) {
        text.push(format!(
            "Effects of kinds are differences from the level of the baseline; their p-values are adjusted for their number {}.",
            cite(Source::Holm)
        ));
    }
    if told.iter().any(|o| o.adds.is_some()) {
        text.push(format!(
            "Whether effects add is tested by the products of two factors (F test at {level}); where they do not, the list of \
             set-ups counts."
        ));
    }
    if told.iter().any(|o| !o.curves.is_empty()) {
        sources.push(Source::Fieller);
        text.push(format!(
            "Over a quantity with three levels or more the curve is straight unless a bend, the square of the quantity, is told \
             at {level}. The best level is judged by the bent curve in either case, because a bend that is not told is not shown \
             to be absent: a level inside counts as the best unless the curve is shown to rise or fall there {}, the lowest one \
             ridden unless the curve falls there, the highest unless it rises. So the interval may be open at an end. No level \
             beyond those ridden is spoken of.",
            cite(Source::Fieller)
        ));
    }
    Paragraph::new("Factors", &text, &sources)
}
