//! A solved loop solved again with inputs of the measuring chain moved.
//!
//! Given a solved loop and by how much inputs are moved, one or many at once; gives Crr, CdA and watts of every set-up.
//! It neither chooses the sizes of the moves nor combines anything.

use super::Inputs;
use super::instrument::{Input, alter};
use super::loop_venue::{LoopVenue, conditions};
use super::quantities::PowerAt;
use crate::sample::Ride;
use crate::session::Session;
use crate::solve::account::{LapAccount, RunConditions};
use crate::solve::fit::{Frame, LapInput, refit};

/// An input and by how much it is moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Move {
    pub input: Input,
    pub by: f64,
}

/// See the module.
pub struct Repetition<'a> {
    session: &'a Session,
    venue: &'a LoopVenue<'a>,
    base: Vec<RunConditions<'a>>,
}

impl<'a> Repetition<'a> {
    pub fn new(inputs: &'a Inputs, rides: &'a [Ride], venue: &'a LoopVenue<'a>) -> Repetition<'a> {
        let session = &inputs.session;
        Repetition { session, venue, base: conditions(session, rides, &venue.cut, &venue.air, venue.gravity_m_s2) }
    }

    /// What the solution says.
    pub fn at_base(&self) -> Vec<f64> {
        self.outputs(&self.venue.fit.parameters, &PowerAt::reference(self.session))
    }

    /// With the inputs moved; `None` when the fit has no finite answer there.
    pub fn solve(&self, moves: &[Move]) -> Option<Vec<f64>> {
        let venue = self.venue;
        let moved = |(run, air)| {
            let mut conditions: RunConditions = RunConditions::clone(run);
            for m in moves {
                conditions = alter(&conditions, air, m.input, m.by);
            }
            conditions
        };
        let altered: Vec<RunConditions> = self.base.iter().zip(&venue.air).map(moved).collect();
        let laps: Vec<LapInput> = venue
            .fit
            .used
            .iter()
            .map(|&i| {
                let at = venue.address[i];
                let lap = &venue.cut.runs[at.run][at.lap];
                let account = LapAccount::new(&altered[at.run], at.lap, lap)?;
                Some(LapInput { account, ..venue.laps[i].clone() })
            })
            .collect::<Option<_>>()?;
        let sum = |input: Input| moves.iter().filter(|m| m.input == input).map(|m| m.by).sum::<f64>();
        let mut choices = venue.choices.clone();
        let gusts = sum(Input::Gusts);
        choices.gust_variance.iter_mut().for_each(|v| *v += gusts);
        let parameters = refit(&Frame { choices: &choices, ..venue.frame() }, &laps, &venue.fit)?;
        // Watts are given where power is measured, so the efficiency enters them once more.
        let mut session = self.session.clone();
        session.rider_and_bike.drivetrain_efficiency += sum(Input::Efficiency);
        let power = PowerAt::reference(&session);
        let power = PowerAt { bearing_w: power.bearing_w * (1.0 + sum(Input::Bearing)), ..power };
        Some(self.outputs(&parameters, &power))
    }

    /// Crr, CdA and watts of every set-up.
    fn outputs(&self, parameters: &[f64], power: &PowerAt) -> Vec<f64> {
        let layout = &self.venue.fit.layout;
        (0..layout.crr.len())
            .flat_map(|s| {
                let (crr, cda) = (parameters[layout.crr[s]], parameters[layout.cda[s]]);
                [crr, cda, power.per_crr_w * crr + power.per_cda_w_m2 * cda + power.bearing_w]
            })
            .collect()
    }
}
