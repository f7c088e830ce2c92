//! A junction at which the rider stops in some laps or in all.
//!
//! Given where it lies and in which laps there is traffic; says from step to step whether the rider must brake or wait. It
//! moves nobody.

use crate::plan::PlannedDay;
use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

/// Braking begins so far before the place where the rider is to stand, m.
const MARGIN_M: f64 = 1.0;
/// Slower than this the rider stands.
const STANDING_M_S: f64 = 0.2;

/// Stops that are still to come.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Junction {
    /// Chainages, the next stop last.
    stops_m: Vec<f64>,
    wait_s: f64,
    is_braking: bool,
    waits_until_s: Option<f64>,
    /// When braking began for each stop that was made.
    pub(super) stopped_s: Vec<f64>,
}

impl Junction {
    /// The stops of a run, lap by lap by chance.
    pub(super) fn of(day: &PlannedDay, laps: usize, length_m: f64, random: &mut Xoshiro256PlusPlus) -> Junction {
        let Some(place) = day.junction_at else { return Junction::default() };
        let mut stops_m: Vec<f64> = (0..laps)
            .filter(|_| random.random::<f64>() < day.junction_stops)
            .map(|lap| (lap as f64 + place) * length_m)
            .collect();
        stops_m.reverse();
        Junction { stops_m, wait_s: day.junction_wait_s, ..Junction::default() }
    }

    /// Whether the rider brakes or stands at this moment; `braking_m_s2` is how hard.
    pub(super) fn stops(&mut self, time_s: f64, chainage_m: f64, speed_m_s: f64, braking_m_s2: f64) -> bool {
        let Some(&place_m) = self.stops_m.last() else { return false };
        if let Some(until_s) = self.waits_until_s {
            if time_s < until_s {
                return true;
            }
            self.waits_until_s = None;
            self.is_braking = false;
            self.stops_m.pop();
            return false;
        }
        if self.is_braking {
            if speed_m_s < STANDING_M_S {
                self.waits_until_s = Some(time_s + self.wait_s);
            }
            return true;
        }
        let needed_m = speed_m_s * speed_m_s / (2.0 * braking_m_s2) + MARGIN_M;
        if chainage_m >= 0.0 && place_m - chainage_m <= needed_m {
            self.is_braking = true;
            self.stopped_s.push(time_s);
        }
        self.is_braking
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn the_stated_share_of_laps_has_a_stop_and_all_or_none_at_the_ends() {
        // 400 laps at 0.3: 120 expected, sd 9.2 (binomial).
        let stops = |share: f64| {
            let day = PlannedDay { junction_at: Some(0.25), junction_stops: share, ..PlannedDay::default() };
            let junction = Junction::of(&day, 400, 1000.0, &mut Xoshiro256PlusPlus::seed_from_u64(1));
            junction.stops_m.len()
        };
        assert!((83..=157).contains(&stops(0.3)), "{}", stops(0.3));
        assert_eq!([stops(0.0), stops(1.0)], [0, 400]);
    }
}
