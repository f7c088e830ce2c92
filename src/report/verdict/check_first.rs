//! What must be looked at before any number of a result is believed.
//!
//! Given the solution; gives a sentence that stands before the answer, or nothing. What counts is listed with the findings.

use crate::finding::grave;
use crate::solution::Solution;
use crate::wording::listed;

/// See the module.
pub(super) fn sentence(solution: &Solution) -> Option<String> {
    let mut words: Vec<String> = Vec::new();
    for word in solution.findings.iter().filter_map(|f| grave(&f.code)).map(String::from) {
        if !words.contains(&word) {
            words.push(word);
        }
    }
    (!words.is_empty()).then(|| format!("Check first, see the findings: {}.", listed(&words)))
}
