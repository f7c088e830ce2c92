//! A solved loop solved again with inputs of the instruments moved.
//!
//! Given a solved loop and by how much inputs are moved, one or many at once; gives Crr, CdA and watts of every set-up.
//! It neither chooses the sizes of the moves nor combines anything.

use super::instrument::{InputQuantity, alter};
use super::lap_inputs::conditions;
use super::loop_venue::LoopVenue;
use super::quantities::PowerAt;
use super::ridden_session::RiddenSession;
use crate::circuit::Lap;
use crate::error::Error;
use crate::sample::Ride;
use crate::session::Session;
use crate::solve::account::{LapAccount, LapWay, RunConditions};
use crate::solve::fit::{Frame, LapInput};
use crate::solve::solved::{AlteredLap, Solved};

/// Laps whose speeds differ by less have no slow ones in which a rider could sit otherwise.
const LEAST_SPEED_SPREAD: f64 = 0.03;

/// An input and by how much it is moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Move {
    pub input: InputQuantity,
    pub by: f64,
}

impl Move {
    /// By how much laps that are counted by distance are cut longer, on a loop of this length.
    pub fn longer_laps_m(self, length_m: f64) -> f64 {
        match self.input {
            InputQuantity::LapLength => self.by,
            // A wheel that counts too little cuts too long a lap.
            InputQuantity::Speed => -self.by * length_m,
            _ => 0.0,
        }
    }
}

/// See the module.
pub struct Repetition<'a> {
    session: &'a Session,
    venue: &'a LoopVenue<'a>,
    base: Vec<RunConditions<'a>>,
    /// Way of each lap of the venue that is in use.
    ways: Vec<Option<LapWay>>,
    /// Way per delay of the speed reading that a survey holds, m/s: it is laid where the laps are, all together.
    held_m_s: f64,
    /// The same for the length of laps that are counted by distance, m/m.
    held_per_length: f64,
    /// Mean speeds of the slowest and the fastest lap.
    speeds_m_s: [f64; 2],
    solved: Solved<'a, 'a>,
}

impl<'a> Repetition<'a> {
    /// Errors: those of [`Solved::new`].
    pub fn new(
        inputs: &'a RiddenSession,
        rides: &'a [Ride],
        venue: &'a LoopVenue<'a>,
    ) -> Result<Repetition<'a>, Error> {
        let session = &inputs.session;
        let base = conditions(session, rides, &venue.cut, &venue.air, venue.gravity_m_s2);
        let mut ways = vec![None; venue.laps.len()];
        for &i in &venue.fit.used {
            let at = venue.address[i];
            ways[i] = LapWay::new(&base[at.run], &venue.cut.runs[at.run][at.lap]);
        }
        let held = |way: &dyn Fn(&Lap) -> f64| match inputs.survey {
            Some(_) => venue.fit.used.iter().map(|i| way(venue.lap(*i))).sum::<f64>() / venue.fit.used.len() as f64,
            None => 0.0,
        };
        let (held_m_s, held_per_length) = (held(&Lap::way_per_delay), held(&Lap::way_per_length));
        let solved = venue.frame().solved(&venue.laps, &venue.fit)?;
        let speeds = venue.fit.used.iter().map(|i| venue.laps[*i].account.mean_speed_m_s);
        let speeds_m_s = [speeds.clone().fold(f64::MAX, f64::min), speeds.fold(0.0, f64::max)];
        Ok(Repetition { session, venue, base, ways, held_m_s, held_per_length, speeds_m_s, solved })
    }

    /// What the solution says.
    pub fn at_base(&self) -> Vec<f64> {
        self.outputs(&self.venue.fit.parameters, &PowerAt::reference(self.session))
    }

    /// What another solution of the same session says; `None` where it has other parameters.
    pub fn of_venue(&self, venue: &LoopVenue) -> Option<Vec<f64>> {
        let same = venue.fit.layout.len == self.venue.fit.layout.len;
        same.then(|| self.outputs(&venue.fit.parameters, &PowerAt::reference(self.session)))
    }

    /// With one input moved, to first order; `None` when the answer is not finite.
    pub fn answer(&self, one: Move) -> Option<Vec<f64>> {
        let touched = |run: usize| match one.input {
            InputQuantity::Gusts => false,
            other => other.run().is_none_or(|k| k == run),
        };
        let used = &self.venue.fit.used;
        let laps: Vec<usize> = (0..used.len()).filter(|lap| touched(self.venue.address[used[*lap]].run)).collect();
        let accounts = self.accounts(&[one], laps.iter().map(|lap| used[*lap]))?;
        let altered: Vec<AlteredLap> =
            laps.iter().zip(accounts).map(|(&lap, account)| AlteredLap { lap, account }).collect();
        let change = self.solved.after(&altered, sum(&[one], InputQuantity::Gusts))?;
        let parameters: Vec<f64> = self.venue.fit.parameters.iter().zip(change.iter()).map(|(p, c)| p + c).collect();
        Some(self.outputs(&parameters, &self.power(&[one])))
    }

    /// With many inputs moved at once, solved until it settles; `None` when there is no finite answer.
    pub fn solve(&self, moves: &[Move]) -> Option<Vec<f64>> {
        let venue = self.venue;
        let accounts = self.accounts(moves, venue.fit.used.iter().copied())?;
        let laps: Vec<LapInput> = venue
            .fit
            .used
            .iter()
            .zip(accounts)
            .map(|(&i, account)| LapInput { account, ..venue.laps[i].clone() })
            .collect();
        let mut choices = venue.choices.clone();
        choices.gust_variance.iter_mut().for_each(|v| *v += sum(moves, InputQuantity::Gusts));
        let frame = Frame { choices: &choices, ..venue.frame() };
        let all: Vec<usize> = (0..laps.len()).collect();
        let parameters = self.solved.again(&frame.problem(&laps, &all, &venue.fit.weight, venue.fit.scatter))?;
        Some(self.outputs(&parameters, &self.power(moves)))
    }

    /// Accounts of some laps with inputs moved.
    fn accounts(&self, moves: &[Move], laps: impl Iterator<Item = usize>) -> Option<Vec<LapAccount>> {
        let venue = self.venue;
        let moved = |(run, air)| {
            let mut conditions: RunConditions = RunConditions::clone(run);
            for m in moves {
                conditions = alter(&conditions, air, m.input, m.by);
            }
            conditions
        };
        let altered: Vec<RunConditions> = self.base.iter().zip(&venue.air).map(moved).collect();
        let older_by_s = sum(moves, InputQuantity::SpeedDelay);
        let longer_m = sum(moves, InputQuantity::LapLength);
        let cut_longer_m: f64 = moves.iter().map(|m| m.longer_laps_m(venue.cut.length_m)).sum();
        let line_further_out = venue.cut.bends.filter(|_| longer_m != 0.0).map(|bends| bends.line(longer_m));
        let sits_up = sum(moves, InputQuantity::CdaBetweenSpeeds);
        laps.map(|i| {
            let at = venue.address[i];
            let (run, lap) = (&altered[at.run], &venue.cut.runs[at.run][at.lap]);
            let counted = !lap.edge_count.is_empty();
            let moved = if counted && cut_longer_m != 0.0 {
                let lap = lap.of_longer_laps(run.ride, cut_longer_m, self.held_per_length);
                let line = line_further_out.as_ref().or(run.line);
                LapAccount::new(&RunConditions { line, ..run.clone() }, at.lap, &lap)
            } else if older_by_s != 0.0 {
                LapAccount::new(run, at.lap, &lap.with_later_speed(older_by_s, self.held_m_s))
            } else {
                None
            };
            // A lap that moves into a hole of the record stays.
            moved
                .or_else(|| LapAccount::along(self.ways[i].as_ref()?, run, at.lap, lap))
                .map(|account| if sits_up == 0.0 { account } else { self.sitting_up(account, sits_up) })
        })
        .collect()
    }

    /// A lap with its drag larger the slower it is: by half of `more` in the slowest, smaller by as much in the fastest.
    fn sitting_up(&self, account: LapAccount, more: f64) -> LapAccount {
        let [slowest, fastest] = self.speeds_m_s;
        let middle = 0.5 * (slowest + fastest);
        if fastest - slowest < LEAST_SPEED_SPREAD * middle {
            return account;
        }
        let place = (middle - account.mean_speed_m_s) / (fastest - slowest);
        account.with_drag(1.0 + more * place)
    }

    /// What watts are reckoned from.
    fn power(&self, moves: &[Move]) -> PowerAt {
        // Watts are given where power is measured, so the efficiency enters them once more.
        let mut session = self.session.clone();
        session.rider_and_bike.drivetrain_efficiency += sum(moves, InputQuantity::Efficiency);
        let power = PowerAt::reference(&session);
        PowerAt { bearing_w: power.bearing_w * (1.0 + sum(moves, InputQuantity::Bearing)), ..power }
    }

    /// Crr, CdA and watts of every set-up.
    fn outputs(&self, parameters: &[f64], power: &PowerAt) -> Vec<f64> {
        let layout = &self.venue.fit.layout;
        layout
            .setup_crr()
            .iter()
            .zip(layout.setup_cda())
            .flat_map(|(crr, cda)| {
                let (crr, cda) = (parameters[*crr], parameters[*cda]);
                [crr, cda, power.per_crr_w * crr + power.per_cda_w_m2 * cda + power.bearing_w]
            })
            .collect()
    }
}

/// By how much an input is moved in all.
fn sum(moves: &[Move], input: InputQuantity) -> f64 {
    moves.iter().filter(|m| m.input == input).map(|m| m.by).sum()
}
