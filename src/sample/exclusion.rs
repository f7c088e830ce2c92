//! Why a sample or a lap is not used: marked with a reason, kept and shown.
//!
//! Given a ride; gives a reason or none for each record. It never removes a record.

use super::clock::Ride;

/// Slower than this inside a lap is a stop, m/s.
const STOP_M_S: f64 = 1.5;
/// Longest stretch without power that `clock` fills in, records longer than this are marked, s.
const POWER_MISSING_S: f64 = 3.5;
/// A meter that repeats one value for longer than this is stuck, s.
const POWER_STUCK_S: f64 = 12.0;
/// Longest stretch without a position, s.
const POSITION_LOST_S: f64 = 20.0;

/// Why something is not used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reason {
    Gap,
    Stop,
    PowerMissing,
    PowerStuck,
    PowerBridged,
    PowerDropOut,
    SpeedMissing,
    PositionLost,
    /// Laps are counted by distance, and some of it was not recorded.
    WayUnknown,
    OffTheLine,
    LapLengthOff,
    SpeedChanging,
    SpeedChangesWithin,
    Braking,
    EnergyUnexplained,
    OutlyingMisclosure,
    RunUnlike,
    OutsideWindow,
    LeftOut,
}

impl Reason {
    /// The reason, with the tester's own words where the lap was left out by the tester.
    pub fn in_words(self, said: Option<&String>) -> String {
        match said {
            Some(said) if self == Reason::LeftOut => format!("{self}: {said}"),
            _ => self.to_string(),
        }
    }
}

impl std::fmt::Display for Reason {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str(match self {
            Reason::Gap => "gap in the record",
            Reason::Stop => "stop",
            Reason::PowerMissing => "power missing",
            Reason::PowerStuck => "power stuck",
            Reason::PowerBridged => "power drop-out, bridged",
            Reason::PowerDropOut => "power drop-out",
            Reason::SpeedMissing => "speed missing",
            Reason::PositionLost => "position lost",
            Reason::WayUnknown => "distance before it not recorded",
            Reason::OffTheLine => "off the line",
            Reason::LapLengthOff => "lap length off",
            Reason::SpeedChanging => "speed changing at the line",
            Reason::SpeedChangesWithin => "another planned speed within the lap",
            Reason::Braking => "braking",
            Reason::EnergyUnexplained => "energy unexplained",
            Reason::OutlyingMisclosure => "outlying misclosure",
            Reason::RunUnlike => "energy of the whole run off",
            Reason::OutsideWindow => "outside the roller window",
            Reason::LeftOut => "left out by the tester",
        })
    }
}

/// A reason for every record that must not be used, judged from the record alone; `is_placed` says at which records the place is
/// known, or need not be.
pub fn mark_samples(ride: &Ride, is_placed: impl Fn(usize) -> bool) -> Vec<Option<Reason>> {
    let n = ride.len();
    let mut reasons = vec![None; n];
    mark_runs(ride, &mut reasons, POSITION_LOST_S, Reason::PositionLost, |i, _| !is_placed(i));
    mark_runs(ride, &mut reasons, POWER_STUCK_S, Reason::PowerStuck, |i, first| {
        let pedalling = !(ride.cadence_rpm[i] == 0.0);
        ride.power_w[i] == ride.power_w[first] && (ride.power_w[i] > 0.0 || (pedalling && ride.cadence_rpm[i] > 0.0))
    });
    mark_runs(ride, &mut reasons, ride.gap_limit_s, Reason::SpeedMissing, |i, _| !ride.speed_m_s[i].is_finite());
    mark_runs(ride, &mut reasons, POWER_MISSING_S, Reason::PowerMissing, |i, _| !ride.power_w[i].is_finite());
    // Bridged ones are used, so that they are no reason to leave a lap out; the table of samples has them.
    for &i in &ride.drop_outs.lost {
        reasons[i] = Some(Reason::PowerDropOut);
    }
    for (reason, &v) in reasons.iter_mut().zip(&ride.speed_m_s) {
        if v < STOP_M_S {
            *reason = Some(Reason::Stop);
        }
    }
    reasons
}

/// Marks every run of records for which `is_bad(index, first of the run)` holds for longer than `limit_s`.
fn mark_runs(
    ride: &Ride,
    reasons: &mut [Option<Reason>],
    limit_s: f64,
    reason: Reason,
    is_bad: impl Fn(usize, usize) -> bool,
) {
    let n = ride.len();
    let mut i = 0;
    while i < n {
        if !is_bad(i, i) {
            i += 1;
            continue;
        }
        let first = i;
        while i < n && is_bad(i, first) {
            i += 1;
        }
        let before = if first > 0 { ride.time_s[first - 1] } else { ride.time_s[first] };
        let after = if i < n { ride.time_s[i] } else { ride.time_s[n - 1] };
        if after - before > limit_s {
            reasons[first..i].fill(Some(reason));
        }
    }
}
