//! Findings sorted by what they mean for the answer, each cut to what fits two lines with the rest kept for who wants it.
//!
//! Given the findings of a result; gives three groups. It judges by the code alone and drops nothing: a code that is not in
//! the lists limits the answer, which is the safe side.

pub use super::meaning::{Meaning, meaning};
use super::units::Units;
use crate::solution::{FindingResult, Solution};
use crate::wording::{counted, listed};
use serde::Serialize;
use std::collections::BTreeSet;

/// Codes of findings that are about what stands in a file in kilograms.
const OF_THE_FILE: [&str; 1] = ["mass-odd"];

/// The findings with their quantities in the units of the reader; what stands in `names` is left as it is.
pub fn in_units(findings: &[FindingResult], units: Units, names: &[&str]) -> Vec<FindingResult> {
    let said = |f: &FindingResult| match OF_THE_FILE.contains(&f.code.as_str()) {
        true => f.clone(),
        false => FindingResult { message: units.in_words(&f.message, names), ..f.clone() },
    };
    findings.iter().map(said).collect()
}

/// The findings of a result, with the names of its set-ups as they are.
pub fn of_result(solution: &Solution, units: Units) -> Vec<FindingResult> {
    let names: Vec<&str> = solution.setups.iter().flat_map(|s| [s.label.as_str(), s.id.as_str()]).collect();
    in_units(&solution.findings, units, &names)
}

/// Findings of one code that read alike, or that are too many to be told one by one.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Told {
    pub code: String,
    /// "Run 2", "Runs 1, 2 and 4", or nothing for the whole session.
    pub place: String,
    /// Two lines at most.
    pub brief: String,
    /// The messages in full, where the line above is not all of them.
    pub full: Vec<String>,
}

/// One group.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    pub meaning: Meaning,
    pub heading: &'static str,
    pub told: Vec<Told>,
}

/// Letters that two lines of a terminal of eighty columns hold beside place and code.
const BRIEF: usize = 118;
/// Findings of one code that say different things of different runs stand apart up to so many.
const APART: usize = 3;

/// See the module; groups without a finding are left out.
pub fn grouped(findings: &[FindingResult]) -> Vec<Group> {
    let of = |group: Meaning| {
        let mut codes: Vec<Vec<&FindingResult>> = Vec::new();
        for finding in findings.iter().filter(|f| meaning(&f.code) == group) {
            let same = |all: &&mut Vec<&FindingResult>| all[0].code == finding.code;
            match codes.iter_mut().find(same) {
                Some(all) => all.push(finding),
                None => codes.push(vec![finding]),
            }
        }
        codes.iter().flat_map(|all| of_code(all)).collect::<Vec<Told>>()
    };
    Meaning::ALL
        .into_iter()
        .map(|group| Group { meaning: group, heading: group.heading(), told: of(group) })
        .filter(|group| !group.told.is_empty())
        .collect()
}

/// Findings of one code: those that read alike are one, and many that read differently are one with an example.
fn of_code(all: &[&FindingResult]) -> Vec<Told> {
    let mut alike: Vec<Vec<&FindingResult>> = Vec::new();
    for finding in all {
        let same = |one: &&mut Vec<&FindingResult>| {
            one[0].message == finding.message && one[0].run.is_some() && finding.run.is_some()
        };
        match alike.iter_mut().find(same) {
            Some(one) => one.push(finding),
            None => alike.push(vec![finding]),
        }
    }
    if alike.len() <= APART || all.iter().any(|f| f.run.is_none()) {
        return alike.iter().map(|one| told_alike(one)).collect();
    }
    let example = &alike[0];
    let full = alike.iter().map(|one| format!("{}: {}", place(one), one[0].message)).collect();
    let brief = format!("for one, run {}: {}", example[0].run.unwrap_or(0), brief(&example[0].message));
    vec![Told { code: all[0].code.clone(), place: place(all), brief, full }]
}

fn told_alike(all: &[&FindingResult]) -> Told {
    let message = &all[0].message;
    let brief = brief(message);
    let full = if brief == *message { Vec::new() } else { vec![message.clone()] };
    Told { code: all[0].code.clone(), place: place(all), brief, full }
}

fn place(all: &[&FindingResult]) -> String {
    let numbers: BTreeSet<usize> = all.iter().filter_map(|f| f.run).collect();
    match numbers.iter().copied().collect::<Vec<_>>().as_slice() {
        [] => String::new(),
        [run] => format!("Run {run}"),
        [first, .., last] if last - first + 1 == numbers.len() && numbers.len() > 2 => {
            format!("Runs {first} to {last}")
        }
        many => format!("Runs {}", listed(&many.iter().map(usize::to_string).collect::<Vec<_>>())),
    }
}

/// The first sentence of a message.
pub fn first_sentence(message: &str) -> &str {
    message.find(". ").map_or(message, |end| &message[..=end])
}

/// The first sentence, or as much of it as two lines hold, ended where a clause ends.
pub fn brief(message: &str) -> String {
    let sentence = first_sentence(message);
    if sentence.chars().count() <= BRIEF {
        return sentence.to_string();
    }
    let room: usize = sentence.char_indices().nth(BRIEF).map_or(sentence.len(), |(at, _)| at);
    let cut = ["; ", ": ", ", ", " ("].iter().filter_map(|mark| sentence[..room].rfind(mark)).max();
    let end = cut.filter(|at| *at > BRIEF / 3).or_else(|| sentence[..room].rfind(' ')).unwrap_or(room);
    format!("{} …", sentence[..end].trim_end())
}

/// "2 findings may change the answer, 1 limits it", or nothing.
pub fn counts(findings: &[FindingResult]) -> String {
    let of = |group: Meaning| findings.iter().filter(|f| meaning(&f.code) == group).count();
    let mut said = Vec::new();
    for (group, one, many) in [
        (Meaning::Changes, "may change the answer", "may change the answer"),
        (Meaning::Limits, "limits it", "limit it"),
        (Meaning::Informs, "is for information", "are for information"),
    ] {
        match of(group) {
            0 => {}
            1 => said.push(format!("1 {one}")),
            n => said.push(format!("{n} {many}")),
        }
    }
    if said.is_empty() { String::new() } else { format!("{}: {}", counted(findings.len(), "finding"), said.join(", ")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(code: &str, run: Option<usize>, message: &str) -> FindingResult {
        FindingResult { code: code.into(), run, message: message.into() }
    }

    #[test]
    fn what_may_change_the_answer_stands_first_and_runs_that_say_the_same_are_one() {
        let all = [
            finding("humidity-assumed", None, "No humidity was stated; 50 % is assumed."),
            finding("lag-large", Some(2), "Speed runs 1.6 s behind power. Check."),
            finding("lag-large", Some(4), "Speed runs 1.6 s behind power. Check."),
            finding("order-confounded", None, "The order looks like a drift. Ride A B B A."),
        ];
        let groups = grouped(&all);
        let meanings: Vec<Meaning> = groups.iter().map(|g| g.meaning).collect();
        assert_eq!(meanings, Meaning::ALL);
        let lag = &groups[1].told[0];
        assert_eq!((lag.place.as_str(), lag.full.len()), ("Runs 2 and 4", 1));
        assert_eq!(groups[0].told[0].brief, "The order looks like a drift.");
        assert_eq!(groups[0].told[0].full, ["The order looks like a drift. Ride A B B A."]);
        assert!(groups[2].told[0].full.is_empty(), "nothing is left to tell");
    }

    #[test]
    fn no_run_is_told_in_the_words_of_another() {
        let of = |runs: usize| -> Vec<Told> {
            let say = |k: usize| finding("runs-overlap", Some(k), &format!("This run and {k}.fit overlap. Check."));
            let all: Vec<FindingResult> = (1..=runs).map(say).collect();
            grouped(&all).remove(0).told
        };
        let two = of(2);
        assert_eq!((two[0].place.as_str(), two[0].brief.as_str()), ("Run 1", "This run and 1.fit overlap."));
        assert_eq!((two[1].place.as_str(), two[1].brief.as_str()), ("Run 2", "This run and 2.fit overlap."));
        let five = of(5);
        assert_eq!((five.len(), five[0].place.as_str(), five[0].full.len()), (1, "Runs 1 to 5", 5));
        assert_eq!(five[0].brief, "for one, run 1: This run and 1.fit overlap.");
        assert_eq!(five[0].full[4], "Run 5: This run and 5.fit overlap. Check.");
    }

    #[test]
    fn a_brief_line_is_short_and_ends_where_a_clause_ends() {
        let long =
            format!("{}, which nobody can read at once; {}", "a word ".repeat(12).trim_end(), "more ".repeat(30));
        let short = brief(&long);
        assert!(short.chars().count() <= BRIEF + 2 && short.ends_with(" …"), "{short}");
    }
}
