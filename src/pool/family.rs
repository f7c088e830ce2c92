//! Which differences are asked for, and which days have them.
//!
//! Given days and a pair of set-ups; gives each day's difference, turned where the day counts it the other way. It
//! combines nothing.

use super::day::Day;
use super::told::{DayPair, Measure, Told};
use crate::solution::Quantities;
use std::collections::BTreeMap;

/// A difference that is asked for: the set-up less the baseline.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct PairName {
    pub setup: String,
    pub baseline: String,
}

/// A difference in one day.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// Place in the list of days.
    pub day: usize,
    /// The day has it with the opposite sign.
    pub turned: bool,
    pub told: Quantities<Told>,
}

/// A difference in all days.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    pub pair: PairName,
    pub seen: Vec<Seen>,
}

impl Found {
    pub fn of(days: &[Day], pair: &PairName) -> Found {
        let seen = days.iter().enumerate().filter_map(|(day, d)| seen(day, &d.pairs, pair)).collect();
        Found { pair: pair.clone(), seen }
    }
}

fn seen(day: usize, pairs: &[DayPair], wanted: &PairName) -> Option<Seen> {
    let as_is = |p: &&DayPair| p.setup == wanted.setup && p.baseline == wanted.baseline;
    let opposite = |p: &&DayPair| p.setup == wanted.baseline && p.baseline == wanted.setup;
    let (pair, turned) = match pairs.iter().find(as_is) {
        Some(pair) => (pair, false),
        None => (pairs.iter().find(opposite)?, true),
    };
    let signed = |told: &Told| match told {
        Told::Measured(m) if turned => Told::Measured(Measure { value: -m.value, ..m.clone() }),
        other => other.clone(),
    };
    let Quantities { crr, cda_m2, power_w } = &pair.told;
    let told = Quantities { crr: signed(crr), cda_m2: signed(cda_m2), power_w: signed(power_w) };
    Some(Seen { day, turned, told })
}

/// How many days have each pair, named in the order of the ids so that both signs count as one.
pub fn counts(days: &[Day]) -> BTreeMap<PairName, usize> {
    let mut counts = BTreeMap::new();
    for pair in days.iter().flat_map(|d| &d.pairs) {
        let (a, b) = (pair.setup.clone(), pair.baseline.clone());
        let name = if a < b { PairName { setup: a, baseline: b } } else { PairName { setup: b, baseline: a } };
        *counts.entry(name).or_insert(0) += 1;
    }
    counts
}

impl PairName {
    /// How many days have it, from [`counts`].
    pub fn days(&self, counts: &BTreeMap<PairName, usize>) -> usize {
        let turned = PairName { setup: self.baseline.clone(), baseline: self.setup.clone() };
        counts.get(self).or_else(|| counts.get(&turned)).copied().unwrap_or(0)
    }
}
