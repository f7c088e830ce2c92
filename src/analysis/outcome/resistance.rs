//! The resistance at the mean speed, which is known even where CdA and Crr are not, and the budget of what is known.
//!
//! Given a solved loop; gives estimates and budget lines. It computes no fit.

use super::Report;
use crate::analysis::budget_lines::budget_lines;
use crate::analysis::contrasts::Pair;
use crate::analysis::instrument::{Input, Output};
use crate::analysis::known::{Known, Uncertain};
use crate::analysis::known_budget::{KnownDrag, of_what_is_known};
use crate::analysis::quantities::{Linear, linear_known};
use crate::solution::{BudgetLine, Estimate};
use crate::solve::held::{HELD_CRR, HeldFit};
use crate::uncertainty::budget::Combined;
use nalgebra::DVector;

/// Wind that may have blown where none could be solved for, m/s (common practice, no source).
const UNSEEN_WIND_M_S: f64 = 2.0;

impl Report<'_> {
    /// Resistance at a speed, Crr m g + ½ρ CdA v², which is known even where its parts are not.
    pub(super) fn drag(&self, s: usize, speed_m_s: f64) -> Estimate {
        let q = &self.quantities[s];
        let weight_n: f64 = self.laps_of(s).map(|a| a.weight_n).sum();
        let (per_crr, per_cda) = (weight_n / self.laps_of(s).count() as f64, self.per_cda(s, speed_m_s));
        let linear =
            Linear { coefficients: &q.crr.coefficients * per_crr + &q.cda.coefficients * per_cda, constant: 0.0 };
        let instrument = self.venue.budget.as_ref().map(|b| {
            let (crr, cda) = (b.of_setup(s, Output::Crr), b.of_setup(s, Output::Cda));
            let both: Vec<f64> = crr.iter().zip(&cda).map(|(a, c)| per_crr * a + per_cda * c).collect();
            b.combined(&both)
        });
        if let Some(held) = &self.held {
            let (value, mut unit) = (held.cda_m2[s], DVector::zeros(held.covariance.covariance.nrows()));
            unit[held.column[s]] = 1.0;
            let cda = self.held_cda(value, held.covariance.contrast(&unit).moderated());
            let drag = Uncertain { value: per_crr * HELD_CRR + per_cda * value, ..cda.times(per_cda) };
            // Drag is efficiency times power over speed, so their relative uncertainties are its own.
            let wind = self.unseen_wind_n(held, speed_m_s, per_cda * value);
            let instrument_se = Some((self.chain_fraction() * drag.value).hypot(wind));
            return Uncertain { instrument_se, ..drag }.estimate(self.confidence);
        }
        let fit = &self.venue.fit;
        linear_known(&linear, &fit.parameters, &fit.covariance, instrument).estimate(self.confidence)
    }

    pub(super) fn held_cda(&self, value: f64, scatter: Combined) -> Uncertain {
        Uncertain { value, scatter, instrument_se: None }
    }

    /// What a wind that was not allowed for adds: ¾ (W/v)² of the aerodynamic part (closed loop, small W/v), N.
    fn unseen_wind_n(&self, held: &HeldFit, speed_m_s: f64, aero_n: f64) -> f64 {
        if held.still_air { 0.75 * (UNSEEN_WIND_M_S / speed_m_s).powi(2) * aero_n } else { 0.0 }
    }

    /// Relative standard uncertainties of what resistance is made of, F = η P / v, by the names of their budget lines.
    fn scales(&self) -> [(&'static str, f64); 3] {
        let (u, rider) = (&self.session.uncertainty, &self.session.rider_and_bike);
        [
            (Input::Power.group(), u.power_fraction),
            (Input::Speed.group(), u.speed_fraction),
            (Input::Efficiency.group(), u.drivetrain_efficiency / rider.drivetrain_efficiency),
        ]
    }

    /// Relative standard uncertainty of power at the road over speed.
    fn chain_fraction(&self) -> f64 {
        self.scales().iter().map(|(_, u)| u * u).sum::<f64>().sqrt()
    }

    /// The budget of what is known.
    pub(super) fn budget(&self, against: &[Pair], separable: bool) -> Vec<BudgetLine> {
        let lines = self.venue.budget.as_ref().map(|b| budget_lines(b, self.session, against)).unwrap_or_default();
        if separable {
            return lines;
        }
        let known: Vec<bool> = against.iter().map(|p| self.difference(*p, false).power_w != Known::Not).collect();
        of_what_is_known(lines, self.known_drag(), &known)
    }

    /// The resistance of the baseline with what scales it.
    fn known_drag(&self) -> Option<KnownDrag> {
        let (baseline, held) = (self.session.baseline(), self.held.as_ref()?);
        let speed_m_s = self.mean_speed_m_s(baseline)?;
        let drag_n = self.drag(baseline, speed_m_s).value?;
        let wind_n = self.unseen_wind_n(held, speed_m_s, self.per_cda(baseline, speed_m_s) * held.cda_m2[baseline]);
        Some(KnownDrag {
            drag_n,
            scales: self.scales(),
            unseen_wind: held.still_air.then_some((wind_n, UNSEEN_WIND_M_S)),
        })
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
