//! What the days must agree on before they are pooled, and what the person chooses.
//!
//! Given days and a choice; gives baseline, pairs, confidence and reference, or says why the days do not go together.

use super::day::{Day, SetupName};
use super::family::{PairName, Seen, counts};
use super::mixed_up::{check_one_id_each, check_twice};
use super::told::Told;
use crate::error::Error;
use crate::finding::What;
use crate::solution::ReferenceConditions;
use std::collections::BTreeSet;

/// Fewest results.
pub const FEWEST: usize = 2;
/// Most results; more are not days of one test.
pub const MOST: usize = 200;

/// Whether the errors of the instruments are one and the same on all days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Instruments {
    /// The same meter, wheel, scale and thermometer: the safe side.
    #[default]
    Shared,
    /// Others each day.
    Separate,
}

impl Instruments {
    pub fn word(self) -> &'static str {
        match self {
            Instruments::Shared => "shared",
            Instruments::Separate => "separate",
        }
    }
}

/// What the person wants.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Choice {
    /// Default: that of the first result.
    pub baseline: Option<String>,
    /// Every pair instead of those with the baseline.
    pub all_pairs: bool,
    /// Default: that of the results, if they have one.
    pub confidence: Option<f64>,
    pub instruments: Instruments,
    /// Turns on the equivalence verdict for watts.
    pub negligible_power_w: Option<f64>,
}

/// What holds for the whole pool.
pub struct Agreed {
    pub confidence: f64,
    pub baseline: String,
    pub reference: ReferenceConditions,
    /// In the order of appearance.
    pub setups: Vec<SetupName>,
    pub pairs: Vec<PairName>,
    /// Those and all others.
    pub every_pair: Vec<PairName>,
    pub instruments: Instruments,
    pub margin_w: Option<f64>,
    pub findings: Vec<What>,
}

impl Agreed {
    /// See the module.
    pub fn of(days: &[Day], choice: &Choice) -> Result<Agreed, Error> {
        check_count(days)?;
        check_twice(days)?;
        let setups = setups(days);
        check_one_id_each(days, &setups)?;
        let mut findings = labels(days, &setups);
        let confidence = confidence(days, choice)?;
        let baseline = baseline(days, choice, &setups)?;
        let every_pair = pairs(days, true, &baseline, &setups);
        let pairs = pairs(days, choice.all_pairs, &baseline, &setups);
        let reference = days[0].reference.clone();
        let names = super::day::names(days);
        let elsewhere: Vec<String> =
            days.iter().zip(names).filter(|(d, _)| !same_reference(&d.reference, &reference)).map(|(_, n)| n).collect();
        if !elsewhere.is_empty() {
            findings.push(What::ReferencesDiffer { results: elsewhere });
        }
        Ok(Agreed {
            confidence,
            baseline,
            reference,
            setups,
            pairs,
            every_pair,
            instruments: choice.instruments,
            margin_w: choice.negligible_power_w,
            findings,
        })
    }

    /// Name of a set-up for people.
    pub fn name(&self, id: &str) -> String {
        self.setups
            .iter()
            .find(|s| s.id == id && !s.label.trim().is_empty())
            .map_or(id, |s| s.label.as_str())
            .to_string()
    }

    /// Why the watts of a day do not go with those of the others; `all` are the days that have the difference.
    pub fn power_left_out(&self, days: &[Day], all: &[Seen], one: &Seen) -> Option<PowerLeftOut> {
        if !matches!(one.told.power_w, Told::Measured(_)) {
            return None;
        }
        if !same_reference(&days[one.day].reference, &self.reference) {
            return Some(PowerLeftOut::OtherReference);
        }
        // Rollers know no air; where the others hold its part as shared there is no difference in it either.
        let with_air = all.iter().any(|s| matches!(s.told.cda_m2, Told::Measured(_)));
        (with_air && one.told.cda_m2 == Told::Unknown).then_some(PowerLeftOut::RollingOnly)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PowerLeftOut {
    OtherReference,
    RollingOnly,
}

impl PowerLeftOut {
    pub fn word(self) -> &'static str {
        match self {
            PowerLeftOut::OtherReference => "other reference",
            PowerLeftOut::RollingOnly => "rolling only",
        }
    }
}

pub fn same_reference(a: &ReferenceConditions, b: &ReferenceConditions) -> bool {
    let near = |x: f64, y: f64| (x - y).abs() <= 1e-6 * x.abs().max(y.abs());
    near(a.speed_km_h, b.speed_km_h) && near(a.mass_kg, b.mass_kg) && near(a.air_density_kg_m3, b.air_density_kg_m3)
}

fn usage(flag: &str, message: String) -> Error {
    Error::Usage { flag: flag.to_string(), message }
}

fn check_count(days: &[Day]) -> Result<(), Error> {
    let files: BTreeSet<&str> = days.iter().map(|d| d.file.as_str()).collect();
    if days.len() > MOST {
        return Err(usage(
            "pool",
            format!("{} results, more than the limit of {MOST}; pool the days of one test", days.len()),
        ));
    }
    if files.len() >= FEWEST {
        return Ok(());
    }
    let inside = if days.len() > 1 { "; what its two venues say together is in the result itself" } else { "" };
    let count = days.len().min(1);
    // The same file named twice has days of equal venue.
    let twice = days.iter().map(|d| &d.venue).collect::<BTreeSet<_>>().len() < days.len();
    if twice {
        check_twice(days)
    } else {
        Err(usage("pool", format!("{count} result given, at least {FEWEST} are needed{inside}")))
    }
}

fn setups(days: &[Day]) -> Vec<SetupName> {
    let mut out: Vec<SetupName> = Vec::new();
    for setup in days.iter().flat_map(|d| &d.setups) {
        if !out.iter().any(|s| s.id == setup.id) {
            out.push(setup.clone());
        }
    }
    out
}

fn labels(days: &[Day], setups: &[SetupName]) -> Vec<What> {
    let of = |id: &str| -> BTreeSet<String> {
        let same = days.iter().flat_map(|d| &d.setups).filter(|s| s.id == id);
        same.map(|s| format!("«{}»", s.label)).collect()
    };
    let several = setups.iter().map(|s| (s, of(&s.id))).filter(|(_, labels)| labels.len() > 1);
    several
        .map(|(s, labels)| What::LabelsDiffer { setup: s.id.clone(), labels: labels.into_iter().collect() })
        .collect()
}

fn confidence(days: &[Day], choice: &Choice) -> Result<f64, Error> {
    if let Some(stated) = choice.confidence {
        return Ok(stated);
    }
    let first = &days[0];
    match days.iter().find(|d| d.confidence != first.confidence) {
        None => Ok(first.confidence),
        Some(other) => Err(usage(
            "--confidence",
            format!(
                "the results have different levels ({} in {}, {} in {}); state one, such as --confidence {}",
                first.confidence, first.file, other.confidence, other.file, first.confidence
            ),
        )),
    }
}

fn baseline(days: &[Day], choice: &Choice, setups: &[SetupName]) -> Result<String, Error> {
    let Some(stated) = &choice.baseline else { return Ok(days[0].baseline.clone()) };
    if setups.iter().any(|s| s.id == *stated) {
        return Ok(stated.clone());
    }
    let ids: Vec<&str> = setups.iter().map(|s| s.id.as_str()).collect();
    Err(usage("--baseline", format!("no result has a set-up «{stated}»; there are: {}", ids.join(", "))))
}

/// With the baseline, or all pairs that a result has; the earlier set-up is what the later is compared with.
fn pairs(days: &[Day], all: bool, baseline: &str, setups: &[SetupName]) -> Vec<PairName> {
    let there = counts(days);
    let mut ids: Vec<&str> = setups.iter().map(|s| s.id.as_str()).filter(|id| *id != baseline).collect();
    ids.insert(0, baseline);
    let ids = &ids;
    let later = |i: usize| ids[i + 1..].iter().map(move |s| PairName { setup: s.to_string(), baseline: ids[i].into() });
    let firsts = if all { ids.len() } else { 1 };
    (0..firsts).flat_map(later).filter(|p| p.days(&there) > 0).collect()
}

/// Why there is nothing to bring together.
pub fn nothing_in_common(days: &[Day], agreed: &Agreed) -> Error {
    let there = counts(days);
    let common: BTreeSet<&str> = there
        .iter()
        .filter(|(_, n)| **n >= FEWEST)
        .flat_map(|(p, _)| [p.setup.as_str(), p.baseline.as_str()])
        .collect();
    let message = if common.is_empty() {
        let of = |d: &Day| d.setups.iter().map(|s| s.id.clone()).collect::<Vec<_>>().join(", ");
        format!(
            "no two results have a pair of set-ups in common ({} has {}; {} has {}), nor levels of a factor; give the same tyre or \
             position the same id in every session, or state its factors",
            days[0].file,
            of(&days[0]),
            days[1].file,
            of(&days[1])
        )
    } else {
        format!(
            "no difference with the baseline «{}» is in two results; state --baseline with one of {}",
            agreed.baseline,
            common.into_iter().collect::<Vec<_>>().join(", ")
        )
    };
    Error::NotPoolable { file: "pool".into(), message }
}
