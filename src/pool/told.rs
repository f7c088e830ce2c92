//! What a result says of one difference, and how much of its error each source of the instruments makes.
//!
//! Given the results of one venue; gives its pairs of set-ups, or says which number no solution has.

use crate::solution::Quantities;
use crate::solution::{BudgetLine, Contrast, Contribution, Estimate, PairContribution, VenueResult};

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

/// Share of the variance that must be left when the shared part is taken off.
const LEAST_OWN: f64 = 1e-9;

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
    pub prior_se: Option<f64>,
    pub run_to_run_se: Option<f64>,
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

/// Differences with the baseline first, then every other pair; each pair once.
pub(super) fn pairs(venue: &VenueResult) -> Result<Vec<DayPair>, String> {
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
    let Estimate { scatter_se, prior_se, run_to_run_se, instrument_se, .. } = *estimate;
    let measure = Measure { value, se, dof, scatter_se, prior_se, run_to_run_se, instrument_se, loadings };
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

#[cfg(test)]
mod tests {
    use super::OF_A_DAY;
    use crate::analysis::instrument::InputQuantity;
    use crate::rollers::kinds;
    use crate::session::Uncertainty;
    use crate::solve::prior::Expected;
    use std::collections::BTreeSet;

    /// Who renames or adds a source in a budget decides here, too, whether it is another error on another day.
    #[test]
    fn what_pooling_takes_as_an_error_of_a_day_bears_the_names_of_the_budgets() {
        let of_a_day = [
            InputQuantity::MassOfRun(0),
            InputQuantity::TyreTemperatureOfRun(0),
            InputQuantity::Gusts,
            InputQuantity::GivenWind,
        ];
        let of_the_chain = [
            InputQuantity::Power,
            InputQuantity::PowerZero,
            InputQuantity::FixedLoss,
            InputQuantity::CdaBetweenSpeeds,
            InputQuantity::Speed,
            InputQuantity::SpeedDelay,
            InputQuantity::LapLength,
            InputQuantity::Temperature,
            InputQuantity::Pressure,
            InputQuantity::Humidity,
            InputQuantity::Efficiency,
            InputQuantity::WheelInertia,
            InputQuantity::CentreOfMassHeight,
            InputQuantity::Bearing,
            InputQuantity::TemperatureCoefficient,
        ];
        // Refuses to compile where a source was added and not put into one of the lists.
        let is_listed = |input: InputQuantity| match input {
            InputQuantity::MassOfRun(_)
            | InputQuantity::TyreTemperatureOfRun(_)
            | InputQuantity::Gusts
            | InputQuantity::GivenWind => true,
            InputQuantity::PowerZero | InputQuantity::FixedLoss | InputQuantity::CdaBetweenSpeeds => true,
            InputQuantity::Power
            | InputQuantity::Speed
            | InputQuantity::SpeedDelay
            | InputQuantity::Temperature
            | InputQuantity::Pressure
            | InputQuantity::Humidity => true,
            InputQuantity::Efficiency
            | InputQuantity::WheelInertia
            | InputQuantity::CentreOfMassHeight
            | InputQuantity::Bearing => true,
            InputQuantity::LapLength | InputQuantity::TemperatureCoefficient => true,
        };
        assert!(of_a_day.into_iter().chain(of_the_chain).all(is_listed));
        let mut named: BTreeSet<&str> = of_a_day.into_iter().map(InputQuantity::group).collect();
        let chain: BTreeSet<&str> = of_the_chain.into_iter().map(InputQuantity::group).collect();
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
