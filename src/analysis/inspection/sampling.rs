//! How often a ride was recorded, and where it was not.
//!
//! Given a ride on its clock; gives intervals, gaps and pauses. It fills nothing.

use crate::record::Recording;
use crate::sample::Ride;
use serde::Serialize;
use std::collections::BTreeMap;

/// Intervals are told apart to this, s.
const RESOLUTION_S: f64 = 0.01;
/// Different intervals that are listed.
const LISTED: usize = 5;

/// Intervals between records that follow each other without a gap.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Sampling {
    /// The commonest; `null` with fewer than two records.
    pub usual_interval_s: Option<f64>,
    /// The commonest few with the share of records each has, most frequent first.
    pub intervals: Vec<Interval>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    pub interval_s: f64,
    pub share: f64,
}

/// A stretch of time from the first record, s.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Span {
    pub from_s: f64,
    pub to_s: f64,
}

impl Span {
    pub fn length_s(&self) -> f64 {
        self.to_s - self.from_s
    }
}

pub(super) fn sampling(ride: &Ride) -> Sampling {
    let mut counts: BTreeMap<i64, usize> = BTreeMap::new();
    let mut total = 0usize;
    for (i, w) in ride.time_s.windows(2).enumerate() {
        if ride.stretch.get(i) == ride.stretch.get(i + 1) {
            *counts.entry(((w[1] - w[0]) / RESOLUTION_S).round() as i64).or_default() += 1;
            total += 1;
        }
    }
    let mut counts: Vec<(i64, usize)> = counts.into_iter().collect();
    counts.sort_by_key(|(interval, count)| (std::cmp::Reverse(*count), *interval));
    let intervals: Vec<Interval> = counts
        .iter()
        .take(LISTED)
        .map(|(steps, count)| Interval {
            interval_s: *steps as f64 * RESOLUTION_S,
            share: *count as f64 / total as f64,
        })
        .collect();
    Sampling { usual_interval_s: intervals.first().map(|i| i.interval_s), intervals }
}

/// Where an unbroken stretch ends and the next begins.
pub(super) fn gaps(ride: &Ride) -> Vec<Span> {
    let broken = |i: &usize| ride.stretch.get(*i) != ride.stretch.get(i + 1);
    let span = |i: usize| Some(Span { from_s: *ride.time_s.get(i)?, to_s: *ride.time_s.get(i + 1)? });
    (0..ride.len().saturating_sub(1)).filter(broken).filter_map(span).collect()
}

/// Where the timer stood still.
pub(super) fn pauses(recording: &Recording, start_unix_s: f64) -> Vec<Span> {
    recording
        .pauses_s
        .iter()
        .map(|p| Span { from_s: p.from_s - start_unix_s, to_s: p.to_s - start_unix_s })
        .filter(|p| p.length_s() > 0.0)
        .collect()
}
