//! What a device writes down as speed and distance.
//!
//! Given the true ride; gives one speed and one distance for each stamp, with the delay and the errors of a wheel
//! sensor, a satellite receiver or an ideal instrument. It does not round: that is done where records are made.

use super::chance::normal;
use super::trace::Trace;
use crate::plan::{Noise, SpeedSource};
use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

/// Delay of a wheel sensor beyond its averaging when none is stated, s.
const WHEEL_DELAY_S: f64 = 0.25;
/// After this long without a revolution a wheel sensor shows zero, s.
const STANDSTILL_S: f64 = 2.5;
/// Time constant and noise of a satellite receiver's speed (common practice, no source).
const SATELLITE_TIME_S: f64 = 1.5;
const SATELLITE_SD_M_S: f64 = 0.05;

/// Columns as long as the stamps.
pub(super) struct SpeedColumns {
    pub(super) speed_m_s: Vec<f64>,
    pub(super) distance_m: Vec<f64>,
    /// Mean time between the instant a speed belongs to and its stamp.
    pub(super) delay_s: f64,
}

/// Speed and distance at whole seconds 1, 2, … up to `count`, recorded speeds being `scale` times the true ones.
pub(super) fn read(
    trace: &Trace,
    count: usize,
    noise: &Noise,
    scale: f64,
    random: &mut Xoshiro256PlusPlus,
) -> SpeedColumns {
    match noise.speed_source {
        SpeedSource::Exact => exact(trace, count, noise, scale),
        SpeedSource::Wheel => wheel(trace, count, noise, scale, random),
        SpeedSource::Satellite => satellite(trace, count, noise, scale, random),
    }
}

fn exact(trace: &Trace, count: usize, noise: &Noise, scale: f64) -> SpeedColumns {
    let lag_s = noise.speed_lag_s.unwrap_or(0.0);
    let start_m = trace.chainage_at(0.0);
    let times = || (1..=count).map(|i| i as f64 - lag_s);
    SpeedColumns {
        speed_m_s: times().map(|t| scale * trace.speed_at(t)).collect(),
        distance_m: times().map(|t| scale * (trace.chainage_at(t) - start_m)).collect(),
        delay_s: lag_s,
    }
}

/// The sensor counts revolutions; the device divides the whole ones within the last second by the time they took.
fn wheel(trace: &Trace, count: usize, noise: &Noise, scale: f64, random: &mut Xoshiro256PlusPlus) -> SpeedColumns {
    let lag_s = noise.speed_lag_s.unwrap_or(WHEEL_DELAY_S);
    let round_m = noise.wheel_circumference_m;
    let phase: f64 = random.random();
    let pulses = trace.passes(trace.chainage_at(0.0) - phase * round_m, round_m);
    let mut columns = SpeedColumns { speed_m_s: vec![], distance_m: vec![], delay_s: 0.0 };
    let (mut first, mut seen, mut moving) = (0, 0, 0);
    for i in 1..=count {
        let now = i as f64 - lag_s;
        while seen < pulses.len() && pulses[seen] <= now {
            seen += 1;
        }
        while first < seen && pulses[first] < now - 1.0 {
            first += 1;
        }
        columns.distance_m.push(scale * round_m * seen as f64);
        let speed = if seen >= first + 2 {
            let (from, to) = (pulses[first], pulses[seen - 1]);
            columns.delay_s += i as f64 - 0.5 * (from + to);
            moving += 1;
            round_m * (seen - 1 - first) as f64 / (to - from)
        } else if seen >= 2 && now - pulses[seen - 1] < STANDSTILL_S {
            // Less than a revolution a second: the last one, or as slow as the wait for the next one shows.
            round_m / (now - pulses[seen - 1]).max(pulses[seen - 1] - pulses[seen - 2])
        } else {
            0.0
        };
        columns.speed_m_s.push(scale * speed);
    }
    columns.delay_s /= f64::from(moving.max(1));
    columns
}

fn satellite(trace: &Trace, count: usize, noise: &Noise, scale: f64, random: &mut Xoshiro256PlusPlus) -> SpeedColumns {
    let lag_s = noise.speed_lag_s.unwrap_or(0.0);
    let share = 1.0 - (-1.0 / SATELLITE_TIME_S).exp();
    let mut smooth = trace.speed_at(0.0);
    let mut way_m = 0.0;
    // A ramp passes a first-order filter with share k delayed by (1 − k)/k steps.
    let mut columns = SpeedColumns { speed_m_s: vec![], distance_m: vec![], delay_s: lag_s + (1.0 - share) / share };
    for i in 1..=count {
        smooth += share * (trace.speed_at(i as f64 - lag_s) - smooth);
        let speed = (scale * smooth + SATELLITE_SD_M_S * normal(random)).max(0.0);
        way_m += speed;
        columns.speed_m_s.push(speed);
        columns.distance_m.push(way_m);
    }
    columns
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::chance::{Purpose, stream};

    /// A ride whose speed grows evenly, so that the delay of a mean speed can be read off it.
    fn ramp(from_m_s: f64, growth_m_s2: f64, seconds: usize) -> Trace {
        let mut trace = Trace { step_s: 0.01, ..Trace::default() };
        for i in 0..=100 * seconds {
            let t = i as f64 * 0.01;
            trace.push(from_m_s * t + 0.5 * growth_m_s2 * t * t, from_m_s + growth_m_s2 * t, 0.0);
        }
        trace
    }

    fn read_ramp(noise: &Noise) -> (Trace, SpeedColumns) {
        let trace = ramp(6.0, 0.02, 300);
        let columns = read(&trace, 300, noise, 1.0, &mut stream(3, 0, Purpose::Speed));
        (trace, columns)
    }

    /// Mean of (true speed at the stamp − recorded speed)/growth, which is the delay by the definition of a ramp.
    fn mean_delay(trace: &Trace, columns: &SpeedColumns) -> f64 {
        let ages: Vec<f64> = (20..=300).map(|i| (trace.speed_at(i as f64) - columns.speed_m_s[i - 1]) / 0.02).collect();
        ages.iter().sum::<f64>() / ages.len() as f64
    }

    #[test]
    fn a_wheel_speed_is_half_a_second_old_and_older_by_its_delay() {
        // Whole revolutions within the last second lie evenly about its middle.
        for (delay_s, expected_s) in [(0.0, 0.5), (0.25, 0.75), (0.5, 1.0)] {
            let noise = Noise { speed_lag_s: Some(delay_s), ..Noise::default() };
            let (trace, columns) = read_ramp(&noise);
            let delay = mean_delay(&trace, &columns);
            assert!((delay - expected_s).abs() < 0.02, "{delay} for {expected_s}");
            assert!((columns.delay_s - delay).abs() < 0.01, "{} stated, {delay} found", columns.delay_s);
        }
    }

    #[test]
    fn a_satellite_speed_is_as_old_as_it_says() {
        let noise = Noise { speed_source: SpeedSource::Satellite, ..Noise::default() };
        let (trace, columns) = read_ramp(&noise);
        // 281 values with noise of 0.05 m/s on a ramp of 0.02 m/s²: the mean delay is known to 0.15 s.
        assert!((mean_delay(&trace, &columns) - columns.delay_s).abs() < 0.45);
    }

    #[test]
    fn wheel_distance_counts_whole_revolutions() {
        let (trace, columns) = read_ramp(&Noise::default());
        let behind = trace.chainage_at(300.0 - WHEEL_DELAY_S) - columns.distance_m[299];
        assert!(behind.abs() <= 2.105, "{behind}");
        let turns = columns.distance_m[299] / 2.105;
        assert!((turns - turns.round()).abs() < 1e-9);
    }

    #[test]
    fn a_standing_wheel_shows_zero() {
        let mut trace = ramp(3.0, 0.0, 5);
        let end = trace.chainage_at(5.0);
        for _ in 0..500 {
            trace.push(end, 0.0, 0.0);
        }
        let columns = read(&trace, 10, &Noise::default(), 1.0, &mut stream(3, 0, Purpose::Speed));
        assert_eq!(columns.speed_m_s[9], 0.0);
        assert!(columns.speed_m_s[3] > 2.9);
    }
}
