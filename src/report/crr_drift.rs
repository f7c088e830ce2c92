//! The drift of Crr through the day and the moment to which every Crr belongs, as a sentence.
//!
//! Given the solution; judges nothing.

use super::number::{p_value, percent, shown};
use crate::solution::Solution;

/// "Crr changes by −0.00021 ± 0.00012 an hour (at 95 %, p 0.002); every Crr is that of 2031-05-03T10:32:00Z."
///
/// Empty where no drift was fitted or it is not known.
pub fn sentence(solution: &Solution) -> String {
    let Some(drift) = &solution.crr_drift else { return String::new() };
    let moment = match &drift.reference_time {
        Some(time) => format!("; every Crr is that of {time}, the mean moment of the laps"),
        None => String::new(),
    };
    format!(
        "Crr changes by {} an hour (at {}, p {}){moment}.",
        shown(&drift.crr_per_h).whole(),
        percent(solution.confidence),
        p_value(drift.p_value),
    )
}
