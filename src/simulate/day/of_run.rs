//! How a run differs from what its set-up is on the whole: chance from run to run, temperature of the tyres, drift of the day.
//!
//! Given the day and a run; gives CdA and Crr of that run.

use super::Day;
use crate::plan::PlannedSetup;
use crate::session::Venue;
use crate::simulate::chance::{Purpose, normal, stream};

/// Drag and rolling resistance of a run over those of its set-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RunChanges {
    pub(super) cda: f64,
    pub(super) crr: f64,
}

/// Rolling resistance in the course of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RunCrr {
    pub(super) of_setup: f64,
    pub(super) at_start: f64,
    pub(super) growth_per_s: f64,
}

impl RunCrr {
    pub(super) fn at(&self, time_s: f64) -> f64 {
        self.at_start + self.growth_per_s * time_s
    }

    pub(super) fn moves(&self) -> bool {
        self.growth_per_s != 0.0 || self.at_start != self.of_setup
    }
}

impl Day<'_> {
    /// How a run differs from what its set-up is on the whole.
    pub(super) fn changes(&self, run: usize) -> RunChanges {
        let mut random = stream(self.seed, run, Purpose::RunToRun);
        let mut factor = |sd: f64| (1.0 + sd * normal(&mut random)).max(0.1);
        RunChanges { cda: factor(self.plan.day.cda_run_to_run), crr: factor(self.plan.day.crr_run_to_run) }
    }

    /// Rolling resistance of a run: that of the set-up with the change of the run and, on the loop, moved by the temperature of
    /// the tyres and by the drift since the middle of the day.
    pub(super) fn crr(&self, run: usize, setup: &PlannedSetup) -> Option<RunCrr> {
        let of_run = self.changes(run).crr;
        if self.plan.venue_of(run) == Venue::Rollers {
            let of_setup = setup.crr_rollers.unwrap_or(setup.crr);
            return Some(RunCrr { of_setup, at_start: of_run * of_setup, growth_per_s: 0.0 });
        }
        let circuit = &self.plan.circuit;
        let factor = self.instruments.temperature_coefficient_per_c.map_or(1.0, |k| {
            let read_c = self.plan.run_tyre_temperature_c.get(run).copied();
            circuit.crr_over_reference(k, read_c.unwrap_or(self.instruments.temperature_c))
        });
        let growth_per_s = self.plan.noise.crr_drift_per_h / 3600.0;
        let since_middle_s = (self.starts_s[run] - self.starts_s[0]) as f64 - self.middle_s();
        Some(RunCrr {
            of_setup: setup.crr,
            at_start: factor * (of_run * setup.crr + growth_per_s * since_middle_s),
            growth_per_s: factor * growth_per_s,
        })
    }

    /// Mean of the middles of the runs on the loop, from the start of the first run.
    fn middle_s(&self) -> f64 {
        let on_the_loop = (0..self.plan.order.len()).filter(|run| self.plan.venue_of(*run) != Venue::Rollers);
        let middle =
            |run: usize| (self.starts_s[run] - self.starts_s[0]) as f64 + 0.5 * self.plan.nominal_duration_s(run);
        let middles: Vec<f64> = on_the_loop.map(middle).collect();
        middles.iter().sum::<f64>() / middles.len().max(1) as f64
    }
}
