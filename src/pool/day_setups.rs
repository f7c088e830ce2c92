//! The set-ups of a day in one output, and of several days in one joint estimate.
//!
//! Given the differences of each day; gives values with a joint covariance: every day its own errors, free in what moves all its
//! set-ups alike, and the errors of the instruments that all days share. It fits nothing.
//!
//! A budget tells how far a source moves each pair but not which way. One error moves all pairs from one vector (`factor::pairs`),
//! and that is taken to point where the values do, as an error of scale has it: on all days the same way, so that it does not
//! average out.

use super::choose::Instruments;
use super::day::Day;
use super::told::{Measure, Told};
use crate::factor::model::{Joint, common_dof};
use crate::factor::pairs::{covariance, leading};
use crate::solution::Quantity;
use nalgebra::{DMatrix, DVector};
use std::collections::BTreeMap;

/// Share of the variance of a pair that must be left when the shared part is taken off.
const LEAST_OWN: f64 = 1e-6;

/// See the module.
#[derive(Debug, Clone, PartialEq)]
pub struct DaySetups {
    /// Less that of the first.
    values: DVector<f64>,
    /// Variances of differences by the day's own errors.
    own: DMatrix<f64>,
    /// How far one standard uncertainty of each shared source moves the set-ups.
    shared: BTreeMap<String, DVector<f64>>,
    /// Of the own errors.
    dof: f64,
}

impl DaySetups {
    /// `None` where not every pair has been measured. `whole` takes the instruments as one source.
    pub fn of(day: &Day, quantity: Quantity, instruments: Instruments, whole: bool) -> Option<DaySetups> {
        let k = day.setups.len();
        let pairs = pairs(day, quantity)?;
        let mut values = DVector::zeros(k);
        let mut variance = DMatrix::zeros(k, k);
        let mut moved: BTreeMap<String, DMatrix<f64>> = BTreeMap::new();
        for pair in &pairs {
            let [a, b] = pair.places;
            if a == 0 {
                values[b] = pair.value;
            }
            set(&mut variance, a, b, pair.measure.se.powi(2));
            for loading in pair.measure.loadings_or_whole(whole) {
                let of_source = moved.entry(loading.source).or_insert_with(|| DMatrix::zeros(k, k));
                set(of_source, a, b, of_source[(a, b)] + loading.moves.powi(2));
            }
        }
        let mut shared = BTreeMap::new();
        if instruments == Instruments::Shared {
            for (source, of_source) in moved {
                let vector = leading(&of_source)?;
                let sign = if vector.dot(&values) < 0.0 { -1.0 } else { 1.0 };
                shared.insert(source, vector * sign);
            }
        }
        let mut own = variance.clone();
        let mut dof = Vec::with_capacity(pairs.len());
        for pair in &pairs {
            let [a, b] = pair.places;
            let off: f64 = shared.values().map(|v: &DVector<f64>| (v[a] - v[b]).powi(2)).sum();
            let left = (variance[(a, b)] - off).max(LEAST_OWN * variance[(a, b)]);
            set(&mut own, a, b, left);
            // The instruments have infinitely many degrees of freedom, so those of the rest are ν (o/u)⁴ (JCGM 100, G.2b).
            dof.push(pair.measure.dof * (left / variance[(a, b)]).powi(2));
        }
        Some(DaySetups { values, own, shared, dof: common_dof(&dof) })
    }

    pub fn count(&self) -> usize {
        self.values.len()
    }

    /// How much the day tells: differences over their mean variance.
    fn weight(&self) -> f64 {
        let k = self.count() as f64;
        let mean = self.own.sum() / (k * (k - 1.0));
        (k - 1.0) / mean
    }
}

/// All days together, in their order. `None` where no covariance has the variances of a day's pairs.
///
/// Degrees of freedom are those of a mean weighted by what each day tells, (Σw)²/Σ(w²/ν).
pub fn joint(days: &[DaySetups]) -> Option<Joint> {
    let n = days.iter().map(DaySetups::count).sum();
    let mut all = DMatrix::zeros(n, n);
    let mut sources: BTreeMap<&String, DVector<f64>> = BTreeMap::new();
    let (mut values, mut place) = (Vec::with_capacity(n), Vec::with_capacity(n));
    let (mut weight, mut loss) = (0.0, 0.0);
    for (d, day) in days.iter().enumerate() {
        let (from, k) = (place.len(), day.count());
        all.view_mut((from, from), (k, k)).copy_from(&covariance(&day.own)?);
        for (source, moved) in &day.shared {
            sources.entry(source).or_insert_with(|| DVector::zeros(n)).rows_mut(from, k).copy_from(moved);
        }
        values.extend(day.values.iter().copied());
        place.extend(vec![d; k]);
        weight += day.weight();
        loss += day.weight().powi(2) / day.dof;
    }
    for moved in sources.values() {
        all += moved * moved.transpose();
    }
    let dof = if loss > 0.0 { weight * weight / loss } else { f64::INFINITY };
    Some(Joint { values: DVector::from_vec(values), covariance: all, dof, runs: vec![1; n], day: place })
}

/// A difference by the places of its set-ups, the later less the earlier.
struct Pair<'a> {
    places: [usize; 2],
    value: f64,
    measure: &'a Measure,
}

/// Every pair of the day's set-ups, each once.
fn pairs(day: &Day, quantity: Quantity) -> Option<Vec<Pair<'_>>> {
    let place: BTreeMap<&str, usize> = day.setups.iter().enumerate().map(|(i, s)| (s.id.as_str(), i)).collect();
    let mut found = BTreeMap::new();
    for pair in &day.pairs {
        let (Some(setup), Some(baseline)) = (place.get(pair.setup.as_str()), place.get(pair.baseline.as_str())) else {
            continue;
        };
        let Told::Measured(measure) = quantity.of(&pair.told) else { return None };
        let (places, value) = match setup > baseline {
            true => ([*baseline, *setup], measure.value),
            false => ([*setup, *baseline], -measure.value),
        };
        found.insert(places, Pair { places, value, measure });
    }
    let k = day.setups.len();
    (k > 1 && place.len() == k && found.len() == k * (k - 1) / 2).then(|| found.into_values().collect())
}

fn set(matrix: &mut DMatrix<f64>, a: usize, b: usize, value: f64) {
    matrix[(a, b)] = value;
    matrix[(b, a)] = value;
}
