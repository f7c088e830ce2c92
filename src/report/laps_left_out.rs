//! Laps used and left out, with reasons, as a sentence.
//!
//! Given the laps of all runs; counts them. It decides nothing about use.

use super::number::{counted, listed};
use crate::solution::{RunResult, Solution};

/// More laps than these are counted and not named.
const NAMED: usize = 4;

/// How many laps of a run are used.
pub fn used(run: &RunResult) -> usize {
    run.laps.iter().filter(|lap| lap.used).count()
}

/// "40 of 48 laps are used; left out: 6 (left out by the rider) and 2 (braking)."
///
/// A reason that carries numbers ("braking at 612 m") is counted by the words before its first colon or digit.
pub fn sentence(solution: &Solution) -> String {
    let all: usize = solution.runs.iter().map(|run| run.laps.len()).sum();
    let kept: usize = solution.runs.iter().map(used).sum();
    let mut reasons: Vec<(String, usize)> = Vec::new();
    for lap in solution.runs.iter().flat_map(|run| &run.laps).filter(|lap| !lap.used) {
        let reason = kind(lap.reason.as_deref().unwrap_or("no reason recorded"));
        match reasons.iter_mut().find(|(known, _)| *known == reason) {
            Some((_, count)) => *count += 1,
            None => reasons.push((reason, 1)),
        }
    }
    if all == 0 {
        return String::new();
    }
    if reasons.is_empty() {
        return format!("All {} are used{}.", counted(all, "lap"), in_part(solution));
    }
    reasons.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    let items: Vec<String> = reasons.iter().map(|(reason, count)| format!("{count} ({reason})")).collect();
    format!("{kept} of {} are used{}; not used: {}.", counted(all, "lap"), in_part(solution), listed(&items))
}

/// Used laps whose spoiled steps do not count, by run and lap while they are few.
fn in_part(solution: &Solution) -> String {
    let partly = |run: &RunResult| run.laps.iter().filter(|l| l.used && l.share_used < 1.0).map(|l| l.lap).collect();
    let runs: Vec<Vec<usize>> = solution.runs.iter().map(partly).collect();
    let places = runs.iter().enumerate().flat_map(|(k, laps)| laps.iter().map(move |lap| (k + 1, lap)));
    let named: Vec<String> = places.map(|(run, lap)| format!("lap {lap} of run {run}")).collect();
    match named.len() {
        0 => String::new(),
        1..=NAMED => format!(", without the spoiled stretch in {}", listed(&named)),
        many => format!(", {many} of them without a spoiled stretch"),
    }
}

fn kind(reason: &str) -> String {
    let end = reason.find(|c: char| c == ':' || c.is_ascii_digit()).unwrap_or(reason.len());
    let words = reason[..end].trim_end_matches([' ', '(', '−', '-', '+']).trim();
    if words.is_empty() { reason.to_string() } else { words.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::LapResult;

    #[test]
    fn reasons_are_counted_and_named() {
        let lap = |used, reason: Option<&str>| LapResult {
            used,
            reason: reason.map(Into::into),
            share_used: 1.0,
            ..LapResult::default()
        };
        let laps = vec![
            lap(true, None),
            lap(false, Some("braking: 20 W at 612 m")),
            lap(false, Some("braking: 9 W at 12 m")),
            lap(false, Some("left out by the rider")),
            LapResult { lap: 5, share_used: 0.8, ..lap(true, None) },
        ];
        let solution = Solution { runs: vec![RunResult { laps, ..RunResult::default() }], ..Solution::default() };
        assert_eq!(
            sentence(&solution),
            "2 of 5 laps are used, without the spoiled stretch in lap 5 of run 1; not used: 2 (braking) and 1 (left out by the rider)."
        );
    }
}
