//! Lap marks and pauses, from the lap and event messages of a FIT file.
//!
//! Given raw fields; gives Unix times in s. It never decides whether a mark closes a lap worth using.

use std::collections::HashMap;

use fitparser::Value;

use super::Pause;
use super::message::count;

/// Seconds from the Unix epoch to that of FIT, 1989-12-31T00:00:00Z.
pub(super) const FIT_EPOCH_UNIX_S: f64 = 631_065_600.0;

/// Largest difference between a lap's end and its time stamp, both meant to be the same moment, s. The stamp is
/// cut or rounded to a whole second.
const STAMP_TOLERANCE_S: f64 = 1.0;

/// Unix time of a FIT time.
pub(super) fn unix_s(fit_time: u32) -> f64 {
    f64::from(fit_time) + FIT_EPOCH_UNIX_S
}

/// A lap as the device wrote it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Lap {
    pub start_s: Option<f64>,
    pub elapsed_s: Option<f64>,
    pub stamp_s: Option<f64>,
}

impl Lap {
    /// A lap message (19).
    pub fn new(fields: &HashMap<u8, Value>, time: Option<u32>) -> Self {
        Lap {
            start_s: count(fields, 2).map(unix_s),
            elapsed_s: count(fields, 7).map(|ms| f64::from(ms) / 1000.0),
            stamp_s: time.map(unix_s),
        }
    }
}

/// Ends of the laps, Unix time in s, increasing.
///
/// Stamps and starts are whole seconds while the elapsed time has thousandths, so each end is the end of the lap
/// before plus the elapsed time: rounding then enters once, at the first start, and every lap keeps its exact
/// duration. A lap that does not begin where the last one ended, or whose end strays more than
/// [`STAMP_TOLERANCE_S`] from its stamp, begins afresh at its own start or stamp.
pub(super) fn lap_marks_s(laps: &[Lap]) -> Vec<f64> {
    let has_fractions = laps.iter().filter_map(|lap| lap.elapsed_s).any(|s| s.fract() != 0.0);
    let mut marks: Vec<f64> = Vec::new();
    for lap in laps {
        let near_stamp = |end: &f64| lap.stamp_s.is_none_or(|stamp| (end - stamp).abs() <= STAMP_TOLERANCE_S);
        let previous = marks.last().copied();
        let continued = previous.filter(|end| lap.start_s.is_none_or(|s| (end - s).abs() <= STAMP_TOLERANCE_S));
        let from_elapsed = [continued, lap.start_s]
            .into_iter()
            .flatten()
            .filter_map(|start| Some(start + lap.elapsed_s?))
            .find(near_stamp);
        let end = if has_fractions { from_elapsed.or(lap.stamp_s) } else { lap.stamp_s.or(from_elapsed) };
        marks.extend(end.filter(|&end| previous.is_none_or(|p| end > p)));
    }
    marks
}

/// Follows the timer through its start and stop events.
#[derive(Debug, Default)]
pub(super) struct Timer {
    stopped_s: Option<f64>,
    pauses: Vec<Pause>,
}

impl Timer {
    /// An event message (21); events of anything but the timer are passed over.
    pub fn event(&mut self, fields: &HashMap<u8, Value>, time: Option<u32>) {
        const TIMER: u32 = 0;
        let (Some(TIMER), Some(kind), Some(time)) = (count(fields, 0), count(fields, 1), time) else { return };
        let time_s = unix_s(time);
        match kind {
            0 => self.pauses.extend(self.stopped_s.take().map(|from_s| Pause { from_s, to_s: time_s })),
            // Stop, stop all, and the two that also disable the timer; a second one does not move the first.
            1 | 4 | 8 | 9 => {
                self.stopped_s.get_or_insert(time_s);
            }
            _ => {}
        }
    }

    /// The pauses, in order and without overlap. A timer stopped for good is the end of the ride, not a pause.
    pub fn pauses(mut self) -> Vec<Pause> {
        self.pauses.retain(|p| p.to_s > p.from_s);
        self.pauses.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
        // Sections that were written in another order than ridden can overlap.
        let mut merged: Vec<Pause> = Vec::new();
        for pause in self.pauses {
            match merged.last_mut() {
                Some(last) if pause.from_s <= last.to_s => last.to_s = last.to_s.max(pause.to_s),
                _ => merged.push(pause),
            }
        }
        merged
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lap(start_s: f64, elapsed_s: f64, stamp_s: f64) -> Lap {
        Lap { start_s: Some(start_s), elapsed_s: Some(elapsed_s), stamp_s: Some(stamp_s) }
    }

    fn event(timer: &mut Timer, kind: u8, time: u32) {
        timer.event(&HashMap::from([(0, Value::Enum(0)), (1, Value::Enum(kind))]), Some(time));
    }

    #[test]
    fn laps_keep_their_thousandths_through_whole_second_stamps() {
        // Made here: true ends 6.189, 36.672, 64.491 and stamps rounded to whole seconds.
        let laps = [lap(0.0, 6.189, 6.0), lap(6.0, 30.483, 37.0), lap(37.0, 27.819, 64.0)];
        for (mark, expected) in lap_marks_s(&laps).into_iter().zip([6.189, 36.672, 64.491]) {
            assert!((mark - expected).abs() < 1e-9);
        }
    }

    #[test]
    fn a_lap_that_strays_from_its_stamp_is_taken_from_the_stamp() {
        let laps = [lap(0.0, 10.5, 10.0), lap(10.0, 900.25, 50.0)];
        assert_eq!(lap_marks_s(&laps), [10.5, 50.0]);
    }

    #[test]
    fn whole_second_laps_that_lose_a_second_each_do_not_drift() {
        let laps = [lap(0.0, 100.0, 100.0), lap(101.0, 99.0, 200.0), lap(201.0, 99.0, 300.0)];
        assert_eq!(lap_marks_s(&laps), [100.0, 200.0, 300.0]);
    }

    #[test]
    fn a_pause_runs_from_the_first_stop_to_the_next_start() {
        let mut timer = Timer::default();
        for (kind, time) in [(0, 10), (1, 20), (4, 22), (0, 30), (4, 40)] {
            event(&mut timer, kind, time);
        }
        assert_eq!(timer.pauses(), [Pause { from_s: unix_s(20), to_s: unix_s(30) }]);
    }
}
