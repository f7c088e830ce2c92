//! The share of the wind that reaches the rider along the loop, and how far a valley turns it.
//!
//! Given the `[day]` of a plan; gives the mean wind at a place of the lap. Gusts are not its business: behind trees the mean
//! falls while the air stays restless, so they reach the rider whole.

use crate::plan::PlannedDay;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::f64::consts::TAU;

/// Waves in which shelter goes up and down round the lap.
const WAVES: usize = 4;
/// Places at which smooth shelter is tabulated.
const PLACES: usize = 720;

/// Shares of the wind and its turn along one lap.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct WindField {
    length_m: f64,
    shelter: Shelter,
    turns_rad: f64,
}

#[derive(Debug, Clone, PartialEq)]
enum Shelter {
    Open,
    /// Share of the wind at equal steps round the lap.
    Smooth(Vec<f64>),
    /// Begin and end as shares of the lap, and the share of the wind between.
    Part([f64; 2], f64),
}

impl WindField {
    pub(super) fn of(day: &PlannedDay, length_m: f64) -> WindField {
        let shelter = match (day.shelter_least, day.sheltered_part) {
            (1.0, _) => Shelter::Open,
            (least, Some(part)) => Shelter::Part(part, least),
            (least, None) => Shelter::Smooth(smooth(least, day.shelter_seed)),
        };
        WindField { length_m, shelter, turns_rad: day.wind_turns_deg.to_radians() }
    }

    /// Share of the wind at a place, 0 to 1 along the lap.
    pub(super) fn share(&self, place: f64) -> f64 {
        match &self.shelter {
            Shelter::Open => 1.0,
            Shelter::Smooth(table) => {
                let at = place * table.len() as f64;
                let (i, f) = (at as usize % table.len(), at.fract());
                table[i] + f * (table[(i + 1) % table.len()] - table[i])
            }
            Shelter::Part([begin, end], least) => {
                if (*begin..*end).contains(&place) {
                    *least
                } else {
                    1.0
                }
            }
        }
    }

    /// The wind in the open, as the rider meets it at a chainage.
    pub(super) fn at(&self, chainage_m: f64, east_m_s: f64, north_m_s: f64) -> [f64; 2] {
        if self.shelter == Shelter::Open && self.turns_rad == 0.0 {
            return [east_m_s, north_m_s];
        }
        let place = (chainage_m / self.length_m).rem_euclid(1.0);
        let share = self.share(place);
        // To one side on the first half of the lap, to the other on the second.
        let (sine, cosine) = (self.turns_rad * (TAU * place).sin()).sin_cos();
        [share * (cosine * east_m_s - sine * north_m_s), share * (sine * east_m_s + cosine * north_m_s)]
    }

    /// Shares at equal steps round the lap; empty in the open.
    pub(super) fn table(&self, places: usize) -> Vec<f64> {
        match self.shelter {
            Shelter::Open => Vec::new(),
            _ => (0..places).map(|i| self.share(i as f64 / places as f64)).collect(),
        }
    }
}

/// A sum of random waves, drawn to scale so that it goes from the least share to 1.
fn smooth(least: f64, seed: u64) -> Vec<f64> {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut size = |k: usize| -> f64 {
        let drawn: f64 = StandardNormal.sample(&mut random);
        drawn / k as f64
    };
    let waves: Vec<[f64; 2]> = (1..=WAVES).map(|k| [size(k), size(k)]).collect();
    let wave = |i: usize| -> f64 {
        let turn = TAU * i as f64 / PLACES as f64;
        let each = waves.iter().enumerate().map(|(k, [a, b])| {
            let angle = (k + 1) as f64 * turn;
            a * angle.cos() + b * angle.sin()
        });
        each.sum()
    };
    let values: Vec<f64> = (0..PLACES).map(wave).collect();
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    values.iter().map(|v| least + (1.0 - least) * (v - low) / (high - low)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shelter_goes_smoothly_from_the_least_share_to_the_whole_wind_and_closes() {
        for seed in 1..20 {
            let day = PlannedDay { shelter_least: 0.4, shelter_seed: seed, ..PlannedDay::default() };
            let field = WindField::of(&day, 1000.0);
            let shares: Vec<f64> = (0..2000).map(|i| field.share(f64::from(i) / 2000.0)).collect();
            let low = shares.iter().copied().fold(f64::MAX, f64::min);
            let high = shares.iter().copied().fold(f64::MIN, f64::max);
            assert!((low - 0.4).abs() < 1e-3 && (high - 1.0).abs() < 1e-3, "{low} {high}");
            let jump = |i: usize| (shares[(i + 1) % 2000] - shares[i]).abs();
            assert!((0..2000).map(jump).fold(0.0, f64::max) < 0.01);
        }
    }

    #[test]
    fn a_sheltered_part_has_the_stated_share_and_the_rest_the_whole_wind() {
        let day = PlannedDay { shelter_least: 0.2, sheltered_part: Some([0.3, 0.6]), ..PlannedDay::default() };
        let field = WindField::of(&day, 1000.0);
        assert_eq!(field.at(1450.0, 2.0, 1.0), [0.4, 0.2]);
        assert_eq!(field.at(-50.0, 2.0, 1.0), [2.0, 1.0]);
        assert_eq!(field.at(700.0, 2.0, 1.0), [2.0, 1.0]);
    }

    #[test]
    fn a_valley_turns_the_wind_one_way_and_then_the_other() {
        let day = PlannedDay { wind_turns_deg: 30.0, ..PlannedDay::default() };
        let field = WindField::of(&day, 1000.0);
        let angle = |chainage: f64| {
            let [east, north] = field.at(chainage, 2.0, 0.0);
            assert!((east.hypot(north) - 2.0).abs() < 1e-12);
            north.atan2(east).to_degrees()
        };
        assert!((angle(250.0) - 30.0).abs() < 1e-9 && (angle(750.0) + 30.0).abs() < 1e-9);
        assert!(angle(0.0).abs() < 1e-9 && angle(500.0).abs() < 1e-9);
    }
}
