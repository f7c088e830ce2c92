//! Runs that are one ride, overlap in time, stand in the wrong order or are of another day.
//!
//! Given recordings and rides; gives findings, or a refusal where laps would count twice. It trusts no clock that was not
//! set.

use super::super::ridden_session::RiddenSession;
use crate::error::Error;
use crate::finding::{Finding, Slip, What};
use crate::record::Recording;
use crate::sample::Ride;

/// Moments in common from which powers are compared, and the share of them that must be equal for one ride.
const MOMENTS: usize = 30;
const EQUAL: f64 = 0.9;
/// Overlap of two clocks that were set by hand, s, which is no fault of a file.
const CLOCKS_S: f64 = 30.0;
/// Runs this far from most are of another day, s.
const DAY_S: f64 = 86_400.0;
const OTHER_DAY_S: f64 = 20.0 * 3600.0;

/// See the module.
///
/// Errors: [`Error::Contradicted`] where two runs hold the same ride.
pub(super) fn check(inputs: &RiddenSession, rides: &[Ride]) -> Result<Vec<Finding>, Error> {
    let mut out = Vec::new();
    let recordings = &inputs.recordings;
    let name = |k: usize| inputs.session.runs[k].file.clone();
    for (k, one) in recordings.iter().enumerate() {
        for (j, other) in recordings[..k].iter().enumerate() {
            if let Some(how) = same(one, other) {
                return Err(Error::Contradicted {
                    file: name(k),
                    what: format!("it is the same ride as run {} ({}): {how}", j + 1, name(j)),
                    next: "its laps would count twice; remove one [[run]], or name the file that was meant".into(),
                });
            }
            let shared_s = shared_s(&rides[k], &rides[j]);
            if clock_is_set(one) && clock_is_set(other) && shared_s > CLOCKS_S {
                out.push(Finding::of_run(k, What::Slip(Slip::RunsOverlap { other: name(j), shared_s })));
            }
        }
    }
    let dated: Vec<usize> = (0..rides.len()).filter(|k| clock_is_set(&recordings[*k])).collect();
    out.extend(other_days(rides, &dated));
    out.extend(against_clock(rides, &dated));
    Ok(out)
}

fn clock_is_set(recording: &Recording) -> bool {
    !recording.is_empty() && !recording.findings.contains(&What::ClockNotSet)
}

/// Why two recordings are one ride.
fn same(a: &Recording, b: &Recording) -> Option<String> {
    if !a.provenance.sha256.is_empty() && a.provenance.sha256 == b.provenance.sha256 {
        return Some("the files are equal byte for byte (SHA-256)".into());
    }
    let equal = |a: f64, b: f64| a == b || (a.is_nan() && b.is_nan());
    let all = a.len() == b.len() && a.len() >= MOMENTS && Recording::has(&a.power_w);
    if all && a.power_w.iter().zip(&b.power_w).all(|(a, b)| equal(*a, *b)) {
        return Some(format!("power is the same in all {} records", a.len()));
    }
    let (mut shared, mut alike, mut j) = (0usize, 0usize, 0);
    if !clock_is_set(a) || !clock_is_set(b) {
        return None;
    }
    for (time_s, power_w) in a.time_s.iter().zip(&a.power_w) {
        while b.time_s.get(j).is_some_and(|t| t < time_s) {
            j += 1;
        }
        if b.time_s.get(j) == Some(time_s) && power_w.is_finite() {
            shared += 1;
            alike += usize::from(b.power_w[j] == *power_w);
        }
    }
    (shared >= MOMENTS && alike as f64 >= EQUAL * shared as f64)
        .then(|| format!("{alike} records have the same moment and the same power"))
}

fn shared_s(a: &Ride, b: &Ride) -> f64 {
    let end = |r: &Ride| r.start_unix_s + r.duration_s();
    end(a).min(end(b)) - a.start_unix_s.max(b.start_unix_s)
}

fn other_days(rides: &[Ride], dated: &[usize]) -> Vec<Finding> {
    let mut starts: Vec<f64> = dated.iter().map(|k| rides[*k].start_unix_s).collect();
    starts.sort_by(f64::total_cmp);
    // Of the day that most runs are of, the lower where there are as many of two.
    let near = |t: f64| starts.iter().filter(|s| (*s - t).abs() < OTHER_DAY_S).count();
    let Some(usual) = starts.iter().copied().rev().max_by_key(|t| near(*t)) else { return Vec::new() };
    let far = dated.iter().filter(|k| (rides[**k].start_unix_s - usual).abs() > OTHER_DAY_S);
    far.map(|&k| {
        let start = rides[k].start_unix_s;
        let days = ((start - usual).abs() / DAY_S).max(1.0);
        Finding::of_run(k, What::Slip(Slip::OtherDay { day: day(start), usual_day: day(usual), days }))
    })
    .collect()
}

/// The day of an instant in universal time.
fn day(unix_s: f64) -> String {
    let stamp = jiff::Timestamp::from_second(unix_s as i64).map(|t| t.to_string()).unwrap_or_default();
    stamp.chars().take(10).collect()
}

fn against_clock(rides: &[Ride], dated: &[usize]) -> Option<Finding> {
    let mut by_clock = dated.to_vec();
    by_clock.sort_by(|a, b| rides[*a].start_unix_s.total_cmp(&rides[*b].start_unix_s));
    let by_clock_from_one = by_clock.iter().map(|k| k + 1).collect();
    (by_clock != dated)
        .then(|| Finding::of_session(What::Slip(Slip::OrderAgainstClock { by_clock: by_clock_from_one })))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::align;
    use crate::session::Session;

    const START_S: f64 = 1.78e9;

    /// Ten minutes of a meter that scatters, from some seconds after the start of the day on.
    fn ride(after_s: f64, seed: usize) -> Recording {
        let mut r = Recording::of_speeds((0..600).map(|i| START_S + after_s + f64::from(i)).collect(), vec![10.0; 600]);
        r.power_w = (0..600).map(|i| 200.0 + ((i * 37 + seed * 11 + i * i % 13 * seed) % 50) as f64).collect();
        r.provenance.sha256 = format!("{seed}");
        r
    }

    fn checked(recordings: Vec<Recording>) -> Result<Vec<Finding>, Error> {
        let mut text = "[rider_and_bike]\nmass_kg = 85.0\n[[setup]]\nid = \"a\"\n".to_string();
        for k in 0..recordings.len() {
            text.push_str(&format!("[[run]]\nfile = \"{k}.fit\"\nsetup = \"a\"\n"));
        }
        let session = Session::from_toml(&text, "s.toml").expect("a session");
        let rides: Vec<Ride> = recordings.iter().map(|r| align(r).0).collect();
        check(&RiddenSession { session, recordings, weather: None, survey: None }, &rides)
    }

    #[test]
    fn a_copy_is_refused_by_its_bytes_by_its_moments_and_by_its_powers() {
        let refused = |recordings| checked(recordings).expect_err("one ride").to_string();
        let by_bytes = refused(vec![ride(0.0, 1), ride(900.0, 2), Recording { ..ride(0.0, 1) }]);
        assert!(by_bytes.contains("2.fit") && by_bytes.contains("run 1 (0.fit)"), "{by_bytes}");
        let mut exported = ride(0.0, 1);
        exported.provenance.sha256 = "another".into();
        // A copy that lost its first minute and its last.
        let mut part = exported.clone();
        for column in [&mut part.time_s, &mut part.power_w, &mut part.speed_m_s] {
            *column = column[60..540].to_vec();
        }
        assert!(refused(vec![ride(0.0, 1), part]).contains("480 records have the same moment"));
        exported.time_s.iter_mut().for_each(|t| *t += 3600.0);
        assert!(refused(vec![ride(0.0, 1), exported]).contains("all 600 records"));
    }

    #[test]
    fn overlap_order_and_day_are_told_and_a_sound_day_says_nothing() {
        assert!(checked(vec![ride(0.0, 1), ride(900.0, 2), ride(1800.0, 3)]).expect("three rides").is_empty());
        let told = checked(vec![ride(0.0, 1), ride(300.0, 2)]).expect("two riders");
        assert!(
            matches!(&told[..], [Finding { run: Some(1), what: What::Slip(Slip::RunsOverlap { shared_s, .. }) }] if (*shared_s - 299.0).abs() < 1e-6),
            "{told:?}"
        );
        let told = checked(vec![ride(900.0, 1), ride(0.0, 2), ride(1800.0, 3)]).expect("three rides");
        assert_eq!(told, [Finding::of_session(What::Slip(Slip::OrderAgainstClock { by_clock: vec![2, 1, 3] }))]);
        let told = checked(vec![ride(0.0, 1), ride(900.0, 2), ride(1800.0 + 30.0 * DAY_S, 3)]).expect("three rides");
        assert!(
            matches!(&told[..], [Finding { run: Some(2), what: What::Slip(Slip::OtherDay { days, .. }) }] if (*days - 30.0).abs() < 0.1),
            "{told:?}"
        );
    }
}
