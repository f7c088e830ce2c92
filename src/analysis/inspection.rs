//! What one ride file holds and what would spoil a test made with it.
//!
//! Given a recording and, if known, the length of the loop; gives coverage of the channels, sampling, gaps, the laps
//! that can be found and a list of obstacles, each with its remedy. It tries to solve the ride, so that both agree, and reports no
//! result of that; and it never refuses: a ride without laps or without power is described as such.

mod channel;
mod drawn;
mod held;
mod laps;
mod obstacle;
mod obstacle_list;
mod sampling;
mod trial;

pub use channel::ChannelHeld;
pub use drawn::Drawn;
pub use held::{Inspection, Noted, Obstacle};
pub use laps::{HeldLap, LapsHeld};
pub use sampling::{Interval, Sampling, Span};

use crate::error::Error;
use crate::finding::{Slip, What};
use crate::record::Recording;
use crate::rollers::{self, Choice};
use crate::sample::{align, speed_to_distance_ratio};
use crate::session::{RiderAndBike, Rollers, Venue};

/// A mass to look for a steady window with, kg.
const NOMINAL_MASS_KG: f64 = 85.0;

/// Looks at one recording.
///
/// `length_m` is the length of one lap, needed only where neither positions nor lap marks show the laps.
///
/// ```
/// use loopwright::analysis::inspection::inspect;
/// let ride = loopwright::record::parse_csv(b"time_s,power_w,speed_m_s\n0,200,10\n1,210,10\n2,205,10\n", "ride.csv")?;
/// let held = inspect(&ride, None);
/// assert_eq!((held.records, held.laps.count, held.solvable), (3, 0, false));
/// # Ok::<(), loopwright::error::Error>(())
/// ```
pub fn inspect(recording: &Recording, length_m: Option<f64>) -> Inspection {
    let (ride, said) = align(recording);
    let known: Vec<&What> = recording.findings.iter().chain(&said).collect();
    let speed_is_made_up = known.iter().any(|w| matches!(w, What::SpeedFromDistance));
    let speed_over_distance =
        speed_to_distance_ratio(&ride.time_s, &ride.speed_m_s, &recording.distance_m, &ride.stretch)
            .filter(|ratio| ratio.is_finite() && !speed_is_made_up);
    let found = laps::find(&recording.provenance.file, &ride, length_m);
    let clock_is_set = !known.iter().any(|w| matches!(w, What::ClockNotSet));
    let gaps = sampling::gaps(&ride);
    let mut held = Inspection {
        file: recording.provenance.file.clone(),
        sha256: recording.provenance.sha256.clone(),
        bytes: recording.provenance.bytes,
        records: recording.len(),
        started: moment(ride.start_unix_s).filter(|_| clock_is_set && !recording.is_empty()),
        duration_s: ride.duration_s(),
        moves: found.moves,
        channels: channel::held(recording),
        sampling: sampling::sampling(&ride),
        pauses: sampling::pauses(recording, ride.start_unix_s),
        gaps,
        speed_over_distance,
        laps: found.laps,
        solvable: false,
        obstacles: Vec::new(),
        // The gaps have a list of their own, and what the cut says is told with the laps.
        findings: unrepeated(
            known.iter().copied().filter(|w| !matches!(w, What::Gaps { .. })).chain(found.told.iter()),
        ),
        drawn: found.drawn,
    };
    let no_window = if held.moves == Some(false) { window_missing(recording) } else { None };
    let drop_outs = known.iter().find_map(|w| match w {
        What::Slip(Slip::PowerDropOuts { share, .. }) => Some(*share),
        _ => None,
    });
    let mut told =
        obstacle::Told { speed_from_distance: speed_is_made_up, no_window, drop_outs, ..obstacle::Told::default() };
    // A ride that is refused already for what it lacks is not tried.
    if !obstacle::obstacles(&held, &told).iter().any(|o| o.prevents) {
        let venue = if held.moves == Some(false) { Venue::Rollers } else { Venue::Road };
        match trial::trial(recording, venue, length_m) {
            Ok(tried) => {
                held.laps.leave_out(&tried.left_out);
                (told.not_separable, told.implausible) = (tried.not_separable, tried.implausible);
            }
            Err(error) => told.not_solved = Some(error),
        }
    }
    held.obstacles = obstacle::obstacles(&held, &told);
    held.solvable = !held.obstacles.iter().any(|o| o.prevents);
    held
}

/// Why a ride on rollers could not be solved; a ride without power or speed is told of elsewhere.
fn window_missing(recording: &Recording) -> Option<Error> {
    // Where the warm-up ends does not hang on the mass or on the size of the drums.
    let rider = RiderAndBike::of_mass(NOMINAL_MASS_KG);
    let tried = rollers::analyse(recording, &rider, &Rollers::default(), &Choice::default());
    tried.err().filter(|e| matches!(e, Error::NoSteadyWindow { .. }))
}

/// Reading and aligning may both notice the same thing.
fn unrepeated<'a>(all: impl Iterator<Item = &'a What>) -> Vec<Noted> {
    let mut noted: Vec<Noted> = Vec::new();
    for what in all {
        let one = Noted::from(what);
        if !noted.contains(&one) {
            noted.push(one);
        }
    }
    noted
}

fn moment(unix_s: f64) -> Option<String> {
    jiff::Timestamp::from_second(unix_s as i64).ok().map(|t| t.to_string())
}
