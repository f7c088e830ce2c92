//! A day for tests: all that no test of pooling asks for is the same on every one.
//!
//! Given set-ups, differences and factors; gives a day with the first set-up as its baseline.

use super::day::{Day, SetupName};
use super::told::DayPair;
use crate::factor::FactorResult;
use crate::solution::ReferenceConditions;

pub fn made_up_day(place: usize, setups: &[String], pairs: Vec<DayPair>, factors: FactorResult) -> Day {
    Day {
        file: format!("{place}.json"),
        sha256: place.to_string(),
        title: format!("day {place}"),
        date: None,
        venue: "road".into(),
        one_of_several: false,
        confidence: 0.95,
        baseline: setups[0].clone(),
        reference: ReferenceConditions::default(),
        setups: setups.iter().map(|id| SetupName { id: id.clone(), label: String::new() }).collect(),
        rides: Vec::new(),
        pairs,
        factors: Some(factors),
        findings: Vec::new(),
    }
}
