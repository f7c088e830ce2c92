//! Values that are possible and hardly ever meant: a mass in pounds, a Crr ten times too large, a run of hours.
//!
//! Given one value; gives a sentence to tell beside the answer, or nothing. It refuses nothing: ranges do that.

use crate::finding::{Slip, What};
use std::ops::RangeInclusive;

/// Rider and bicycle together, kg (common practice, no source).
pub const CREDIBLE_KG: RangeInclusive<f64> = 45.0..=135.0;
/// Tyres on anything that is raced on (common practice, no source).
pub const CREDIBLE_CRR: RangeInclusive<f64> = 0.001..=0.02;
/// A run of a test, s.
const LONG_RUN_S: f64 = 7200.0;

/// What is odd about a mass.
pub fn doubtful_mass(mass_kg: f64) -> Option<String> {
    (!CREDIBLE_KG.contains(&mass_kg)).then(|| What::Slip(Slip::MassOdd { mass_kg, others_kg: None }).message())
}

/// What is odd about a Crr; `of` names whose it is.
pub fn doubtful_crr(of: &str, crr: f64) -> Option<String> {
    (!CREDIBLE_CRR.contains(&crr)).then(|| {
        format!(
            "Crr {crr}{of} is not one of a bicycle tyre on a road, a track or rollers ({} to {}): look for a digit too few or too many.",
            CREDIBLE_CRR.start(),
            CREDIBLE_CRR.end()
        )
    })
}

/// What is odd about the length of a run.
pub fn doubtful_run(duration_s: f64) -> Option<String> {
    (duration_s > LONG_RUN_S).then(|| {
        format!(
            "The longest run takes {:.1} hours: look at length_m (in m), laps_per_run and the speeds.",
            duration_s / 3600.0
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pounds_and_lost_digits_are_told_and_usual_values_are_not() {
        assert_eq!([doubtful_mass(86.0), doubtful_crr("", 0.0045), doubtful_run(1800.0)], [None, None, None]);
        // 179.7 lb · 0.45359237 kg = 81.51 kg.
        assert!(doubtful_mass(179.7).unwrap().contains("81.5 kg"));
        assert!(doubtful_crr(" of a", 0.047).unwrap().starts_with("Crr 0.047 of a is not one"));
        assert!(doubtful_run(8640.0).unwrap().contains("2.4 hours"));
    }
}
