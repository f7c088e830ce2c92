//! What the bootstrap over laps says of the standard errors, as a sentence.
//!
//! Given the solution; compares nothing that was not compared before.

use super::number::fixed;
use crate::solution::Solution;

/// "The bootstrap over laps (400 draws, seed 1) gives standard errors of Crr and CdA 0.94 to 1.06 times those of the scatter
/// of laps alone."
///
/// Empty without a bootstrap.
pub fn sentence(solution: &Solution) -> String {
    let Some(b) = &solution.bootstrap else { return String::new() };
    let each = b.setups.iter().chain(&b.contrasts).flat_map(|line| [&line.crr, &line.cda_m2]);
    let ratios: Vec<f64> =
        each.filter_map(|r| Some(r.bootstrap_se? / r.sandwich_se?)).filter(|r| r.is_finite()).collect();
    let low = ratios.iter().copied().fold(f64::INFINITY, f64::min);
    let high = ratios.iter().copied().fold(0.0, f64::max);
    if ratios.is_empty() {
        return String::new();
    }
    let range = match (fixed(Some(low), 2), fixed(Some(high), 2)) {
        (low, high) if low == high => low,
        (low, high) => format!("{low} to {high}"),
    };
    let lone = match b.lone_laps {
        0 => String::new(),
        1 => " One lap is the only one at its speed in its run and is never drawn differently, so these are too small."
            .into(),
        n => format!(
            " {n} laps are the only ones at their speed in their run and are never drawn differently, so these are too small."
        ),
    };
    format!(
        "The bootstrap over laps ({} draws, seed {}) gives standard errors of Crr and CdA {range} times those of the scatter of \
         laps alone.{lone}",
        b.draws, b.seed
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::{BootstrapLine, BootstrapResult, Resampled};

    #[test]
    fn the_sentence_gives_the_range_of_the_ratios_and_is_silent_without_a_bootstrap() {
        let of = |bootstrap_se| Resampled { sandwich_se: Some(0.002), bootstrap_se: Some(bootstrap_se) };
        let line = BootstrapLine { crr: of(0.0019), cda_m2: of(0.0021), ..BootstrapLine::default() };
        let result = BootstrapResult { draws: 500, seed: 3, setups: vec![line], ..BootstrapResult::default() };
        let solution = Solution { bootstrap: Some(result), ..Solution::default() };
        // Arithmetic: 19/20 and 21/20.
        let expected = "The bootstrap over laps (500 draws, seed 3) gives standard errors of Crr and CdA 0.95 to 1.05 times \
                        those of the scatter of laps alone.";
        assert_eq!(sentence(&solution), expected);
        assert_eq!(sentence(&Solution::default()), "");
    }
}
