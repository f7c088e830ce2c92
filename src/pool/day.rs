//! One result as it enters the pool.
//!
//! Given the bytes of a `solution.json`; gives what is needed of it, one [`Day`] for every venue in it, or says what is
//! wrong with the file. It compares nothing.

use super::kind::Quantities;
use crate::error::Error;
use crate::factor::FactorResult;
use crate::record::sha256_hex;
use crate::solution::{
    BudgetLine, Contrast, Contribution, Estimate, FindingResult, PairContribution, ReferenceConditions, SCHEMA,
    Solution, VenueResult,
};
use serde::{Deserialize, Serialize};

/// Sources of a budget that are another error on another day. All others belong to the instruments.
pub const OF_A_DAY: [&str; 12] = [
    "mass",
    "tyre temperature",
    "gusts",
    "given wind",
    "turning mass of the drums",
    "CdA left open",
    "Crr left open",
    "delay left open",
    "wind left open",
    "change of wind left open",
    "wind along the loop left open",
    "yaw left open",
];
/// Largest number that a difference or its error can be.
const LARGEST: f64 = 1e6;
/// Most set-ups in a result.
const MOST_SETUPS: usize = 60;
/// Most entries in each list of differences, and most sources in a budget.
const MOST_PAIRS: usize = MOST_SETUPS * MOST_SETUPS;
const MOST_SOURCES: usize = 100;
/// Share of the variance that must be left when the shared part is taken off.
const LEAST_OWN: f64 = 1e-9;

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

/// One difference of a day.
#[derive(Debug, Clone, PartialEq)]
pub struct DayPair {
    pub setup: String,
    pub baseline: String,
    pub told: Quantities<Told>,
}

/// What a result says of one difference.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    Unknown,
    /// Zero because both set-ups have one value.
    Shared,
    Measured(Measure),
}

/// A difference with its error, and how much of that each source of the instruments makes.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    pub value: f64,
    pub se: f64,
    /// Infinite where the result gives none.
    pub dof: f64,
    pub scatter_se: Option<f64>,
    pub instrument_se: Option<f64>,
    /// `None` when the result does not part the instrument error by source.
    pub loadings: Option<Vec<Loading>>,
}

/// How far one standard uncertainty of a source moves a difference.
#[derive(Debug, Clone, PartialEq)]
pub struct Loading {
    pub source: String,
    pub moves: f64,
}

#[derive(Deserialize)]
struct Head {
    schema: Option<u32>,
    loopwright: Option<String>,
    kind: Option<String>,
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

/// A result as `solve` wrote it, or what the file is instead.
pub fn solution(bytes: &[u8]) -> Result<Solution, String> {
    let give = "give a solution.json that `loopwright solve` wrote";
    let head: Head = serde_json::from_slice(bytes).map_err(|e| {
        if bytes.iter().all(u8::is_ascii_whitespace) {
            format!("it is empty; {give}")
        } else if e.is_data() {
            format!("it is JSON but not a loopwright result ({e}); {give}")
        } else {
            format!("it is not JSON ({e}); {give}")
        }
    })?;
    if head.kind.is_some() {
        return Err(format!("it is a pooled result; its days would be counted twice, so {give} of each day"));
    }
    let (Some(schema), Some(by)) = (head.schema, head.loopwright) else {
        return Err(format!("it is JSON but not a loopwright result (no schema and version in it); {give}"));
    };
    if schema != SCHEMA {
        return Err(format!(
            "it has schema {schema} (loopwright {by}) and this program reads schema {SCHEMA}; solve the session again \
             with this program"
        ));
    }
    let solution: Solution = serde_json::from_slice(bytes)
        .map_err(|e| format!("it says schema {SCHEMA} but does not hold to it ({e}); solve the session again"))?;
    if !(solution.confidence > 0.0 && solution.confidence < 1.0) {
        return Err(format!(
            "its confidence is {}, which is not between 0 and 1; solve the session again",
            solution.confidence
        ));
    }
    Ok(solution)
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

/// Differences with the baseline first, then every other pair; each pair once.
fn pairs(venue: &VenueResult) -> Result<Vec<DayPair>, String> {
    let mut out: Vec<DayPair> = Vec::new();
    let mut known = std::collections::BTreeSet::new();
    for c in venue.contrasts.iter().chain(&venue.all_pairs) {
        if c.setup == c.baseline || !known.insert((c.setup.clone(), c.baseline.clone())) {
            continue;
        }
        if known.contains(&(c.baseline.clone(), c.setup.clone())) {
            continue;
        }
        out.push(DayPair {
            setup: c.setup.clone(),
            baseline: c.baseline.clone(),
            told: Quantities {
                crr: told(c, "Crr", &c.crr, venue, &|x| x.crr)?,
                cda_m2: told(c, "CdA", &c.cda_m2, venue, &|x| x.cda_m2)?,
                power_w: told(c, "power", &c.power_w, venue, &|x| x.power_w)?,
            },
        });
    }
    Ok(out)
}

/// What one source does to the quantities of a difference.
type Moved = Quantities<Option<f64>>;

fn moved(line: &BudgetLine, contrast: &Contrast, baseline: &str) -> Option<Moved> {
    let with_baseline = |c: &Contribution| Moved { crr: c.crr, cda_m2: c.cda_m2, power_w: c.power_w };
    let pair = |p: &PairContribution| Moved { crr: p.crr, cda_m2: p.cda_m2, power_w: p.power_w };
    let same = |p: &&PairContribution| {
        (p.setup == contrast.setup && p.baseline == contrast.baseline)
            || (p.setup == contrast.baseline && p.baseline == contrast.setup)
    };
    if let Some(listed) = line.pairs.iter().find(same) {
        return Some(pair(listed));
    }
    // A result without the list of pairs has the contributions to differences with its baseline, either way round.
    let other = match (contrast.setup == baseline, contrast.baseline == baseline) {
        (false, true) => &contrast.setup,
        (true, false) => &contrast.baseline,
        _ => return None,
    };
    line.contrasts.iter().find(|c| c.setup == *other).map(with_baseline)
}

fn told(
    contrast: &Contrast,
    quantity: &str,
    estimate: &Estimate,
    venue: &VenueResult,
    pick: &dyn Fn(&Moved) -> Option<f64>,
) -> Result<Told, String> {
    let (value, se) = match (estimate.value, estimate.se) {
        (None, _) => return Ok(Told::Unknown),
        (Some(0.0), None) => return Ok(Told::Shared),
        (Some(_), None) => return Ok(Told::Unknown),
        (Some(value), Some(se)) => (value, se),
    };
    let dof = estimate.dof.unwrap_or(f64::INFINITY);
    let place = format!("the difference of {} and {} in {quantity}", contrast.setup, contrast.baseline);
    if !(value.abs() < LARGEST && se > 1.0 / (LARGEST * LARGEST) && se < LARGEST && dof > 0.0) {
        return Err(format!(
            "{place} is {value} ± {se} on {dof} degrees of freedom, which no solution has; solve the session again"
        ));
    }
    let budget = &venue.budget;
    let parts: Option<Vec<Loading>> = budget
        .iter()
        .map(|line| {
            Some(Loading { source: line.source.clone(), moves: pick(&moved(line, contrast, &venue.baseline)?)?.abs() })
        })
        .collect();
    let loadings = parts.map(|mut all| {
        all.retain(|l| l.moves.is_finite() && l.moves > 0.0 && !OF_A_DAY.contains(&l.source.as_str()));
        all
    });
    // Without a budget nothing is known of the instruments; a pair that is not in it has its sum alone.
    let loadings = loadings.filter(|_| !budget.is_empty() || estimate.instrument_se.is_none());
    let measure =
        Measure { value, se, dof, scatter_se: estimate.scatter_se, instrument_se: estimate.instrument_se, loadings };
    let shared: f64 = measure.loadings_or_whole(false).iter().map(|l| l.moves.powi(2)).sum();
    if se * se - shared <= LEAST_OWN * se * se {
        return Err(format!(
            "{place} has a standard error of {se}, but its instruments alone make {}; solve the session again",
            shared.sqrt()
        ));
    }
    Ok(Told::Measured(measure))
}

impl Measure {
    /// Loadings by source, or the whole instrument error as one source.
    pub fn loadings_or_whole(&self, whole: bool) -> Vec<Loading> {
        match &self.loadings {
            Some(loadings) if !whole => loadings.clone(),
            _ => {
                let moves = self.instrument_se.unwrap_or(0.0).abs();
                vec![Loading { source: "instruments".into(), moves }]
            }
        }
    }
}

/// Short names that tell days apart: titles, else dates, else files; with the venue where a file has several.
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
    found
        .into_iter()
        .zip(days)
        .map(|(name, day)| if several_venues { format!("{name}, {}", day.venue) } else { name })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::OF_A_DAY;
    use crate::analysis::instrument::Input;
    use crate::rollers::kinds;
    use crate::session::Uncertainty;
    use crate::solve::prior::Expected;
    use std::collections::BTreeSet;

    /// Who renames or adds a source in a budget decides here, too, whether it is another error on another day.
    #[test]
    fn what_pooling_takes_as_an_error_of_a_day_bears_the_names_of_the_budgets() {
        let of_a_day = [Input::MassOfRun(0), Input::TyreTemperatureOfRun(0), Input::Gusts, Input::GivenWind];
        let of_the_chain = [
            Input::Power,
            Input::PowerZero,
            Input::FixedLoss,
            Input::CdaBetweenSpeeds,
            Input::Speed,
            Input::SpeedDelay,
            Input::LapLength,
            Input::Temperature,
            Input::Pressure,
            Input::Humidity,
            Input::Efficiency,
            Input::WheelInertia,
            Input::CentreOfMassHeight,
            Input::Bearing,
            Input::TemperatureCoefficient,
        ];
        // Refuses to compile where a source was added and not put into one of the lists.
        let is_listed = |input: Input| match input {
            Input::MassOfRun(_) | Input::TyreTemperatureOfRun(_) | Input::Gusts | Input::GivenWind => true,
            Input::PowerZero | Input::FixedLoss | Input::CdaBetweenSpeeds => true,
            Input::Power
            | Input::Speed
            | Input::SpeedDelay
            | Input::Temperature
            | Input::Pressure
            | Input::Humidity => true,
            Input::Efficiency | Input::WheelInertia | Input::CentreOfMassHeight | Input::Bearing => true,
            Input::LapLength | Input::TemperatureCoefficient => true,
        };
        assert!(of_a_day.into_iter().chain(of_the_chain).all(is_listed));
        let mut named: BTreeSet<&str> = of_a_day.into_iter().map(Input::group).collect();
        let chain: BTreeSet<&str> = of_the_chain.into_iter().map(Input::group).collect();
        // The sources that only rollers have: of these one is of a day.
        let rollers: BTreeSet<&str> = kinds(&Uncertainty::default()).into_iter().map(|k| k.source).collect();
        let of_rollers_alone: BTreeSet<&str> =
            rollers.iter().copied().filter(|s| !named.contains(s) && !chain.contains(s)).collect();
        let expected = [
            "drum diameter",
            "drum spacing",
            "drum-to-flat conversion",
            "no-load drag",
            "turning mass of the drums",
            "weight share",
        ];
        assert_eq!(of_rollers_alone, BTreeSet::from(expected));
        named.insert("turning mass of the drums");
        // A height that no lap shows is that of the place, the same on another day.
        named.extend(Expected::ALL.into_iter().filter(|e| *e != Expected::OpenHeight).map(Expected::line));
        assert_eq!(named, BTreeSet::from(OF_A_DAY));
    }
}
