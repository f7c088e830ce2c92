//! One result as it enters the pool.
//!
//! Given the bytes of a `solution.json`; gives what is needed of it, one [`Day`] for every venue in it, or says what is
//! wrong with the file. It compares nothing.

use super::result_file::solution;
use super::told::{DayPair, pairs};
use crate::error::Error;
use crate::factor::FactorResult;
use crate::record::sha256_hex;
use crate::solution::{FindingResult, ReferenceConditions, VenueResult};
use crate::wording::venue_name;
use serde::Serialize;

/// Most set-ups in a result.
const MOST_SETUPS: usize = 60;
/// Most entries in each list of differences, and most sources in a budget.
const MOST_PAIRS: usize = MOST_SETUPS * MOST_SETUPS;
const MOST_SOURCES: usize = 100;
/// A result of one venue.
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    /// As the person named the file.
    pub file: String,
    pub sha256: String,
    pub title: String,
    /// Day of the first ride, "2031-05-04".
    pub date: Option<String>,
    /// "road", "track" or "rollers".
    pub venue: String,
    /// Whether the file holds another venue too.
    pub one_of_several: bool,
    pub confidence: f64,
    pub baseline: String,
    pub reference: ReferenceConditions,
    pub setups: Vec<SetupName>,
    pub rides: Vec<RideName>,
    pub pairs: Vec<DayPair>,
    /// What the factors of its set-ups do, where they were stated.
    pub factors: Option<FactorResult>,
    /// What the result itself says to bear in mind.
    pub findings: Vec<FindingResult>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SetupName {
    pub id: String,
    pub label: String,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RideName {
    pub file: String,
    pub sha256: String,
}

impl Day {
    /// Reads a result; a session of loop and rollers gives two days.
    ///
    /// Errors: [`Error::NotPoolable`] with what the file is instead.
    pub fn read(file: &str, bytes: &[u8]) -> Result<Vec<Day>, Error> {
        let refusal = |message: String| Error::NotPoolable { file: file.to_string(), message };
        let solution = solution(bytes).map_err(refusal)?;
        let venues = solution.by_venue();
        let sha256 = sha256_hex(bytes);
        let date = solution.runs.iter().filter_map(|r| r.started.as_deref()).min();
        let date = date.map(|d| d.chars().take(10).collect::<String>());
        let (count, mut days) = (venues.len(), Vec::new());
        for venue in venues {
            check_size(file, &venue)?;
            days.push(Day {
                file: file.to_string(),
                sha256: sha256.clone(),
                title: solution.title.clone(),
                date: date.clone(),
                one_of_several: count > 1,
                confidence: solution.confidence,
                baseline: venue.baseline.clone(),
                reference: solution.reference.clone(),
                setups: venue.setups.iter().map(|s| SetupName { id: s.id.clone(), label: s.label.clone() }).collect(),
                rides: solution
                    .runs
                    .iter()
                    .map(|r| RideName { file: r.file.clone(), sha256: r.sha256.clone() })
                    .collect(),
                pairs: pairs(&venue).map_err(refusal)?,
                factors: venue.factors.clone(),
                findings: solution.findings.clone(),
                venue: venue.venue,
            });
        }
        if days.iter().all(|d| d.pairs.is_empty()) {
            let what = "it has no differences between set-ups, so there is nothing to pool; solve a session with two \
                        set-ups or more";
            return Err(refusal(what.to_string()));
        }
        Ok(days)
    }
}

/// A result that this program wrote is far below these limits.
fn check_size(file: &str, venue: &VenueResult) -> Result<(), Error> {
    let longest = venue.budget.iter().map(|l| l.pairs.len().max(l.contrasts.len())).max().unwrap_or(0);
    let counts = [
        ("the number of set-ups", venue.setups.len(), MOST_SETUPS),
        ("the number of differences", venue.contrasts.len().max(venue.all_pairs.len()).max(longest), MOST_PAIRS),
        ("the number of sources in the budget", venue.budget.len(), MOST_SOURCES),
    ];
    match counts.into_iter().find(|(_, count, limit)| count > limit) {
        None => Ok(()),
        Some((what, count, limit)) => {
            Err(Error::TooLarge { file: file.to_string(), what, value: count as u64, limit: limit as u64 })
        }
    }
}

/// Short names that tell days apart: titles, else dates, else files; with the venue where there are several.
pub fn names(days: &[Day]) -> Vec<String> {
    let distinct = |pick: &dyn Fn(&Day) -> Option<String>| -> Option<Vec<String>> {
        let found: Vec<String> = days.iter().map(pick).collect::<Option<_>>()?;
        let several: std::collections::BTreeSet<(&String, &String)> =
            found.iter().zip(days.iter().map(|d| &d.venue)).collect();
        (several.len() == days.len()).then_some(found)
    };
    let title = |d: &Day| Some(d.title.trim().to_string()).filter(|t| !t.is_empty());
    let found = distinct(&title).or_else(|| distinct(&|d: &Day| d.date.clone()));
    let path = |d: &Day| d.file.strip_suffix("/solution.json").unwrap_or(&d.file).to_string();
    let found = found.unwrap_or_else(|| days.iter().map(path).collect());
    let several_venues = days.iter().any(|d| d.one_of_several || d.venue != days[0].venue);
    let with_venue = |(name, day): (String, &Day)| match several_venues {
        true => format!("{name}, {}", venue_name(&day.venue)),
        false => name,
    };
    found.into_iter().zip(days).map(with_venue).collect()
}
