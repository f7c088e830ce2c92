//! What a finding means for who reads the verdict, by its code.
//!
//! Given a code; gives one of three meanings. A code that is in no list limits the answer, which is the safe side.

use serde::Serialize;

/// What a finding means for who reads the verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Meaning {
    /// The verdict may be another one, or is none.
    Changes,
    /// The verdict stands, but rests on less than it could.
    Limits,
    /// What was noticed and settled.
    Informs,
}

impl Meaning {
    pub const ALL: [Meaning; 3] = [Meaning::Changes, Meaning::Limits, Meaning::Informs];

    pub fn heading(self) -> &'static str {
        match self {
            Meaning::Changes => "May change the answer",
            Meaning::Limits => "Limits the answer",
            Meaning::Informs => "For information",
        }
    }
}

/// Codes of findings that may turn the verdict.
pub const CHANGES: [&str; 25] = [
    "result-not-pooled",
    "order-against-clock",
    "sharing-contradicted",
    "runs-unexplained",
    "speeds-unexplained",
    "drag-bends",
    "wind-turns",
    "not-separable",
    "not-converged",
    "implausible",
    "order-confounded",
    "drift-confounded",
    "no-repeats",
    "bends-unknown",
    "power-all-zero",
    "not-cycling",
    "not-moving",
    "speed-distance-mismatch",
    "pressure-odd",
    "venues-disagree",
    "results-disagree",
    "curves-disagree",
    "bootstrap-disagrees",
    "monte-carlo-differs",
    "lag-at-bound",
];

/// Codes of findings that are told for the record.
pub const INFORMS: [&str; 24] = [
    "several-parts",
    "other-sports-left-out",
    "records-without-time",
    "repeated-times",
    "out-of-order",
    "developer-field-ignored",
    "stray-bytes",
    "other-file-left-out",
    "columns-ignored",
    "channels-joined",
    "clock-not-set",
    "cut-moved",
    "device-laps",
    "laps-left-out",
    "humidity-assumed",
    "wind-drifted",
    "warm-up",
    "surface-loss",
    "gaps",
    "roller-assumptions",
    "draws-failed",
    "too-few-draws",
    "near-tolerance",
    "bootstrap-not-done",
];

/// See [`Meaning`].
pub fn meaning(code: &str) -> Meaning {
    if CHANGES.contains(&code) || crate::finding::grave(code).is_some() {
        Meaning::Changes
    } else if INFORMS.contains(&code) {
        Meaning::Informs
    } else {
        Meaning::Limits
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_in_the_lists_is_one_that_exists() {
        let catalogue = concat!(
            include_str!("../finding/code.rs"),
            include_str!("../finding/misfit.rs"),
            include_str!("../finding/slip.rs")
        );
        for code in CHANGES.iter().chain(&INFORMS) {
            assert!(catalogue.contains(&format!("\"{code}\"")), "{code}");
        }
    }
}
