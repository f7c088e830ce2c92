//! Places seen along the line, and the wheel's distance tied to them.
//!
//! Given sightings of one stint, noisy but unbiased in the long run; gives the stint's chainage for any age of the speed
//! reading, and what the sightings say of that age. Those that lie far from the others are not used.

use super::chainage::Chainage;
use super::line_drift::{LapMean, drift};
use super::speed_age::{AgeEvidence, SpeedAge};
use crate::sample::Ride;
use nalgebra::{Matrix3, Vector3};

/// Standard deviation of the wheel's scale against the line's length.
const SCALE_SD: f64 = 0.01;
/// Sightings further than this many robust deviations from the fit are not used.
const OUTLIER: f64 = 5.0;
/// Lap means that a drift is looked for among; more laps share one, because the cost grows with the cube of their number.
const MOST_LAP_MEANS: usize = 200;

/// A place seen at an instant, counted on from the first pass of the stint, m.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sighting {
    time_s: f64,
    chainage_m: f64,
    /// By the wheel.
    distance_m: f64,
    speed_m_s: f64,
    /// Inverse variance as if sightings were independent, 1/m².
    weight: f64,
}

impl Sighting {
    /// `sd_m` is the standard deviation as if sightings were independent.
    pub fn new(ride: &Ride, time_s: f64, chainage_m: f64, sd_m: f64) -> Sighting {
        Sighting {
            time_s,
            chainage_m,
            distance_m: ride.distance_m.at(time_s),
            speed_m_s: ride.distance_m.rate_at(time_s),
            weight: sd_m.powi(-2),
        }
    }
}

/// Sightings of a stint that agree with each other, in order of time.
pub(super) struct Sightings {
    agreeing: Vec<Sighting>,
    sums: Sums,
}

impl Sightings {
    /// `None` with fewer than 3.
    pub fn new(mut all: Vec<Sighting>) -> Option<Sightings> {
        let mut sums = Sums::over(all.iter())?;
        let mut limit_m = f64::INFINITY;
        for _ in 0..2 {
            let found = sums.solve(SpeedAge::USUAL)?;
            let mut size: Vec<f64> = all.iter().map(|s| found.residual(s).abs()).collect();
            size.sort_by(f64::total_cmp);
            limit_m = OUTLIER * 1.4826 * size[size.len() / 2] + 1e-3;
            sums = Sums::over(all.iter().filter(|s| found.residual(s).abs() <= limit_m))?;
        }
        let found = sums.solve(SpeedAge::USUAL)?;
        all.retain(|s| found.residual(s).abs() <= limit_m);
        Some(Sightings { sums: Sums::over(all.iter())?, agreeing: all })
    }

    /// What they say of the age of the speed reading, whatever start and scale are.
    ///
    /// `passes_s` are the rough instants of the passes that bound the laps.
    pub fn age_evidence(&self, passes_s: &[f64]) -> Option<AgeEvidence> {
        let Sums { normal, right, .. } = &self.sums;
        let shape = normal.fixed_view::<2, 2>(0, 0).into_owned().cholesky()?;
        let age = normal.fixed_view::<2, 1>(0, 2).into_owned();
        let explained = shape.solve(&age);
        let laps = self.lap_means(&self.sums.solve(SpeedAge::USUAL)?, passes_s);
        Some(AgeEvidence {
            information: normal[(2, 2)] - age.dot(&explained),
            pull: right[2] - explained.dot(&right.fixed_view::<2, 1>(0, 0)),
            misfit: laps.iter().map(|l| l.weight * l.mean_m.powi(2)).sum(),
            // Start and scale follow the laps; the age is hardly moved by those of one stint.
            dof: (laps.len() as f64 - 2.0).max(0.0),
        })
    }

    /// Start and scale for a speed reading that is `age_s` old, then a slow drift by laps if the sightings ask for one.
    pub fn chainage(&self, age_s: f64, passes_s: &[f64]) -> Option<Chainage> {
        let found = self.sums.solve(SpeedAge::known(age_s))?;
        Some(Chainage::new(found.start_m, found.scale, drift(&self.lap_means(&found, passes_s))))
    }

    /// What the regression leaves, as one mean a lap or some laps.
    fn lap_means(&self, found: &Regression, passes_s: &[f64]) -> Vec<LapMean> {
        let bounds: Vec<&[f64]> = passes_s.windows(2).collect();
        let mut out = Vec::new();
        for laps in bounds.chunks(bounds.len().div_ceil(MOST_LAP_MEANS).max(1)) {
            let (Some(first), Some(last)) = (laps.first(), laps.last()) else { continue };
            let before = |time_s: f64| self.agreeing.partition_point(|s| s.time_s < time_s);
            let inside = &self.agreeing[before(first[0])..before(last[1])];
            let weight: f64 = inside.iter().map(|s| s.weight).sum();
            let sum: f64 = inside.iter().map(|s| s.weight * found.residual(s)).sum();
            if weight > 0.0 {
                out.push(LapMean { time_s: 0.5 * (first[0] + last[1]), mean_m: sum / weight, weight });
            }
        }
        out
    }
}

/// Place = start + scale × distance by the wheel + age × speed; the reading itself was made where the last term is left out.
struct Regression {
    start_m: f64,
    scale: f64,
    age_s: f64,
}

impl Regression {
    fn residual(&self, s: &Sighting) -> f64 {
        s.chainage_m - self.start_m - self.scale * s.distance_m - self.age_s * s.speed_m_s
    }
}

/// Sums of the weighted least squares of chainage on (1, distance, speed), with the prior on scale.
struct Sums {
    /// Distance is counted from here, so that three by three normal equations lose no digits, m.
    middle_m: f64,
    normal: Matrix3<f64>,
    right: Vector3<f64>,
}

impl Sums {
    /// `None` with fewer than 3 sightings.
    fn over<'s>(sightings: impl Iterator<Item = &'s Sighting> + Clone) -> Option<Sums> {
        let count = sightings.clone().count();
        let middle_m = sightings.clone().nth(count / 2)?.distance_m;
        let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
        for s in sightings {
            let d = s.distance_m - middle_m;
            let row = Vector3::new(1.0, d, s.speed_m_s);
            normal += s.weight * row * row.transpose();
            right += s.weight * (s.chainage_m - d) * row;
        }
        normal[(1, 1)] += SCALE_SD.powi(-2);
        (count >= 3).then_some(Sums { middle_m, normal, right })
    }

    fn solve(&self, age: SpeedAge) -> Option<Regression> {
        let (mut normal, mut right) = (self.normal, self.right);
        normal[(2, 2)] += age.sd_s.powi(-2);
        right[2] += age.mean_s / age.sd_s.powi(2);
        let x = normal.cholesky()?.solve(&right);
        let scale = 1.0 + x[1];
        let found = Regression { start_m: x[0] - scale * self.middle_m, scale, age_s: x[2] };
        x.iter().all(|v| v.is_finite()).then_some(found)
    }
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

    const PASSES_S: [f64; 5] = [10.0, 250.0, 490.0, 730.0, 970.0];

    /// Scale 1.004, start −50 m, speed readings 0.7 s old, a sine of 2 m; two places are 80 m off.
    fn seen(ride: &Ride) -> Sightings {
        let all = (0..1200).map(|i| {
            let t = f64::from(i);
            let off = if i % 600 == 300 { 80.0 } else { 2.0 * (t * 0.7).sin() };
            let chainage_m = 1.004 * ride.distance_m.at(t) - 50.0 + 0.7 * ride.distance_m.rate_at(t) + off;
            Sighting::new(ride, t, chainage_m, 20.0)
        });
        Sightings::new(all.collect()).unwrap()
    }

    #[test]
    fn noisy_places_give_back_start_and_scale_of_the_wheel() {
        let ride = steady_ride(1200);
        let sightings = seen(&ride);
        assert_eq!(sightings.agreeing.len(), 1198);
        let c = sightings.chainage(0.7, &PASSES_S).unwrap();
        for t in [100.0, 600.0, 1100.0] {
            // What was put in, without the noise; 0.3 m is what a sine of 2 m leaves.
            assert!((c.at(&ride, t) - (1.004 * ride.distance_m.at(t) - 50.0)).abs() < 0.3);
        }
        let t = c.time_at(&ride, 2000.0, 10.0, 970.0).unwrap();
        assert!((c.at(&ride, t) - 2000.0).abs() < 1e-4);
        assert_eq!(c.time_at(&ride, -100.0, 10.0, 970.0), None);
    }

    #[test]
    fn they_say_how_old_the_speed_reading_is() {
        let evidence = seen(&steady_ride(1200)).age_evidence(&PASSES_S).unwrap();
        let age_s = evidence.pull / evidence.information;
        // 1200 sines of 2 m on speeds that lie 1.5 m/s to either side: 2/√2/1.5/√1200 = 0.03 s.
        assert!((age_s - 0.7).abs() < 0.06, "{age_s}");
        // Stated errors of 20 m on such speeds: 20/1.5/√1200 = 0.385 s.
        assert!((evidence.information.powf(-0.5) - 0.385).abs() < 0.02, "{}", evidence.information);
        assert_eq!(evidence.dof, 2.0);
    }

    #[test]
    fn two_sightings_tie_nothing() {
        let ride = steady_ride(100);
        let two = [10.0, 50.0].map(|t| Sighting::new(&ride, t, ride.distance_m.at(t), 20.0));
        assert!(Sightings::new(two.to_vec()).is_none());
    }
}
