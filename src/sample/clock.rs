//! The common clock of a ride: seconds from its first record, split where the record has a gap or a pause.
//!
//! Given a recording; gives columns on one clock with cumulative energy and distance. It never fills a gap.

use super::curve::{Cumulative, Sampled};
use super::drop_out::{Columns, DropOuts, drop_outs};
use crate::finding::{Slip, What};
use crate::record::Recording;

/// Longest stretch without a power value that is filled in linearly, s.
const POWER_FILL_S: f64 = 2.0;
/// Shortest interval that counts as a gap in a one-second record, s.
const SHORTEST_GAP_S: f64 = 3.0;
/// Longest interval between records that irregular recording may have, s.
const LONGEST_INTERVAL_S: f64 = 30.0;

/// A ride on one clock. Columns have one entry a record; NaN is missing.
#[derive(Debug, Clone, Default)]
pub struct Ride {
    /// Unix time of the first record, s.
    pub start_unix_s: f64,
    /// Seconds from the first record.
    pub time_s: Vec<f64>,
    pub power_w: Vec<f64>,
    pub speed_m_s: Vec<f64>,
    pub latitude_deg: Vec<f64>,
    pub longitude_deg: Vec<f64>,
    pub altitude_m: Vec<f64>,
    pub cadence_rpm: Vec<f64>,
    pub temperature_c: Vec<f64>,
    /// Number of the unbroken stretch each record belongs to.
    pub stretch: Vec<usize>,
    /// Lap marks of the device, s from the first record.
    pub lap_marks_s: Vec<f64>,
    /// Work at the meter since the first record, J. Flat where power is missing (and marked there).
    pub work_j: Cumulative,
    /// Distance by the speed channel since the first record, m.
    pub distance_m: Cumulative,
    /// Speed as a smooth function of time, m/s.
    pub speed: Sampled,
    /// Interval above which the record has a gap, s.
    pub gap_limit_s: f64,
    /// Zeros of the power meter that are faults; `power_w` still has them, `work_j` does not.
    pub drop_outs: DropOuts,
}

impl Ride {
    pub fn len(&self) -> usize {
        self.time_s.len()
    }

    pub fn is_empty(&self) -> bool {
        self.time_s.is_empty()
    }

    pub fn duration_s(&self) -> f64 {
        self.time_s.last().copied().unwrap_or(0.0)
    }

    /// Whether an unbroken stretch of the record covers a span of time.
    pub fn is_unbroken(&self, from_s: f64, to_s: f64) -> bool {
        let first = self.index_at(from_s);
        let last = self.index_at(to_s);
        match (first, last) {
            (Some(a), Some(b)) => self.stretch[a] == self.stretch[b] && to_s <= self.duration_s(),
            _ => false,
        }
    }

    /// The same ride with another scale of speed and distance.
    pub fn with_speed_times(&self, factor: f64) -> Ride {
        let speed_m_s: Vec<f64> = self.speed_m_s.iter().map(|v| v * factor).collect();
        let speed = Sampled::new(&self.time_s, &fill(&self.time_s, &speed_m_s, self.gap_limit_s));
        Ride { distance_m: Cumulative::of_speed(&self.time_s, &speed, &self.stretch), speed, speed_m_s, ..self.clone() }
    }

    /// Index of the last record at or before a time.
    pub fn index_at(&self, time_s: f64) -> Option<usize> {
        let i = self.time_s.partition_point(|&t| t <= time_s);
        i.checked_sub(1)
    }

    /// Power as it enters the energy account: drop-outs bridged or missing.
    pub fn mended_power_w(&self) -> Vec<f64> {
        self.drop_outs.mended(&self.time_s, &self.power_w)
    }

    /// Indices of the records in a span of time, end excluded.
    pub fn records_between(&self, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
        let a = self.time_s.partition_point(|&t| t < from_s);
        let b = self.time_s.partition_point(|&t| t < to_s);
        a..b.max(a)
    }
}

/// Puts a recording on one clock.
///
/// Speed missing throughout is taken from distance. Gives the ride and what had to be said about it.
pub fn align(recording: &Recording) -> (Ride, Vec<What>) {
    let mut findings = Vec::new();
    let start_unix_s = recording.time_s.first().copied().unwrap_or(0.0);
    let time_s: Vec<f64> = recording.time_s.iter().map(|t| t - start_unix_s).collect();
    let gap_limit_s = gap_limit(&time_s);
    let stretch = stretches(recording, &time_s, gap_limit_s, &mut findings);

    let mut speed_m_s = recording.speed_m_s.clone();
    if !Recording::has(&speed_m_s) && Recording::has(&recording.distance_m) {
        speed_m_s = speed_from_distance(&time_s, &recording.distance_m, &stretch);
        findings.push(What::SpeedFromDistance);
    } else if let Some(ratio) = speed_to_distance_ratio(&time_s, &speed_m_s, &recording.distance_m, &stretch)
        && (ratio - 1.0).abs() > 0.005
    {
        findings.push(What::SpeedDistanceMismatch { ratio });
    }
    if Recording::has(&recording.power_w) && recording.power_w.iter().all(|p| p.is_nan() || *p == 0.0) {
        findings.push(What::PowerAllZero { records: recording.len() });
    }

    let speed = Sampled::new(&time_s, &fill(&time_s, &speed_m_s, gap_limit_s));
    let drop_outs = drop_outs(&Columns {
        time_s: &time_s,
        power_w: &recording.power_w,
        speed_m_s: &speed_m_s,
        cadence_rpm: &recording.cadence_rpm,
        stretch: &stretch,
    });
    if drop_outs.count() > 0 {
        let (bridged, lost) = (drop_outs.bridged.len(), drop_outs.lost.len());
        findings.push(What::Slip(Slip::PowerDropOuts { bridged, lost, share: drop_outs.share }));
    }
    let power_w = fill(&time_s, &drop_outs.mended(&time_s, &recording.power_w), POWER_FILL_S + 0.5);
    let ride = Ride {
        start_unix_s,
        distance_m: Cumulative::of_speed(&time_s, &speed, &stretch),
        work_j: Cumulative::of_power(&time_s, &power_w, &stretch),
        power_w: recording.power_w.clone(),
        speed_m_s,
        latitude_deg: recording.latitude_deg.clone(),
        longitude_deg: recording.longitude_deg.clone(),
        altitude_m: recording.altitude_m.clone(),
        cadence_rpm: recording.cadence_rpm.clone(),
        temperature_c: recording.temperature_c.clone(),
        lap_marks_s: recording.lap_marks_s.iter().map(|t| t - start_unix_s).collect(),
        stretch,
        speed,
        time_s,
        gap_limit_s,
        drop_outs,
    };
    (ride, findings)
}

/// Interval above which two records do not belong to one stretch: three times the usual interval, at least
/// [`SHORTEST_GAP_S`].
fn gap_limit(time_s: &[f64]) -> f64 {
    let mut intervals: Vec<f64> = time_s.windows(2).map(|w| w[1] - w[0]).collect();
    if intervals.is_empty() {
        return SHORTEST_GAP_S;
    }
    intervals.sort_by(f64::total_cmp);
    let usual = intervals[(intervals.len() - 1) * 95 / 100];
    (3.0 * usual).clamp(SHORTEST_GAP_S, LONGEST_INTERVAL_S)
}

/// Numbers the unbroken stretches.
fn stretches(recording: &Recording, time_s: &[f64], gap_limit_s: f64, findings: &mut Vec<What>) -> Vec<usize> {
    let start = recording.time_s.first().copied().unwrap_or(0.0);
    let mut number = 0;
    let mut count = 0;
    let mut longest_s: f64 = 0.0;
    let mut pauses = recording.pauses_s.iter().peekable();
    let mut stretch = Vec::with_capacity(time_s.len());
    for (i, &t) in time_s.iter().enumerate() {
        if i > 0 {
            let before = time_s[i - 1];
            let mut paused = false;
            while let Some(p) = pauses.peek() {
                let (from, to) = (p.from_s - start, p.to_s - start);
                if from >= t {
                    break;
                }
                paused |= to > before && to - from > 0.0;
                if to > t {
                    break;
                }
                pauses.next();
            }
            if t - before > gap_limit_s || paused {
                number += 1;
                count += 1;
                longest_s = longest_s.max(t - before);
            }
        }
        stretch.push(number);
    }
    if count > 0 {
        findings.push(What::Gaps { count, longest_s });
    }
    stretch
}

/// Speed as the change of distance over the interval before each record.
fn speed_from_distance(time_s: &[f64], distance_m: &[f64], stretch: &[usize]) -> Vec<f64> {
    let mut speed = vec![f64::NAN; time_s.len()];
    for i in 1..time_s.len() {
        if stretch[i] == stretch[i - 1] {
            let v = (distance_m[i] - distance_m[i - 1]) / (time_s[i] - time_s[i - 1]);
            speed[i] = if (0.0..=60.0).contains(&v) { v } else { f64::NAN };
        }
    }
    speed
}

/// Integral of the speed channel over the advance of the distance channel, where both are there.
pub fn speed_to_distance_ratio(time_s: &[f64], speed: &[f64], distance: &[f64], stretch: &[usize]) -> Option<f64> {
    let (mut by_speed, mut by_distance) = (0.0, 0.0);
    for i in 1..time_s.len() {
        let d = distance[i] - distance[i - 1];
        let s = 0.5 * (speed[i] + speed[i - 1]) * (time_s[i] - time_s[i - 1]);
        if stretch[i] == stretch[i - 1] && d.is_finite() && s.is_finite() && d >= 0.0 {
            by_speed += s;
            by_distance += d;
        }
    }
    (by_distance > 1000.0).then(|| by_speed / by_distance)
}

/// Fills missing values linearly where the neighbours that are there lie no more than `limit_s` apart.
fn fill(time_s: &[f64], values: &[f64], limit_s: f64) -> Vec<f64> {
    let mut out = values.to_vec();
    let mut last: Option<usize> = None;
    for i in 0..values.len() {
        if !values[i].is_finite() {
            continue;
        }
        if let Some(a) = last
            && i > a + 1
            && time_s[i] - time_s[a] <= limit_s + 1.0
        {
            for k in a + 1..i {
                let f = (time_s[k] - time_s[a]) / (time_s[i] - time_s[a]);
                out[k] = values[a] + f * (values[i] - values[a]);
            }
        }
        last = Some(i);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Pause;

    fn recording(times: &[f64]) -> Recording {
        Recording::of_speeds(times.iter().map(|t| t + 1.9e9).collect(), vec![10.0; times.len()])
    }

    #[test]
    fn a_gap_splits_the_ride_and_adds_neither_work_nor_distance() {
        let (ride, findings) = align(&recording(&[0.0, 1.0, 2.0, 30.0, 31.0]));
        assert_eq!(ride.stretch, [0, 0, 0, 1, 1]);
        assert!(matches!(findings[..], [What::Gaps { count: 1, longest_s: 28.0 }]));
        assert!((ride.work_j.at(31.0) - 600.0).abs() < 1e-9);
        assert!((ride.distance_m.at(31.0) - 30.0).abs() < 1e-9);
        assert!(!ride.is_unbroken(1.0, 30.5));
        assert!(ride.is_unbroken(0.0, 2.0));
    }

    #[test]
    fn a_timer_pause_splits_even_without_a_gap() {
        let mut r = recording(&[0.0, 1.0, 2.0, 3.0, 4.0]);
        r.pauses_s = vec![Pause { from_s: 1.9e9 + 2.2, to_s: 1.9e9 + 2.9 }];
        let (ride, _) = align(&r);
        assert_eq!(ride.stretch, [0, 0, 0, 1, 1]);
    }

    #[test]
    fn irregular_records_are_not_gaps() {
        let times: Vec<f64> = (0..100).map(|i| (i * 3 + i % 2) as f64).collect();
        let (ride, findings) = align(&recording(&times));
        assert!(findings.is_empty());
        assert_eq!(ride.stretch.last(), Some(&0));
    }
}
