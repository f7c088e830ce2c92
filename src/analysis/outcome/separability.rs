//! What tells CdA from Crr, and what to bear in mind of an answer that tells them.
//!
//! Given a solved loop; gives the evidence, correlations and findings. It computes no fit.

use super::{Report, Scatter};
use crate::analysis::known::Uncertain;
use crate::analysis::loop_findings::ENOUGH_LAPS;
use crate::finding::{Finding, What};
use crate::solution::Separation;
use crate::solve::instrumental_variables::tell_cda;
use crate::solve::prior::Expected;
use crate::solve::separation::{self, Evidence};
use crate::uncertainty::budget::Combined;
use crate::uncertainty::cluster::ClusterRobust;
use nalgebra::DVector;

/// Probability of laps that scatter as these do, the model of the scatter within them being as true as it usually is, below
/// which it is told.
const LAPS_DIFFER: f64 = 0.05;

impl Report<'_> {
    pub(super) fn separability(&self) -> Evidence {
        let speeds: Vec<f64> = self.venue.fit.used.iter().map(|i| self.venue.laps[*i].account.mean_speed_m_s).collect();
        let widest = self
            .quantities
            .iter()
            .enumerate()
            .map(|(s, q)| {
                // By the laps alone: what they cannot show must not be made up for by a model.
                let laps = self.scatter[s].crr;
                let scatter = Combined { standard_uncertainty: laps.standard_error(), dof: laps.dof };
                let value = q.crr.value(&self.venue.fit.parameters);
                let own = Uncertain::of_laps(value, scatter);
                own.estimate(self.confidence).high.map_or(f64::NAN, |high| high - value)
            })
            // A half-width that is not a number is as wide as can be.
            .fold(0.0_f64, |a, b| if b.is_nan() { f64::INFINITY } else { a.max(b) });
        let share = |(s, laps): (usize, &Scatter)| {
            let open = self.open(&self.quantities[s].cda, &[Expected::Cda]);
            open / (open + laps.cda.moderated().standard_uncertainty.powi(2))
        };
        Evidence {
            crr_half_width: widest,
            expected_share: self.scatter.iter().enumerate().map(share).fold(0.0, f64::max),
            spread: separation::spread_of_squares(&speeds),
            speed_min_m_s: speeds.iter().copied().fold(f64::MAX, f64::min),
            speed_max_m_s: speeds.iter().copied().fold(f64::MIN, f64::max),
        }
    }

    pub(super) fn separation(&self, evidence: &Evidence) -> Separation {
        let first = &self.scatter[self.session.baseline()];
        let correlation = self.correlation(self.session.baseline());
        let known = (1.0 - correlation.powi(2)).clamp(0.0, 1.0).sqrt();
        let finite = |x: f64| x.is_finite().then_some(x);
        Separation {
            correlation: finite(correlation),
            condition: finite(self.venue.fit.condition),
            speed_min_m_s: finite(evidence.speed_min_m_s),
            speed_max_m_s: finite(evidence.speed_max_m_s),
            first_stage_f: self.venue.fit.classes.first_stage_f,
            se_crr_if_cda_known: finite(first.crr.moderated().standard_uncertainty * known),
            se_cda_m2_if_crr_known: finite(first.cda.moderated().standard_uncertainty * known),
        }
    }

    pub(super) fn correlation(&self, s: usize) -> f64 {
        let (a, b) = (&self.quantities[s].crr.coefficients, &self.quantities[s].cda.coefficients);
        let ClusterRobust { covariance, working, prior, .. } = &self.venue.fit.covariance;
        let quadratic = |a: &DVector<f64>, b: &DVector<f64>| {
            self.scatter[s].crr.steadied(a.dot(&(covariance * b)), a.dot(&(working * b))) + a.dot(&(prior * b))
        };
        quadratic(a, b) / (quadratic(a, a) * quadratic(b, b)).sqrt()
    }

    /// The quantity for which laps differ most beyond what the scatter within them explains.
    fn laps_differ(&self) -> Option<Finding> {
        let all = self.scatter.iter().enumerate().flat_map(|(s, laps)| [(s, "Crr", laps.crr), (s, "CdA", laps.cda)]);
        let (s, quantity, worst) = all
            .filter(|(.., laps)| laps.probability() < LAPS_DIFFER)
            .min_by(|a, b| a.2.probability().total_cmp(&b.2.probability()))?;
        Some(Finding::of_session(What::LapsDiffer {
            name: format!("{quantity} of {}", self.session.setups[s].name()),
            by_laps: worst.standard_error(),
            within: worst.working.sqrt(),
        }))
    }

    pub(super) fn estimator_findings(&self) -> Vec<Finding> {
        let fit = &self.venue.fit;
        let mut out = Vec::new();
        if !tell_cda(&fit.classes) {
            out.push(Finding::of_session(What::WeakInstruments {
                first_stage_f: fit.classes.first_stage_f.unwrap_or(0.0),
            }));
        }
        for (q, scatter) in self.quantities.iter().zip(&self.scatter) {
            let difference_crr = q.crr.value(&fit.least_squares.parameters) - q.crr.value(&fit.parameters);
            let standard_error = scatter.crr.moderated().standard_uncertainty;
            if difference_crr.abs() > 2.0 * standard_error {
                out.push(Finding::of_session(What::Gusty { difference_crr, standard_error }));
                break;
            }
        }
        out.extend(self.laps_differ());
        if fit.used.len() < ENOUGH_LAPS {
            out.push(Finding::of_session(What::FewLaps { laps: fit.used.len() }));
        }
        out
    }
}
