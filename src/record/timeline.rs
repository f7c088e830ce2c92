//! Rows put into strictly increasing time.
//!
//! Given rows in the order of the file; gives them back in the order of time, each moment once, and says what
//! was merged, moved or dropped. Nothing is allocated by a span of time, and no hole is filled.

use std::ops::Range;

use super::Recording;
use super::channel::Channel;
use crate::finding::What;

/// A step longer than this is no pause of one ride but another day or a broken clock, s.
pub const LONGEST_STEP_S: f64 = 86_400.0;
/// A clock may be set back by this much when it is corrected on the way, s.
const LARGEST_CORRECTION_S: f64 = 60.0;
/// Fewer moments than this that stand apart hold no lap and are taken for a broken clock.
const FEWEST_MOMENTS: usize = 30;

/// A run of rows whose steps of time are short.
struct Stretch {
    rows: Range<usize>,
    first_s: f64,
    latest_s: f64,
    /// Rows later than all before them in the stretch.
    moments: usize,
}

/// Puts the rows of a recording in order. All times must be finite.
///
/// Rows of one time become one: the first value of each channel is kept and a later row only fills what the
/// first lacks, because some devices write position and sensors in two records of the same second. Rows that go
/// back in time by up to a minute (a clock corrected on the way) are dropped until time catches up. Fewer than
/// 30 moments are dropped when they stand a day apart from everything else, or when time springs forward to
/// them and back again behind them; all else is kept in order of time.
pub(super) fn settle(recording: &mut Recording) {
    let times_s = &recording.time_s;
    if times_s.is_sorted_by(|a, b| a < b) && !times_s.windows(2).any(|w| w[1] - w[0] > LONGEST_STEP_S) {
        return;
    }
    let stretches = stretches(times_s);
    let jump = Jump::largest(&stretches);
    let stretches = sound_stretches(stretches);
    let kept: usize = stretches.iter().map(|s| s.rows.len()).sum();
    let dropped = times_s.len() - kept;

    let mut settled = Recording::default();
    let (mut repeated, mut backward) = (0, 0);
    for row in stretches.into_iter().flat_map(|s| s.rows) {
        let time_s = times_s[row];
        match settled.time_s.last() {
            Some(&last_s) if time_s < last_s => backward += 1,
            Some(&last_s) if time_s == last_s => {
                repeated += 1;
                fill_last(&mut settled, recording, row);
            }
            _ => {
                settled.time_s.push(time_s);
                for channel in Channel::ALL {
                    settled.channel_mut(channel).push(recording.channel(channel)[row]);
                }
            }
        }
    }
    recording.time_s = std::mem::take(&mut settled.time_s);
    for channel in Channel::ALL {
        *recording.channel_mut(channel) = std::mem::take(settled.channel_mut(channel));
    }
    let findings = &mut recording.findings;
    findings.extend((repeated > 0).then_some(What::RepeatedTimes { count: repeated }));
    findings.extend((backward > 0).then_some(What::OutOfOrder { count: backward }));
    findings.extend((jump.count > 0).then_some(What::TimeJump {
        count: jump.count,
        largest_s: jump.largest_s,
        dropped,
    }));
}

/// Cuts the rows where time steps by more than a minute either way.
fn stretches(times_s: &[f64]) -> Vec<Stretch> {
    let mut stretches: Vec<Stretch> = Vec::new();
    for (row, &time_s) in times_s.iter().enumerate() {
        match stretches.last_mut() {
            Some(last) if (time_s - last.latest_s).abs() <= LARGEST_CORRECTION_S => {
                last.rows.end = row + 1;
                if time_s > last.latest_s {
                    last.latest_s = time_s;
                    last.moments += 1;
                }
            }
            _ => stretches.push(Stretch { rows: row..row + 1, first_s: time_s, latest_s: time_s, moments: 1 }),
        }
    }
    stretches
}

/// Steps between stretches that no pause explains.
struct Jump {
    count: usize,
    largest_s: f64,
}

impl Jump {
    fn largest(stretches: &[Stretch]) -> Self {
        let steps_s = stretches.windows(2).map(|w| w[1].first_s - w[0].latest_s);
        let jumps_s = steps_s.filter(|s| !(0.0..=LONGEST_STEP_S).contains(s)).map(f64::abs);
        jumps_s.fold(Jump { count: 0, largest_s: 0.0 }, |jump, step_s| Jump {
            count: jump.count + 1,
            largest_s: jump.largest_s.max(step_s),
        })
    }
}

/// The stretches to keep, in order of time.
fn sound_stretches(mut stretches: Vec<Stretch>) -> Vec<Stretch> {
    // Time springs forward to a few rows and falls back behind them: their clock was wrong.
    let next_first_s: Vec<f64> = stretches.iter().skip(1).map(|s| s.first_s).chain([f64::INFINITY]).collect();
    let mut next_first_s = next_first_s.into_iter();
    stretches.retain(|s| {
        let falls_back = next_first_s.next().is_some_and(|next_s| next_s < s.first_s);
        s.moments >= FEWEST_MOMENTS || !falls_back
    });
    stretches.sort_by(|a, b| a.first_s.total_cmp(&b.first_s));

    let mut days: Vec<Vec<Stretch>> = Vec::new();
    let mut latest_s = f64::NEG_INFINITY;
    for stretch in stretches {
        let apart = stretch.first_s - latest_s > LONGEST_STEP_S;
        latest_s = latest_s.max(stretch.latest_s);
        match days.last_mut() {
            Some(day) if !apart => day.push(stretch),
            _ => days.push(vec![stretch]),
        }
    }
    let moments = |day: &Vec<Stretch>| day.iter().map(|s| s.moments).sum::<usize>();
    let most = days.iter().map(moments).max().unwrap_or(0);
    days.retain(|day| moments(day) >= FEWEST_MOMENTS.min(most));
    days.into_iter().flatten().collect()
}

fn fill_last(settled: &mut Recording, from: &Recording, row: usize) {
    for channel in Channel::ALL {
        if let Some(last) = settled.channel_mut(channel).last_mut()
            && last.is_nan()
        {
            *last = from.channel(channel)[row];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::channel::Row;
    use super::*;

    /// A recording whose power is the number of the row.
    fn recording(times_s: impl IntoIterator<Item = f64>) -> Recording {
        let mut recording = Recording::default();
        for (i, time_s) in times_s.into_iter().enumerate() {
            let mut row = Row::empty();
            row.set(Channel::Power, i as f64);
            recording.push(time_s, &row);
        }
        recording
    }

    fn seconds(range: Range<u32>) -> impl Iterator<Item = f64> {
        range.map(f64::from)
    }

    #[test]
    fn the_first_of_two_rows_of_one_second_is_kept() {
        let mut ride = recording([0.0, 1.0, 1.0, 2.0]);
        settle(&mut ride);
        assert_eq!(ride.time_s, [0.0, 1.0, 2.0]);
        assert_eq!(ride.power_w, [0.0, 1.0, 3.0]);
        assert_eq!(ride.findings, [What::RepeatedTimes { count: 1 }]);
    }

    #[test]
    fn a_second_row_of_the_same_time_fills_what_the_first_lacks() {
        let mut ride = recording([0.0, 0.0]);
        ride.power_w[0] = f64::NAN;
        ride.speed_m_s = vec![5.0, 9.0];
        settle(&mut ride);
        assert_eq!((ride.power_w[0], ride.speed_m_s[0]), (1.0, 5.0));
    }

    #[test]
    fn one_row_sixty_four_years_ahead_is_dropped_and_said() {
        let far_s = 2_027_039_314.0;
        let mut ride = recording(seconds(0..50).chain([far_s]).chain(seconds(50..60)));
        settle(&mut ride);
        assert_eq!(ride.time_s, seconds(0..60).collect::<Vec<_>>());
        assert_eq!(ride.findings, [What::TimeJump { count: 2, largest_s: far_s - 49.0, dropped: 1 }]);
    }

    #[test]
    fn a_last_row_sixty_four_years_ahead_is_dropped_and_said() {
        let mut ride = recording(seconds(0..5).chain([2_027_039_314.0]));
        settle(&mut ride);
        assert_eq!(ride.time_s, [0.0, 1.0, 2.0, 3.0, 4.0]);
        assert_eq!(ride.findings, [What::TimeJump { count: 1, largest_s: 2_027_039_310.0, dropped: 1 }]);
    }

    #[test]
    fn a_stray_row_some_hours_ahead_does_not_cost_the_rest_of_the_ride() {
        let mut ride = recording(seconds(0..50).chain([18_000.0]).chain(seconds(50..60)));
        settle(&mut ride);
        assert_eq!(ride.time_s, seconds(0..60).collect::<Vec<_>>());
    }

    #[test]
    fn a_pause_of_hours_is_no_jump() {
        let mut ride = recording(seconds(0..50).chain([49.0]).chain(seconds(20_000..20_010)));
        settle(&mut ride);
        assert_eq!(ride.len(), 60);
        assert_eq!(ride.findings, [What::RepeatedTimes { count: 1 }]);
    }

    #[test]
    fn two_days_in_one_file_are_both_kept_in_order() {
        let mut ride = recording(seconds(200_000..200_040).chain(seconds(0..40)));
        settle(&mut ride);
        assert_eq!((ride.len(), ride.time_s[0], ride.power_w[0]), (80, 0.0, 40.0));
        assert!(ride.time_s.is_sorted_by(|a, b| a < b));
    }

    #[test]
    fn a_clock_set_back_a_little_waits_until_time_catches_up() {
        let mut ride = recording([0.0, 1.0, 2.0, 0.5, 1.5, 2.5]);
        settle(&mut ride);
        assert_eq!(ride.time_s, [0.0, 1.0, 2.0, 2.5]);
        assert_eq!(ride.findings, [What::OutOfOrder { count: 2 }]);
    }
}
