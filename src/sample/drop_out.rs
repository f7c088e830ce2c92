//! Power drop-outs: seconds in which the meter sent nothing and the device wrote a zero, while the rider pedalled on.
//!
//! Given the columns of a ride; gives the records that are such zeros, those that are bridged and those that are lost. It
//! changes no value, and a rider who freewheels keeps his zeros.
//!
//! The rule. A run of zeros is a drop-out where the records on both sides have at least half the power that is usual around
//! them (a fifth, beside a single zero), the bicycle is at speed, and
//!
//! * it is one record (nobody stops and starts pedalling within a second and shows full power on both sides), or
//! * cadence is above zero all the way, or
//! * there is no cadence, and speed did not fall by as much as half of what freewheeling must cost.
//!
//! Up to [`BRIDGED_S`] such a run is bridged with a straight line between its neighbours; up to [`LOST_S`] its power counts
//! as missing. Longer zeros are left alone: a descent looks like that.

use nalgebra::{Matrix3, Vector3};

/// Longest time between the records beside a run of zeros that is bridged, s: three records at one a second.
const BRIDGED_S: f64 = 4.0;
/// Longest one that is a drop-out at all, s.
const LOST_S: f64 = 11.0;
/// Slower than this is no riding, m/s.
const AT_SPEED_M_S: f64 = 3.0;
/// Power beside a drop-out, of the median of what is above zero around it, beside a single zero, and at least, W.
const FULL_SHARE: f64 = 0.5;
const SINGLE_SHARE: f64 = 0.2;
const FULL_W: f64 = 10.0;
/// Reach of that median, and of the line through the speeds before and after, s.
const POWER_REACH_S: f64 = 10.0;
const SPEED_REACH_S: f64 = 7.0;
/// Records of speed that are needed on each side.
const SPEEDS_BESIDE: usize = 3;
/// Share of what freewheeling costs from which it is freewheeling.
const FALL_SHARE: f64 = 0.5;
/// A mass to reckon that from, kg; a tenth more or less does not matter here.
const NOMINAL_MASS_KG: f64 = 85.0;

/// The drop-outs of a ride, as indices of its records, ascending.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DropOuts {
    /// Power is bridged linearly from the records on both sides.
    pub bridged: Vec<usize>,
    /// Power is taken as missing.
    pub lost: Vec<usize>,
    /// Share of all records that were pedalled at speed.
    pub share: f64,
}

impl DropOuts {
    pub fn count(&self) -> usize {
        self.bridged.len() + self.lost.len()
    }

    /// Power with the bridges put in and lost values missing.
    pub fn mended(&self, time_s: &[f64], power_w: &[f64]) -> Vec<f64> {
        let mut out = power_w.to_vec();
        self.lost.iter().for_each(|&i| out[i] = f64::NAN);
        let is_zero = |i: usize| self.bridged.binary_search(&i).is_ok();
        for &i in &self.bridged {
            let before = (0..i).rev().find(|&k| !is_zero(k));
            let after = (i + 1..time_s.len()).find(|&k| !is_zero(k));
            if let (Some(a), Some(b)) = (before, after) {
                let f = (time_s[i] - time_s[a]) / (time_s[b] - time_s[a]);
                out[i] = power_w[a] + f * (power_w[b] - power_w[a]);
            }
        }
        out
    }
}

/// The columns that tell.
pub struct Columns<'a> {
    pub time_s: &'a [f64],
    pub power_w: &'a [f64],
    pub speed_m_s: &'a [f64],
    pub cadence_rpm: &'a [f64],
    /// Unbroken stretch of each record.
    pub stretch: &'a [usize],
}

/// Finds the drop-outs.
pub fn drop_outs(ride: &Columns) -> DropOuts {
    let n = ride.time_s.len();
    let mut out = DropOuts::default();
    let at_speed = |i: usize| ride.speed_m_s[i] > AT_SPEED_M_S;
    let mut i = 0;
    while i < n {
        if ride.power_w[i] != 0.0 || !at_speed(i) {
            i += 1;
            continue;
        }
        let first = i;
        while i < n && ride.power_w[i] == 0.0 && at_speed(i) {
            i += 1;
        }
        if let Some(kind) = judge(ride, first, i) {
            match kind {
                Kind::Bridged => out.bridged.extend(first..i),
                Kind::Lost => out.lost.extend(first..i),
            }
        }
    }
    let pedalled = (0..n).filter(|&i| ride.power_w[i] > 0.0 && at_speed(i)).count() + out.count();
    out.share = out.count() as f64 / pedalled.max(1) as f64;
    out
}

enum Kind {
    Bridged,
    Lost,
}

/// Whether the zeros from `first` to before `end` are a drop-out.
fn judge(ride: &Columns, first: usize, end: usize) -> Option<Kind> {
    let before = first.checked_sub(1)?;
    let beside = [before, end];
    if end >= ride.time_s.len() || ride.stretch[before] != ride.stretch[end] {
        return None;
    }
    let span_s = ride.time_s[end] - ride.time_s[before];
    let usual_w = usual_power_w(ride, before, end)?;
    let single = end - first == 1 && span_s <= BRIDGED_S;
    let share = if single { SINGLE_SHARE } else { FULL_SHARE };
    let full = |i: usize| ride.power_w[i] >= (share * usual_w).max(FULL_W);
    if span_s > LOST_S || !beside.iter().all(|&i| full(i)) {
        return None;
    }
    let zeros = first..end;
    let turning = zeros.clone().all(|i| ride.cadence_rpm[i] > 0.0);
    let standing = zeros.clone().any(|i| ride.cadence_rpm[i] == 0.0);
    let mean_w = 0.5 * (ride.power_w[before] + ride.power_w[end]);
    let pedalled_on = match (turning, standing) {
        (true, _) if span_s <= BRIDGED_S => true,
        // Soft pedalling turns the crank too.
        (true, _) => kept_speed(ride, before, end, mean_w),
        (_, true) => single && kept_speed(ride, before, end, mean_w),
        _ => single || kept_speed(ride, before, end, mean_w),
    };
    pedalled_on.then_some(if span_s <= BRIDGED_S { Kind::Bridged } else { Kind::Lost })
}

/// Median of the power above zero around a run of zeros.
fn usual_power_w(ride: &Columns, before: usize, end: usize) -> Option<f64> {
    let (from_s, to_s) = (ride.time_s[before] - POWER_REACH_S, ride.time_s[end] + POWER_REACH_S);
    let mut around: Vec<f64> = within(ride, from_s, to_s).map(|i| ride.power_w[i]).filter(|p| *p > 0.0).collect();
    around.sort_by(f64::total_cmp);
    around.get(around.len() / 2).copied()
}

fn within(ride: &Columns, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
    ride.time_s.partition_point(|t| *t < from_s)..ride.time_s.partition_point(|t| *t <= to_s)
}

/// Whether speed fell by less than half of what freewheeling costs: the fall is that of a ramp across the zeros beside a
/// straight line through the speeds before and after, least squares.
fn kept_speed(ride: &Columns, before: usize, end: usize, power_w: f64) -> bool {
    let (from_s, to_s) = (ride.time_s[before], ride.time_s[end]);
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    let (mut earlier, mut later) = (0, 0);
    for i in within(ride, from_s - SPEED_REACH_S, to_s + SPEED_REACH_S) {
        let (t, v) = (ride.time_s[i], ride.speed_m_s[i]);
        if !v.is_finite() || ride.stretch[i] != ride.stretch[before] {
            continue;
        }
        earlier += usize::from(t <= from_s);
        later += usize::from(t >= to_s);
        let row = Vector3::new(1.0, t - from_s, ((t - from_s) / (to_s - from_s)).clamp(0.0, 1.0));
        normal += row * row.transpose();
        right += row * v;
    }
    let Some(fitted) = normal.lu().solve(&right).filter(|_| earlier.min(later) >= SPEEDS_BESIDE) else {
        return false;
    };
    // One second less than between the records beside them, whose own seconds had power.
    let without_s = (to_s - from_s - 1.0).max(0.5 * (to_s - from_s));
    let speed_m_s = ride.speed_m_s[before];
    let freewheeling = power_w * without_s / (NOMINAL_MASS_KG * speed_m_s);
    fitted[2] > -FALL_SHARE * freewheeling
}

#[cfg(test)]
#[path = "drop_out_tests.rs"]
mod tests;
