//! Where along the loop a ride is at each instant: the wheel's distance, tied to positions or lap marks.
//!
//! Given observations of place (noisy, unbiased in the long run) and the distance by the wheel (precise, but with an
//! unknown start, scale and slow drift of line); gives chainage as a smooth function of time. It never follows a single
//! position: a satellite fix wanders by metres, and a metre of slope is worth millimetres of elevation.

use crate::sample::Ride;
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

/// A place seen at an instant, counted on from the first pass of the stint, m.
#[derive(Debug, Clone, Copy)]
pub struct Sighting {
    pub time_s: f64,
    pub chainage_m: f64,
    /// Standard deviation as if sightings were independent, m.
    pub sd_m: f64,
}

/// Age of the speed reading against positions: mean and standard deviation of what sensors show, s (common practice,
/// no source).
const SPEED_AGE_S: [f64; 2] = [0.4, 0.4];
/// Standard deviation of the wheel's scale against the line's length.
const SCALE_SD: f64 = 0.01;
/// Sightings further than this many robust deviations from the fit are not used.
const OUTLIER: f64 = 5.0;
/// Ratios of drift to noise tried, variance a lap over variance of a lap's mean.
const DRIFT_RATIOS: [f64; 9] = [0.0, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0];
/// Blocks that drift is looked for among; more laps share blocks, because the cost grows with the cube of their number.
const MOST_BLOCKS: usize = 200;
/// Gain in log-likelihood a drift must bring to be believed.
const DRIFT_GAIN: f64 = 2.0;

/// Chainage over one stint of consecutive laps.
#[derive(Debug, Clone, PartialEq)]
pub struct Chainage {
    start_m: f64,
    scale: f64,
    /// Slow correction at instants, m.
    drift: Vec<Knot>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Knot {
    time_s: f64,
    correction_m: f64,
}

impl Chainage {
    /// Chainage by the wheel alone, zero at an instant.
    pub fn by_distance(ride: &Ride, zero_s: f64) -> Self {
        Chainage { start_m: -ride.distance_m.at(zero_s), scale: 1.0, drift: Vec::new() }
    }

    /// Fits start, scale and the age of the speed reading, then a slow drift by laps if the sightings ask for one.
    ///
    /// `passes_s` are the rough instants of the passes that bound the laps. `None` with fewer than 3 sightings.
    pub fn fit(ride: &Ride, sightings: &[Sighting], passes_s: &[f64]) -> Option<Self> {
        let mut used: Vec<bool> = vec![true; sightings.len()];
        let mut solution = regress(ride, sightings, &used)?;
        for _ in 0..2 {
            let residual: Vec<f64> = sightings.iter().map(|s| solution.residual(ride, s)).collect();
            let mut size: Vec<f64> = residual.iter().map(|e| e.abs()).collect();
            size.sort_by(f64::total_cmp);
            let limit = OUTLIER * 1.4826 * size[size.len() / 2] + 1e-3;
            for (u, e) in used.iter_mut().zip(&residual) {
                *u = e.abs() <= limit;
            }
            solution = regress(ride, sightings, &used)?;
        }
        let mut blocks: Vec<Block> = Vec::new();
        let laps_a_block = passes_s.len().saturating_sub(1).div_ceil(MOST_BLOCKS).max(1);
        for laps in passes_s.windows(2).collect::<Vec<_>>().chunks(laps_a_block) {
            let (Some(first), Some(last)) = (laps.first(), laps.last()) else { continue };
            let (from_s, to_s) = (first[0], last[1]);
            let mut block = Block { time_s: 0.5 * (from_s + to_s), sum: 0.0, count: 0 };
            // Sightings stand in order of time.
            let inside =
                sightings.partition_point(|s| s.time_s < from_s)..sightings.partition_point(|s| s.time_s < to_s);
            for i in inside {
                if used[i] {
                    block.sum += solution.residual(ride, &sightings[i]);
                    block.count += 1;
                }
            }
            if block.count > 0 {
                blocks.push(block);
            }
        }
        Some(Chainage { start_m: solution.start_m, scale: solution.scale, drift: drift(&blocks) })
    }

    pub fn at(&self, ride: &Ride, time_s: f64) -> f64 {
        self.start_m + self.scale * ride.distance_m.at(time_s) + self.correction(time_s)
    }

    fn correction(&self, time_s: f64) -> f64 {
        let i = self.drift.partition_point(|k| k.time_s <= time_s);
        match (i.checked_sub(1).map(|a| self.drift[a]), self.drift.get(i)) {
            (Some(a), Some(b)) => {
                a.correction_m + (time_s - a.time_s) / (b.time_s - a.time_s) * (b.correction_m - a.correction_m)
            }
            (Some(a), None) => a.correction_m,
            (None, Some(b)) => b.correction_m,
            (None, None) => 0.0,
        }
    }

    /// Instant at which a chainage is reached between two instants; `None` when it is not between them.
    pub fn time_at(&self, ride: &Ride, chainage_m: f64, from_s: f64, to_s: f64) -> Option<f64> {
        let (mut a, mut b) = (from_s, to_s);
        let (mut fa, mut fb) = (self.at(ride, a) - chainage_m, self.at(ride, b) - chainage_m);
        if !(fa <= 0.0 && fb >= 0.0) {
            return None;
        }
        // Regula falsi with the Illinois rule: the function is monotone and nearly straight.
        for _ in 0..60 {
            if b - a < 1e-6 || fb - fa <= 0.0 {
                break;
            }
            let t = (a - fa * (b - a) / (fb - fa)).clamp(a, b);
            let f = self.at(ride, t) - chainage_m;
            if f.abs() < 1e-5 {
                return Some(t);
            }
            if f < 0.0 {
                a = t;
                fa = f;
                fb *= 0.5;
            } else {
                b = t;
                fb = f;
                fa *= 0.5;
            }
        }
        Some(0.5 * (a + b))
    }
}

struct Regression {
    start_m: f64,
    scale: f64,
    age_s: f64,
}

impl Regression {
    fn residual(&self, ride: &Ride, s: &Sighting) -> f64 {
        s.chainage_m
            - self.start_m
            - self.scale * ride.distance_m.at(s.time_s)
            - self.age_s * ride.distance_m.rate_at(s.time_s)
    }
}

/// Weighted least squares of chainage on (1, distance, speed) with priors on scale and age.
fn regress(ride: &Ride, sightings: &[Sighting], used: &[bool]) -> Option<Regression> {
    let middle = ride.distance_m.at(sightings.get(sightings.len() / 2)?.time_s);
    let mut normal = Matrix3::zeros();
    let mut right = Vector3::zeros();
    let mut count = 0;
    let mut reach: f64 = 1.0;
    for (s, _) in sightings.iter().zip(used).filter(|(_, u)| **u) {
        let d = ride.distance_m.at(s.time_s) - middle;
        // Distance is centred so that three by three normal equations lose no digits.
        let row = Vector3::new(1.0, d, ride.distance_m.rate_at(s.time_s));
        let w = s.sd_m.powi(-2);
        normal += w * row * row.transpose();
        right += w * (s.chainage_m - d) * row;
        reach = reach.max(d.abs());
        count += 1;
    }
    if count < 3 {
        return None;
    }
    normal[(1, 1)] += SCALE_SD.powi(-2);
    normal[(2, 2)] += SPEED_AGE_S[1].powi(-2);
    right[2] += SPEED_AGE_S[0] / SPEED_AGE_S[1].powi(2);
    let x = normal.cholesky()?.solve(&right);
    let scale = 1.0 + x[1];
    x.iter().all(|v| v.is_finite()).then(|| Regression { start_m: x[0] - scale * middle, scale, age_s: x[2] })
}

/// Mean of what the regression leaves over one lap.
struct Block {
    time_s: f64,
    sum: f64,
    count: usize,
}

/// Local level by laps, smoothed, with the drift ratio of greatest likelihood; empty when no drift is believed
/// (Durbin & Koopman 2012, Time Series Analysis by State Space Methods, ch. 2; from memory).
fn drift(blocks: &[Block]) -> Vec<Knot> {
    if blocks.len() < 3 {
        return Vec::new();
    }
    let y = DVector::from_iterator(blocks.len(), blocks.iter().map(|b| b.sum / b.count as f64));
    let (mut best, mut best_gain) = (None, DRIFT_GAIN);
    let mut without = f64::NAN;
    for ratio in DRIFT_RATIOS {
        let Some((likelihood, level)) = local_level(&y, ratio) else { continue };
        if ratio == 0.0 {
            without = likelihood;
        } else if likelihood - without > best_gain {
            best_gain = likelihood - without;
            best = Some(level);
        }
    }
    let Some(level) = best else { return Vec::new() };
    blocks.iter().zip(level.iter()).map(|(b, l)| Knot { time_s: b.time_s, correction_m: *l }).collect()
}

/// Concentrated log-likelihood and smoothed level of a random walk plus noise, by the precision matrix of the walk.
fn local_level(y: &DVector<f64>, ratio: f64) -> Option<(f64, DVector<f64>)> {
    let n = y.len();
    // Covariance of y about its unknown start in units of the noise variance: I + ratio·min(i, j).
    let v = DMatrix::from_fn(n, n, |i, j| f64::from(u8::from(i == j)) + ratio * i.min(j) as f64);
    let chol = v.cholesky()?;
    let ones = DVector::from_element(n, 1.0);
    let (vy, v1) = (chol.solve(y), chol.solve(&ones));
    let start = ones.dot(&vy) / ones.dot(&v1);
    let e = y - start * &ones;
    let ve = chol.solve(&e);
    let variance = (e.dot(&ve) / (n as f64 - 1.0)).max(1e-12);
    let log_det = 2.0 * chol.l().diagonal().iter().map(|d| d.ln()).sum::<f64>();
    let likelihood = -0.5 * ((n as f64 - 1.0) * variance.ln() + log_det + ones.dot(&v1).ln());
    let walk = DMatrix::from_fn(n, n, |i, j| ratio * i.min(j) as f64);
    Some((likelihood, start * ones + walk * ve))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Recording;
    use crate::sample::align;

    fn steady_ride(seconds: usize) -> Ride {
        let n = seconds;
        let recording = Recording {
            time_s: (0..n).map(|i| i as f64).collect(),
            power_w: vec![200.0; n],
            speed_m_s: (0..n).map(|i| if (i / 120) % 2 == 0 { 8.0 } else { 11.0 }).collect(),
            distance_m: vec![f64::NAN; n],
            latitude_deg: vec![f64::NAN; n],
            longitude_deg: vec![f64::NAN; n],
            altitude_m: vec![f64::NAN; n],
            cadence_rpm: vec![f64::NAN; n],
            temperature_c: vec![f64::NAN; n],
            ..Recording::default()
        };
        align(&recording).0
    }

    #[test]
    fn noisy_places_give_back_start_and_scale_of_the_wheel() {
        let ride = steady_ride(1200);
        let sightings: Vec<Sighting> = (0..1200)
            .map(|i| {
                let t = i as f64;
                let noise = 2.0 * (t * 0.7).sin();
                let chainage_m = 1.004 * ride.distance_m.at(t) - 50.0 + 0.4 * ride.distance_m.rate_at(t) + noise;
                Sighting { time_s: t, chainage_m, sd_m: 20.0 }
            })
            .collect();
        let c = Chainage::fit(&ride, &sightings, &[10.0, 250.0, 490.0, 730.0, 970.0]).unwrap();
        for t in [100.0, 600.0, 1100.0] {
            // What was put in, without the noise and the age of the reading; 0.3 m is what a sine of 2 m leaves.
            assert!((c.at(&ride, t) - (1.004 * ride.distance_m.at(t) - 50.0)).abs() < 0.3);
        }
        let t = c.time_at(&ride, 2000.0, 10.0, 970.0).unwrap();
        assert!((c.at(&ride, t) - 2000.0).abs() < 1e-4);
        assert_eq!(c.time_at(&ride, -100.0, 10.0, 970.0), None);
    }

    #[test]
    fn a_wandering_line_is_followed_lap_by_lap_and_steady_noise_is_not() {
        let walk = DVector::from_vec(vec![0.0, 4.0, 7.0, 12.0, 15.0, 21.0, 24.0, 30.0]);
        let noise = DVector::from_vec(vec![1.0, -1.2, 0.8, -0.9, 1.1, -1.0, 0.7, -0.5]);
        let blocks = |y: &DVector<f64>| {
            y.iter().enumerate().map(|(i, v)| Block { time_s: i as f64, sum: *v, count: 1 }).collect::<Vec<_>>()
        };
        assert!(drift(&blocks(&noise)).is_empty());
        let followed = drift(&blocks(&walk));
        assert!((followed[7].correction_m - followed[0].correction_m - 30.0).abs() < 3.0);
    }
}
