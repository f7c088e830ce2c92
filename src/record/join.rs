//! Two devices' files of one ride made into one recording.
//!
//! Given the main recording and a second one; gives the main one with channels of the second at its own times.
//! It never shifts a clock and never reaches across a hole or a pause.

use super::channel::Channel;
use super::{Pause, Recording};
use crate::error::Error;
use crate::finding::What;

/// Two records of the second device further apart than this are not interpolated between, s. One record a second
/// is usual and sparing devices write one every few seconds; over 5 s power is no longer a straight line.
pub const JOIN_TOLERANCE_S: f64 = 5.0;

/// Joins a second device's file to the main one by time.
///
/// A second file is named because of what it has: every channel that the second recording holds is taken from
/// it, and the same channel of the main one is given up whole, so that two instruments are never mixed within
/// one column. Positions are the exception: they stay with the main recording when it has any, since
/// interpolating them gains nothing. Lap marks and pauses are the main recording's; the second gives marks only
/// when the main one has none.
///
/// A value at time t lies on the straight line between the second's records before and after t, when both have
/// a value, they are at most [`JOIN_TOLERANCE_S`] apart, and no pause lies between; else it is missing. A record
/// at exactly t is taken as it is.
///
/// Errors: [`Error::NoOverlap`] when the two share no moment, [`Error::Contradicted`] when both have power and it is not
/// that of one rider.
///
/// ```
/// use loopwright::record::{join, parse_csv};
/// let power = parse_csv(b"time,power_w\n1000000000,200\n1000000001,210\n", "power.csv")?;
/// let wheel = parse_csv(b"time,speed_m_s\n999999999.5,8\n1000000000.5,9\n1000000001.5,10\n", "wheel.csv")?;
/// let ride = join(power, wheel)?;
/// assert_eq!(ride.speed_m_s, [8.5, 9.5]);
/// assert_eq!(ride.power_w, [200.0, 210.0]);
/// # Ok::<(), loopwright::error::Error>(())
/// ```
pub fn join(primary: Recording, second: Recording) -> Result<Recording, Error> {
    let apart_s = apart_s(&primary, &second);
    let (file, second_file) = (primary.provenance.file.clone(), second.provenance.file.clone());
    if apart_s > 0.0 {
        return Err(Error::NoOverlap { file, second: second_file, apart_s });
    }
    powers_agree(&primary, &second)?;
    let mut joined = primary;
    let brackets = brackets(&joined.time_s, &second.time_s, &second.pauses_s);
    let has_positions = Recording::has(&joined.latitude_deg);
    let mut taken = Vec::new();
    for channel in Channel::ALL {
        let is_position = matches!(channel, Channel::Latitude | Channel::Longitude);
        let column = second.channel(channel);
        if Recording::has(column) && !(is_position && has_positions) {
            let is_angle = channel == Channel::Longitude;
            *joined.channel_mut(channel) = brackets.iter().map(|b| b.value(column, is_angle)).collect();
            taken.push(channel.name());
        }
    }
    if joined.lap_marks_s.is_empty() {
        joined.lap_marks_s = second.lap_marks_s;
    }
    let matched = brackets.iter().filter(|b| !matches!(b, Bracket::None)).count();
    let total = joined.len();
    joined.findings.push(What::ChannelsJoined { file: second_file.clone(), channels: taken, matched, total });
    let of_second = second.findings.into_iter();
    joined
        .findings
        .extend(of_second.map(|what| What::InSecondFile { file: second_file.clone(), what: Box::new(what) }));
    Ok(joined)
}

/// Power of two meters on one bicycle differs by their scale and by what the chain takes, together a few per cent.
const SAME_POWER: f64 = 0.1;
/// Moments that must be shared for means to be worth comparing.
const MOMENTS: usize = 30;

/// Two files with power may be of one bicycle with two meters; those of two bicycles ridden at one time must not be joined.
fn powers_agree(primary: &Recording, second: &Recording) -> Result<(), Error> {
    let brackets = brackets(&primary.time_s, &second.time_s, &second.pauses_s);
    let both = brackets.iter().zip(&primary.power_w).map(|(b, own)| (*own, b.value(&second.power_w, false)));
    let both: Vec<(f64, f64)> = both.filter(|(a, b)| a.is_finite() && b.is_finite()).collect();
    let n = both.len() as f64;
    let (own_w, other_w) = (both.iter().map(|b| b.0).sum::<f64>() / n, both.iter().map(|b| b.1).sum::<f64>() / n);
    // A meter that never woke is what the second file is for.
    let one_is_dead = own_w.min(other_w) <= 0.0;
    if one_is_dead || both.len() < MOMENTS || (own_w - other_w).abs() <= SAME_POWER * own_w.max(other_w) {
        return Ok(());
    }
    let of = &second.provenance.file;
    Err(Error::Contradicted {
        file: primary.provenance.file.clone(),
        what: format!(
            "it has {own_w:.0} W on average and {of}, named as its second_file, has {other_w:.0} W at the same moments, further \
             apart than two meters on one bicycle ({:.0} %)",
            100.0 * SAME_POWER
        ),
        next: format!(
            "if {of} is of another bicycle give it a [[run]] of its own; if both are of this one, find out which meter is wrong"
        ),
    })
}

/// Time between the end of one recording and the start of the other, s; not above zero when they overlap.
fn apart_s(a: &Recording, b: &Recording) -> f64 {
    let (Some(a0), Some(a1), Some(b0), Some(b1)) =
        (a.time_s.first(), a.time_s.last(), b.time_s.first(), b.time_s.last())
    else {
        return f64::INFINITY;
    };
    (b0 - a1).max(a0 - b1)
}

/// Where a moment stands among the second device's records.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Bracket {
    None,
    At { row: usize },
    Between { row: usize, fraction: f64 },
}

impl Bracket {
    fn value(self, column: &[f64], is_angle: bool) -> f64 {
        let at = |row: usize| column.get(row).copied().unwrap_or(f64::NAN);
        match self {
            Bracket::None => f64::NAN,
            Bracket::At { row } => at(row),
            Bracket::Between { row, fraction } => {
                let step = at(row + 1) - at(row);
                // A longitude that jumps by half a turn crosses the date line, where a straight line means nothing.
                if is_angle && step.abs() > 180.0 { f64::NAN } else { at(row) + step * fraction }
            }
        }
    }
}

fn brackets(times_s: &[f64], second_s: &[f64], pauses_s: &[Pause]) -> Vec<Bracket> {
    let mut after = 0;
    let bracket = |&time_s: &f64| {
        while second_s.get(after).is_some_and(|&s| s < time_s) {
            after += 1;
        }
        match (after.checked_sub(1).and_then(|before| second_s.get(before)), second_s.get(after)) {
            (_, Some(&s)) if s == time_s => Bracket::At { row: after },
            (Some(&from_s), Some(&to_s)) if to_s - from_s <= JOIN_TOLERANCE_S && !paused(pauses_s, from_s, to_s) => {
                Bracket::Between { row: after - 1, fraction: (time_s - from_s) / (to_s - from_s) }
            }
            _ => Bracket::None,
        }
    };
    times_s.iter().map(bracket).collect()
}

/// Whether any pause lies at least partly between two moments. Pauses are in order and do not overlap.
fn paused(pauses_s: &[Pause], from_s: f64, to_s: f64) -> bool {
    let first = pauses_s.partition_point(|p| p.to_s <= from_s);
    pauses_s.get(first).is_some_and(|p| p.from_s < to_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn recording(file: &str, times_s: &[f64]) -> Recording {
        let empty = vec![f64::NAN; times_s.len()];
        let mut recording = Recording { time_s: times_s.to_vec(), ..Recording::default() };
        recording.provenance.file = file.into();
        for channel in Channel::ALL {
            *recording.channel_mut(channel) = empty.clone();
        }
        recording
    }

    #[test]
    fn a_hole_in_the_second_file_stays_a_hole() {
        let main = recording("a", &[0.0, 3.0, 10.0, 14.0]);
        let mut wheel = recording("b", &[0.0, 4.0, 12.0, 13.0, 14.0]);
        wheel.speed_m_s = vec![8.0, 12.0, 9.0, f64::NAN, 10.0];
        let joined = join(main, wheel).expect("they overlap");
        assert_eq!(joined.speed_m_s[..2], [8.0, 11.0]);
        assert!(joined.speed_m_s[2].is_nan(), "twelve minus four seconds is more than the tolerance");
        assert_eq!(joined.speed_m_s[3], 10.0);
    }

    #[test]
    fn nothing_is_carried_across_a_pause() {
        let main = recording("a", &[1.0, 3.0]);
        let mut wheel = recording("b", &[0.0, 2.0, 4.0]);
        wheel.speed_m_s = vec![1.0, 1.0, 1.0];
        wheel.pauses_s = vec![Pause { from_s: 2.0, to_s: 3.5 }];
        let joined = join(main, wheel).expect("they overlap");
        assert_eq!(joined.speed_m_s[0], 1.0);
        assert!(joined.speed_m_s[1].is_nan());
    }

    #[test]
    fn a_channel_of_both_comes_whole_from_the_second_and_positions_stay() {
        let mut main = recording("a", &[0.0, 1.0, 9.0]);
        main.speed_m_s = vec![5.0; 3];
        main.latitude_deg = vec![10.0; 3];
        let mut wheel = recording("b", &[0.0, 1.0]);
        wheel.speed_m_s = vec![6.0; 2];
        wheel.latitude_deg = vec![11.0; 2];
        let joined = join(main, wheel).expect("they overlap");
        assert_eq!(joined.latitude_deg, [10.0; 3]);
        assert_eq!(joined.speed_m_s[..2], [6.0; 2]);
        assert!(joined.speed_m_s[2].is_nan(), "the main file's speed must not stand in for the second's");
        let told = What::ChannelsJoined { file: "b".into(), channels: vec!["speed"], matched: 2, total: 3 };
        assert_eq!(joined.findings, [told]);
    }

    #[test]
    fn power_of_two_bicycles_is_refused_with_both_means_and_that_of_two_meters_is_not() {
        let times: Vec<f64> = (0..60).map(f64::from).collect();
        let with_power = |file: &str, watts: f64| {
            let mut recording = recording(file, &times);
            recording.power_w = vec![watts; 60];
            recording
        };
        assert!(join(with_power("a", 250.0), with_power("b", 240.0)).is_ok());
        let refused = join(with_power("a", 250.0), with_power("b", 200.0)).expect_err("another rider").to_string();
        assert!(refused.contains("250 W") && refused.contains("200 W") && refused.contains("second_file"), "{refused}");
    }

    #[test]
    fn rides_of_different_times_are_refused() {
        let error = join(recording("a", &[0.0, 1.0]), recording("b", &[61.0, 62.0])).expect_err("no overlap");
        assert_eq!(error, Error::NoOverlap { file: "a".into(), second: "b".into(), apart_s: 60.0 });
    }
}
