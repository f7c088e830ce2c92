//! A smooth loop: direction of travel as a Fourier series.
//!
//! Given a length and a seed, or the waves of a loop that was ridden; gives a curve that closes. The same seed gives the
//! same curve.

use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::f64::consts::TAU;

/// Highest wave of a random loop; more would make bends too tight.
const WAVES: usize = 5;

#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Wave {
    pub(super) cosine_rad: f64,
    pub(super) sine_rad: f64,
}

/// θ = 2πns/L + Σ (aₖ cos 2πks/L + bₖ sin 2πks/L), less its value at the gate; n is 1 for a loop ridden anticlockwise.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Waves {
    pub(super) length_m: f64,
    pub(super) turns: f64,
    pub(super) waves: Vec<Wave>,
}

impl Waves {
    pub(super) fn direction_rad(&self, chainage_m: f64) -> f64 {
        let turn = TAU * chainage_m / self.length_m;
        let at_gate: f64 = self.waves.iter().map(|w| w.cosine_rad).sum();
        self.turns * turn + self.sum(turn, |_, w, cos, sin| w.cosine_rad * cos + w.sine_rad * sin) - at_gate
    }

    pub(super) fn curvature_1_m(&self, chainage_m: f64) -> f64 {
        let turn = TAU * chainage_m / self.length_m;
        let waves = self.sum(turn, |k, w, cos, sin| k * (w.sine_rad * cos - w.cosine_rad * sin));
        (self.turns + waves) * TAU / self.length_m
    }

    fn sum(&self, turn: f64, term: impl Fn(f64, &Wave, f64, f64) -> f64) -> f64 {
        let order = |i: usize| (i + 1) as f64;
        self.waves
            .iter()
            .enumerate()
            .map(|(i, w)| term(order(i), w, (order(i) * turn).cos(), (order(i) * turn).sin()))
            .sum()
    }

    /// Where the end of the lap misses its start, as a share of the lap.
    fn gap(&self) -> [f64; 2] {
        // The rule of equal steps is exact to rounding for a smooth periodic integrand.
        let steps = 512.max(8 * self.waves.len() as i32);
        let mut gap = [0.0; 2];
        for i in 0..steps {
            let direction = self.direction_rad(self.length_m * f64::from(i) / f64::from(steps));
            gap[0] += direction.cos() / f64::from(steps);
            gap[1] += direction.sin() / f64::from(steps);
        }
        gap
    }
}

/// A random smooth closed curve: waves 2 … 5 drawn, the two parts of wave 1 solved so that the lap closes.
pub(super) fn curve(length_m: f64, seed: u64) -> Result<Waves, String> {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut curve = Waves { length_m, turns: 1.0, waves: vec![Wave::default(); WAVES] };
    for k in 2..=WAVES {
        let size = 0.7 / (k as f64).powf(1.3);
        let draw = |r: &mut Xoshiro256PlusPlus| size * (2.0 * r.random::<f64>() - 1.0);
        curve.waves[k - 1] = Wave { cosine_rad: draw(&mut random), sine_rad: draw(&mut random) };
    }
    curve.closed().ok_or_else(|| format!("the curve of shape_seed = {seed} does not close; choose another shape_seed"))
}

impl Waves {
    /// The same curve with the two parts of wave 1 solved so that the lap closes, by Newton's method; `None` when that
    /// does not settle.
    pub(super) fn closed(mut self) -> Option<Waves> {
        let tiny = 1e-6;
        for _ in 0..50 {
            let gap = self.gap();
            if gap[0].hypot(gap[1]) < 1e-13 {
                return Some(self);
            }
            let base = *self.waves.first()?;
            self.waves[0].cosine_rad = base.cosine_rad + tiny;
            let along = self.gap();
            self.waves[0] = Wave { sine_rad: base.sine_rad + tiny, ..base };
            let across = self.gap();
            let j = [
                (along[0] - gap[0]) / tiny,
                (across[0] - gap[0]) / tiny,
                (along[1] - gap[1]) / tiny,
                (across[1] - gap[1]) / tiny,
            ];
            let determinant = j[0] * j[3] - j[1] * j[2];
            self.waves[0] = Wave {
                cosine_rad: base.cosine_rad - (j[3] * gap[0] - j[1] * gap[1]) / determinant,
                sine_rad: base.sine_rad - (j[0] * gap[1] - j[2] * gap[0]) / determinant,
            };
        }
        None
    }
}
