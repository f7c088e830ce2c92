//! Places seen along the line, and the wheel's distance tied to them.
//!
//! Given fixes of one sequence, noisy but unbiased in the long run; gives the sequence's chainage for any delay of the speed
//! reading, and what the fixes say of that delay. Those that lie far from the others are not used.

use super::chainage::{Chainage, PerDelay};
use super::line_drift::{LapMean, drift};
use super::speed_delay::{DelayEvidence, SpeedDelay};
use crate::sample::Ride;
use nalgebra::{Cholesky, Matrix2, U2, Vector2};

/// Standard deviation of the wheel's scale against the line's length.
const SCALE_SD: f64 = 0.01;
/// Fixes further than this many robust deviations from the fit are not used.
const OUTLIER: f64 = 5.0;
/// Lap means that a drift is looked for among; more laps share one, because the cost grows with the cube of their number.
const MOST_LAP_MEANS: usize = 200;

/// A place seen at an instant, counted on from the first pass of the sequence, m.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fix {
    time_s: f64,
    chainage_m: f64,
    /// By the wheel.
    distance_m: f64,
    speed_m_s: f64,
    /// Inverse variance as if fixes were independent, 1/m².
    weight: f64,
}

impl Fix {
    /// `sd_m` is the standard deviation as if fixes were independent.
    pub fn new(ride: &Ride, time_s: f64, chainage_m: f64, sd_m: f64) -> Fix {
        Fix {
            time_s,
            chainage_m,
            distance_m: ride.distance_m.at(time_s),
            speed_m_s: ride.distance_m.rate_at(time_s),
            weight: sd_m.powi(-2),
        }
    }
}

/// Fixes of a sequence that agree with each other, in order of time.
pub(super) struct Fixes {
    agreeing: Vec<Fix>,
    sums: Sums,
    passes_s: Vec<f64>,
}

impl Fixes {
    /// `passes_s` are the rough instants of the passes that bound the laps. `None` with fewer than 3 fixes that agree.
    pub fn new(all: Vec<Fix>, passes_s: &[f64]) -> Option<Fixes> {
        let mut agreeing = all.clone();
        for _ in 0..2 {
            let sums = Sums::over(&agreeing)?;
            let found = sums.at_delay(sums.own_delay()?.mean_s)?;
            let mut size: Vec<f64> = all.iter().map(|s| found.residual(s).abs()).collect();
            size.sort_by(f64::total_cmp);
            let limit_m = OUTLIER * 1.4826 * size[size.len() / 2] + 1e-3;
            agreeing = all.iter().filter(|s| found.residual(s).abs() <= limit_m).copied().collect();
        }
        Some(Fixes { sums: Sums::over(&agreeing)?, agreeing, passes_s: passes_s.to_vec() })
    }

    /// What they say of the speed delay, whatever start and scale are.
    pub fn delay_evidence(&self) -> Option<DelayEvidence> {
        let (information, pull) = self.sums.delay_information()?;
        let own = SpeedDelay::USUAL.with(information, pull);
        let laps = self.lap_means(&self.sums.at_delay(own.mean_s)?);
        Some(DelayEvidence {
            information,
            pull,
            misfit: laps.iter().map(|l| l.weight * l.mean_m.powi(2)).sum(),
            // Start and scale follow the laps, and the delay by so much of it as they decide.
            dof: (laps.len() as f64 - 2.0 - information * own.sd_s.powi(2)).max(0.0),
        })
    }

    /// Start and scale for a speed reading that is `delay_s` late, then a slow drift by laps if the fixes ask for one.
    pub fn chainage(&self, delay_s: f64) -> Option<Chainage> {
        let (found, later) = (self.sums.at_delay(delay_s)?, self.sums.at_delay(delay_s + 1.0)?);
        let per_delay = PerDelay { start_m: later.start_m - found.start_m, scale: later.scale - found.scale };
        Some(Chainage::new(found.start_m, found.scale, per_delay, drift(&self.lap_means(&found))))
    }

    /// What the regression leaves, as one mean a lap or some laps.
    fn lap_means(&self, found: &Regression) -> Vec<LapMean> {
        let bounds: Vec<&[f64]> = self.passes_s.windows(2).collect();
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

/// Place = start + scale × distance by the wheel + delay × speed; without the last term it is where the reading was made.
struct Regression {
    start_m: f64,
    scale: f64,
    delay_s: f64,
}

impl Regression {
    fn residual(&self, s: &Fix) -> f64 {
        s.chainage_m - self.start_m - self.scale * s.distance_m - self.delay_s * s.speed_m_s
    }
}

/// Sums of the weighted least squares of place on start and scale, and of speed on them, with the prior on scale.
struct Sums {
    /// Distance is counted from here, so that normal equations lose no digits, m.
    middle_m: f64,
    shape: Cholesky<f64, U2>,
    place: Vector2<f64>,
    speed: Vector2<f64>,
    /// Σ w v² and Σ w v (place − distance).
    speed_square: f64,
    speed_place: f64,
}

impl Sums {
    /// `None` with fewer than 3 fixes.
    fn over(fixes: &[Fix]) -> Option<Sums> {
        let middle_m = fixes.get(fixes.len() / 2)?.distance_m;
        let mut shape = Matrix2::new(0.0, 0.0, 0.0, SCALE_SD.powi(-2));
        let (mut place, mut speed) = (Vector2::zeros(), Vector2::zeros());
        let (mut speed_square, mut speed_place) = (0.0, 0.0);
        for s in fixes {
            let d = s.distance_m - middle_m;
            let row = Vector2::new(1.0, d);
            shape += s.weight * row * row.transpose();
            place += s.weight * (s.chainage_m - d) * row;
            speed += s.weight * s.speed_m_s * row;
            speed_square += s.weight * s.speed_m_s * s.speed_m_s;
            speed_place += s.weight * s.speed_m_s * (s.chainage_m - d);
        }
        let shape = shape.cholesky().filter(|_| fixes.len() >= 3)?;
        Some(Sums { middle_m, shape, place, speed, speed_square, speed_place })
    }

    /// Inverse variance of the delay, 1/s², and its product with the delay, 1/s, whatever start and scale are.
    fn delay_information(&self) -> Option<(f64, f64)> {
        let explained = self.shape.solve(&self.speed);
        let information = self.speed_square - self.speed.dot(&explained);
        let pull = self.speed_place - self.place.dot(&explained);
        (information.is_finite() && pull.is_finite()).then_some((information.max(0.0), pull))
    }

    /// The delay by these fixes and what sensors usually show.
    fn own_delay(&self) -> Option<SpeedDelay> {
        self.delay_information().map(|(information, pull)| SpeedDelay::USUAL.with(information, pull))
    }

    /// Start and scale for a known delay.
    fn at_delay(&self, delay_s: f64) -> Option<Regression> {
        let x = self.shape.solve(&(self.place - delay_s * self.speed));
        let scale = 1.0 + x[1];
        let found = Regression { start_m: x[0] - scale * self.middle_m, scale, delay_s };
        x.iter().all(|v| v.is_finite()).then_some(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Recording;
    use crate::sample::align;

    fn steady_ride(seconds: u32) -> Ride {
        let speeds = (0..seconds).map(|i| if (i / 120) % 2 == 0 { 8.0 } else { 11.0 });
        align(&Recording::of_speeds((0..seconds).map(f64::from).collect(), speeds.collect())).0
    }

    const PASSES_S: [f64; 5] = [10.0, 250.0, 490.0, 730.0, 970.0];

    /// Scale 1.004, start −50 m, speed readings 0.7 s old, a sine of 2 m; two places are 80 m off.
    fn seen(ride: &Ride) -> Fixes {
        let all = (0..1200).map(|i| {
            let t = f64::from(i);
            let off = if i % 600 == 300 { 80.0 } else { 2.0 * (t * 0.7).sin() };
            let chainage_m = 1.004 * ride.distance_m.at(t) - 50.0 + 0.7 * ride.distance_m.rate_at(t) + off;
            Fix::new(ride, t, chainage_m, 20.0)
        });
        Fixes::new(all.collect(), &PASSES_S).unwrap()
    }

    #[test]
    fn noisy_places_give_back_start_and_scale_of_the_wheel() {
        let ride = steady_ride(1200);
        let fixes = seen(&ride);
        assert_eq!(fixes.agreeing.len(), 1198);
        let c = fixes.chainage(0.7).unwrap();
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
        let evidence = seen(&steady_ride(1200)).delay_evidence().unwrap();
        let delay_s = evidence.pull / evidence.information;
        // 1200 sines of 2 m on speeds that lie 1.5 m/s to either side: 2/√2/1.5/√1200 = 0.03 s.
        assert!((delay_s - 0.7).abs() < 0.06, "{delay_s}");
        // Stated errors of 20 m on such speeds: 20/1.5/√1200 = 0.385 s.
        assert!((evidence.information.powf(-0.5) - 0.385).abs() < 0.02, "{}", evidence.information);
        // Four laps less start and scale, and the delay by 6.75/(6.75 + 1/0.4²).
        assert!((evidence.dof - (2.0 - 0.52)).abs() < 0.03, "{}", evidence.dof);
    }

    #[test]
    fn a_later_reading_reaches_its_places_later() {
        let ride = steady_ride(1200);
        let fixes = seen(&ride);
        let (now, later) = (fixes.chainage(0.7).unwrap(), fixes.chainage(0.9).unwrap());
        for place_m in [300.0, 4000.0, 9000.0] {
            let at = |c: &Chainage| c.time_at(&ride, place_m, 0.0, 1199.0).unwrap();
            let delay_s = at(&later) - at(&now);
            // Mean speed is 9.5 m/s, so that places move by 0.2 s of that.
            assert!((0.15..0.25).contains(&delay_s), "{delay_s}");
            assert!((now.shift_per_delay(&ride, at(&now)) * 0.2 - delay_s).abs() < 0.01, "{delay_s}");
        }
        assert_eq!(Chainage::by_distance(&ride, 0.0).shift_per_delay(&ride, 600.0), 0.0);
    }

    #[test]
    fn two_fixes_tie_nothing() {
        let ride = steady_ride(100);
        let two = [10.0, 50.0].map(|t| Fix::new(&ride, t, ride.distance_m.at(t), 20.0));
        assert!(Fixes::new(two.to_vec(), &PASSES_S).is_none());
    }
}
