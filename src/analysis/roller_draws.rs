//! Runs on rollers balanced again with every input of the instruments drawn at random.
//!
//! Given solved runs; gives by how much Crr and rolling watts of every set-up move. It draws nothing itself.

use super::instrument::OUTPUTS;
use super::monte_carlo::{Chain, Draws, check};
use super::quantities::PowerAt;
use super::roller_venue::RollerVenue;
use crate::error::Error;
use crate::rollers::{DrumInputs, Kind, Reach, WindowSums, kinds};
use crate::session::{Session, Venue};
use crate::solution::{MonteCarlo, Quantity, Solution};

/// A run as it can be balanced again.
struct Again {
    setup: usize,
    /// In the value of its set-up.
    share: f64,
    inputs: DrumInputs,
    sums: WindowSums,
    crr_flat: f64,
    kinds: Vec<Kind>,
    /// Place of each kind among the drawn inputs.
    drawn: Vec<usize>,
}

/// The runs of a venue and how their inputs are drawn: one that reaches the whole session once, others for each run.
pub struct RollerChain {
    runs: Vec<Again>,
    setups: usize,
    power: PowerAt,
    efficiency: f64,
    inputs: usize,
}

impl RollerChain {
    pub fn new(session: &Session, venue: &RollerVenue) -> RollerChain {
        let shares = venue.replication.shares();
        let mut inputs = 0;
        let mut common: Vec<(&'static str, usize)> = Vec::new();
        let mut runs = Vec::new();
        for (k, run) in venue.runs.iter().enumerate() {
            let kinds = kinds(&run.uncertainty);
            let mut drawn = Vec::with_capacity(kinds.len());
            for kind in &kinds {
                let known = common.iter().find(|(source, _)| *source == kind.source);
                let place = known.map_or(inputs, |(_, place)| *place);
                if known.is_none() {
                    inputs += 1;
                    if kind.reach == Reach::Session {
                        common.push((kind.source, place));
                    }
                }
                drawn.push(place);
            }
            runs.push(Again {
                setup: run.setup,
                share: shares[(run.setup, k)],
                inputs: run.result.inputs.clone(),
                sums: run.result.sums,
                crr_flat: run.result.crr_flat,
                kinds,
                drawn,
            });
        }
        RollerChain {
            setups: session.setups.len(),
            power: PowerAt::reference(session),
            efficiency: session.rider_and_bike.drivetrain_efficiency,
            runs,
            inputs,
        }
    }

    /// Checks the results of the venue; errors as those of [`check`].
    pub fn check(&self, session: &Session, solution: &Solution, draws: Draws) -> Result<MonteCarlo, Error> {
        let change = |z: &[f64]| self.change(z);
        check(session, solution, &Chain { venue: Venue::Rollers, inputs: self.inputs, change: &change }, draws)
    }

    /// `None` where a wheel would fall between the drums.
    fn change(&self, z: &[f64]) -> Option<Vec<f64>> {
        let mut out = vec![0.0; OUTPUTS * self.setups];
        for run in &self.runs {
            let mut inputs = run.inputs.clone();
            let mut efficiency = self.efficiency;
            for (kind, place) in run.kinds.iter().zip(&run.drawn) {
                let by = z[*place] * kind.standard_uncertainty;
                (kind.alter)(&mut inputs, by);
                if kind.source == "drivetrain efficiency" {
                    efficiency += by;
                }
            }
            let crr = inputs.crr_flat(&run.sums).ok()?;
            let (first, share) = (OUTPUTS * run.setup, run.share);
            out[first + Quantity::Crr as usize] += share * (crr - run.crr_flat);
            // Watts are given where power is measured, so the efficiency enters them once more.
            let watts = crr * self.efficiency / efficiency - run.crr_flat;
            out[first + Quantity::Power as usize] += share * self.power.per_crr_w * watts;
        }
        Some(out)
    }
}
