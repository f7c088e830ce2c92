//! The resistance at the mean speed, which is known even where CdA and Crr are not, and the budget of what is known.
//!
//! Given a solved loop; gives estimates and budget lines. It computes no fit.

use super::Report;
use crate::analysis::budget_lines::budget_lines;
use crate::analysis::contrasts::Pair;
use crate::analysis::known::Known;
use crate::analysis::known_budget::of_what_is_known;
use crate::analysis::prior_budget::prior_lines;
use crate::analysis::quantities::Linear;
use crate::solution::{BudgetLine, Estimate, Quantity};

/// Factors of Crr and CdA in something that is linear in both.
#[derive(Clone, Copy)]
struct Factors {
    per_crr: f64,
    per_cda: f64,
    constant: f64,
}

impl Report<'_> {
    fn combined(&self, s: usize, f: Factors) -> Estimate {
        let q = &self.quantities[s];
        let coefficients = &q.crr.coefficients * f.per_crr + &q.cda.coefficients * f.per_cda;
        let instrument = self.venue.budget.as_ref().map(|b| b.combined(&self.of_both(s, f)));
        self.estimate(&Linear { coefficients, constant: f.constant }, instrument)
    }

    /// The same combination of the outputs that the instruments move.
    fn of_both(&self, s: usize, f: Factors) -> Vec<f64> {
        let Some(b) = &self.venue.budget else { return Vec::new() };
        let (crr, cda) = (b.of_setup(s, Quantity::Crr), b.of_setup(s, Quantity::Cda));
        crr.iter().zip(&cda).map(|(a, c)| f.per_crr * a + f.per_cda * c).collect()
    }

    /// Resistance at a speed, Crr m g + ½ρ CdA v².
    fn drag_factors(&self, s: usize, speed_m_s: f64) -> Factors {
        let weight_n: f64 = self.laps_of(s).map(|a| a.weight_n).sum();
        let per_crr = weight_n / self.laps_of(s).count() as f64;
        Factors { per_crr, per_cda: self.per_cda(s, speed_m_s), constant: 0.0 }
    }

    /// Resistance at a speed, which is known even where its parts are not.
    pub(super) fn drag(&self, s: usize, speed_m_s: f64) -> Estimate {
        self.combined(s, self.drag_factors(s, speed_m_s))
    }

    /// CdA if Crr had a value, by the resistance at a speed.
    pub(super) fn cda_if_crr_were(&self, s: usize, crr: f64, speed_m_s: f64) -> Estimate {
        let Factors { per_crr, per_cda, .. } = self.drag_factors(s, speed_m_s);
        let ratio = per_crr / per_cda;
        self.combined(s, Factors { per_crr: ratio, per_cda: 1.0, constant: -ratio * crr })
    }

    /// The budget of what is known.
    pub(super) fn budget(&self, against: &[Pair], separable: bool) -> Vec<BudgetLine> {
        let Some(budget) = &self.venue.budget else { return Vec::new() };
        let lines = budget_lines(budget, self.session, against);
        let open = prior_lines(self.session, &self.venue.fit, &self.quantities, against);
        let all: Vec<BudgetLine> = lines.into_iter().chain(open).collect();
        if separable {
            return all;
        }
        let baseline = self.session.baseline();
        let drag = self.mean_speed_m_s(baseline).map(|v| self.of_both(baseline, self.drag_factors(baseline, v)));
        let drag_n = |source: &str| drag.as_ref().map(|c| budget.contribution(source, c));
        let known: Vec<[bool; 3]> = against
            .iter()
            .map(|p| self.difference(*p, false))
            .map(|d| [d.crr, d.cda_m2, d.power_w].map(|known| known != Known::Not))
            .collect();
        of_what_is_known(all, drag_n, &known)
    }

    /// Force of a square metre of CdA at a speed in the air of a set-up's laps, ½ρv², N/m².
    fn per_cda(&self, s: usize, speed_m_s: f64) -> f64 {
        let n = self.laps_of(s).count() as f64;
        0.5 * self.laps_of(s).map(|a| a.mean_density_kg_m3).sum::<f64>() / n * speed_m_s * speed_m_s
    }

    /// Way over time of the used laps of a set-up.
    pub(super) fn mean_speed_m_s(&self, s: usize) -> Option<f64> {
        let (total_m, total_s) = self.laps_of(s).fold((0.0, 0.0), |(m, t), a| {
            let duration_s = a.edge_s[a.steps()] - a.edge_s[0];
            (m + a.mean_speed_m_s * duration_s, t + duration_s)
        });
        (total_s > 0.0).then(|| total_m / total_s)
    }
}
