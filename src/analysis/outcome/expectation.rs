//! Where what was expected decides more than the rides did, and what to measure or ride next.
//!
//! Given a solved loop; gives findings. It computes no fit.

use super::Report;
use crate::analysis::contrasts::Pair;
use crate::analysis::known::Known;
use crate::analysis::quantities::Linear;
use crate::finding::{Finding, What};
use crate::solution::Quantity;
use crate::solve::prior::Expected;

/// Share of a reported variance from which an expectation decides.
const DECIDES_FROM: f64 = 0.5;

/// What is expected, in words, and what would tell it.
fn words(kind: Expected) -> (&'static str, &'static str) {
    match kind {
        Expected::Cda => ("CdA", "Ride laps at a second speed, or state cda_m2 and cda_sd_m2 under [expected]."),
        Expected::Crr => ("Crr", "Ride in less wind or at speeds farther apart, or state crr under [expected]."),
        Expected::Lag => ("the speed delay", "Change speed from lap to lap, or state lag under [solve]."),
        Expected::Wind => ("the wind", "Say what wind there was (expected_m_s under [wind]), or log it with a mast."),
        Expected::WindDrift => ("the change of wind", "Ride shorter runs, or log the wind with a mast."),
        Expected::WindAlong => {
            ("the wind along the loop", "Ride an open loop, less wind, or speeds farther apart, or state along_loop.")
        }
        Expected::OpenHeight => (
            "the height where no lap shows the loop",
            "Ride a lap through without stopping, or state a survey under [loop].",
        ),
        Expected::Yaw => ("drag against yaw", "Ride in less wind, or state yaw under [solve]."),
    }
}

impl Report<'_> {
    /// One finding for each expectation that decides a reported quantity.
    pub(super) fn rests_on_expectation(&self, separable: bool) -> Vec<Finding> {
        let mut reported: Vec<(String, Linear, Option<f64>)> = Vec::new();
        if separable {
            for (s, (q, setup)) in self.quantities.iter().zip(&self.session.setups).enumerate() {
                let instrument = |quantity| self.instrument(s, quantity);
                reported.push((format!("Crr of {}", setup.name()), q.crr.clone(), instrument(Quantity::Crr)));
                reported.push((format!("CdA of {}", setup.name()), q.cda.clone(), instrument(Quantity::Cda)));
            }
        }
        for pair in Pair::against_baseline(self.session) {
            let q = self.quantities[pair.setup].minus(&self.quantities[pair.baseline]);
            let [a, b] = [pair.setup, pair.baseline].map(|s| self.session.setups[s].name());
            let instrument = self.instrument_of_difference(pair, Quantity::Power);
            reported.push((format!("watts of {a} less {b}"), q.power, instrument));
        }
        // What is named is the expectation that counts most where all together decide.
        let deciding: Vec<Option<Expected>> =
            reported.iter().map(|(_, linear, instrument)| self.deciding(linear, *instrument)).collect();
        let decided = |kind: Expected| {
            let quantities: Vec<String> = reported
                .iter()
                .zip(&deciding)
                .filter(|(_, deciding)| **deciding == Some(kind))
                .map(|((name, ..), _)| name.clone())
                .collect();
            let (of, next) = words(kind);
            (!quantities.is_empty()).then(|| Finding::of_session(What::RestsOnExpectation { of, quantities, next }))
        };
        Expected::ALL.into_iter().filter_map(decided).collect()
    }

    /// The expectation that counts most where all together make more than half of a quantity's reported variance.
    fn deciding(&self, linear: &Linear, instrument: Option<f64>) -> Option<Expected> {
        let Known::Within(known) = self.known(linear, instrument) else { return None };
        let whole = known.estimate(self.confidence).se?;
        let most = |a: &Expected, b: &Expected| self.open(linear, &[*a]).total_cmp(&self.open(linear, &[*b]));
        (self.open(linear, &Expected::ALL) > DECIDES_FROM * whole * whole)
            .then(|| Expected::ALL.into_iter().max_by(most))
            .flatten()
    }
}
