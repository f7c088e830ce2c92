//! The verdict in words: the fastest set-up, by how much, against whom, real or not; then what was ridden and what was not
//! shown.
//!
//! Given the solution; gives sentences that the terminal, the page and `verdict.txt` share. It takes the judgements as they
//! are and tests nothing.

pub mod check_first;
pub mod comparison;
mod names;
mod pair;
mod ridden;
mod without_comparison;

pub use names::{name_of, reference_speed, setup_name};
pub use pair::watts;

use super::findings::{self, Meaning};
use super::number::percent;
use super::together::both;
use super::units::Units;
use crate::solution::{FindingResult, Solution};
use crate::standing::{Ground, seen_on_one_venue, standings};
use crate::wording::{capitalised, counted, venue_name};
use comparison::{Voice, headline, not_shown, others, place};
use names::NAMED;

/// See the module.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize)]
pub struct Verdict {
    /// The answer in one sentence, or one for each venue.
    pub headline: String,
    /// The next best and the others, a sentence each.
    pub also: Vec<String>,
    /// What was ridden, three lines at most.
    pub ridden: Vec<String>,
    /// What could not be told.
    pub not_shown: Vec<String>,
    /// What may turn the answer, from the findings.
    pub doubts: Vec<String>,
}

impl Verdict {
    pub fn of(solution: &Solution, units: Units) -> Verdict {
        if solution.setups.is_empty() {
            return Verdict { headline: "There is no result.".into(), ..Verdict::default() };
        }
        let standings = standings(solution);
        let name = |id: &str| name_of(solution, id);
        let at = format!("at {}", reference_speed(solution, units));
        let check_first = check_first::sentence(&solution.findings);
        let voice = Voice {
            name: &name,
            at,
            on: venue_name(&solution.circuit.kind),
            mixed: solution.venues.is_some(),
            doubted: check_first.is_some(),
        };
        let apart = standings.len() > 1;
        let mut verdict = Verdict { ridden: ridden::lines(solution, units), ..Verdict::default() };
        let mut headlines = Vec::new();
        for standing in &standings {
            headlines.push(headline(&voice, standing));
            let others = others(&voice, standing);
            verdict.also.extend(others.into_iter().map(|s| if apart { place(standing) + &s } else { s }));
        }
        verdict.headline = match headlines.as_slice() {
            [] => without_comparison::headline(solution, units),
            [one] => one.clone(),
            many => {
                let why = if disagree(solution) { "disagree" } else { "did not see the same set-ups" };
                let both = capitalised(&both(solution));
                format!("{both} {why}, so there is no one number. {}", many.join(" "))
            }
        };
        if standings.iter().any(|s| s.ground == Ground::Together) {
            verdict.also.extend(seen_on_one_venue(solution).into_iter().map(|(id, venue)| {
                let on = if venue == "rollers" { venue } else { format!("the {}", venue_name(&venue)) };
                format!("Only {on} can tell of {}, and what is said of it was seen there.", name(&id))
            }));
        }
        if let Some(first) = check_first {
            verdict.headline = format!("{first} {}", verdict.headline);
        }
        if !solution.separable {
            verdict.not_shown.push(without_comparison::not_separable(solution));
        }
        verdict.not_shown.extend(standings.iter().flat_map(|s| not_shown(&voice, s)));
        verdict.doubts = doubts(&findings::of_result(solution, units));
        verdict
    }

    /// The first line and what follows it, as one paragraph.
    pub fn answer(&self) -> String {
        let sentences = std::iter::once(&self.headline).chain(&self.also).cloned();
        sentences.collect::<Vec<_>>().join(" ")
    }

    /// What somebody would send: the answer, what was ridden, what was not shown.
    pub fn paragraph(&self, solution: &Solution) -> String {
        let mut text = self.answer();
        if !self.ridden.is_empty() {
            text.push_str(&format!(" Ridden: {}.", self.ridden.join("; ")));
        }
        if !self.not_shown.is_empty() {
            text.push_str(&format!(" Not shown: {}", self.not_shown.join(" ")));
        }
        if !self.doubts.is_empty() {
            text.push_str(&format!(" In doubt: {}", self.doubts.join(" ")));
        }
        text.push_str(&format!(" ± is half the width of the {} interval.", percent(solution.confidence)));
        text
    }
}

fn disagree(solution: &Solution) -> bool {
    solution.venues.iter().flat_map(|v| &v.combined).any(|c| !c.agreement.agree)
}

/// What may turn the answer, from the findings.
fn doubts(told: &[FindingResult]) -> Vec<String> {
    let told_already = ["not-separable", "venues-disagree"];
    let changing = told.iter().filter(|f| findings::meaning(&f.code) == Meaning::Changes);
    let mut said: Vec<String> = changing
        .filter(|f| !told_already.contains(&f.code.as_str()))
        .map(|f| findings::first_sentence(&f.message).to_string())
        .collect();
    said.dedup();
    let more = said.len().saturating_sub(NAMED);
    said.truncate(NAMED);
    if more > 0 {
        said.push(format!("{} in the report.", counted(more, "more caution")));
    }
    said
}

#[cfg(test)]
mod tests;
