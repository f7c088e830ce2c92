//! What must be looked at before any number of a result is believed.
//!
//! Given findings; gives a sentence that stands before the answer, or nothing. What counts is listed with the findings.

use crate::finding::grave;
use crate::solution::FindingResult;
use crate::wording::listed;

/// See the module.
pub fn sentence<'a>(findings: impl IntoIterator<Item = &'a FindingResult>) -> Option<String> {
    let mut words: Vec<String> = Vec::new();
    for word in findings.into_iter().filter_map(|f| grave(&f.code)).map(String::from) {
        if !words.contains(&word) {
            words.push(word);
        }
    }
    (!words.is_empty()).then(|| format!("Check first, see the findings: {}.", listed(&words)))
}
