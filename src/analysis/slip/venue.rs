//! Whether a ride can be of the venue it is said to be of.
//!
//! Given what files say of themselves and what their positions show; gives findings, or a refusal where energy or speed is
//! not that of the rider and the road.

use super::super::ridden_session::RiddenSession;
use crate::circuit::has_moving_positions;
use crate::error::Error;
use crate::finding::{Finding, RiddenAs, Slip, What};
use crate::quantity::km_h_from_m_s;
use crate::record::Recording;
use crate::sample::Ride;
use crate::session::Venue;

/// Usual speed of nobody who rides loops alone, m/s.
const FASTEST_M_S: f64 = 20.0;
/// Way after which an altitude that never changed is odd, m.
const LEVEL_FROM_M: f64 = 3000.0;

/// See the module.
///
/// Errors: [`Error::Contradicted`].
pub(super) fn check(inputs: &RiddenSession, rides: &[Ride]) -> Result<Vec<Finding>, Error> {
    let mut out = Vec::new();
    for (k, (recording, ride)) in inputs.recordings.iter().zip(rides).enumerate() {
        let run = &inputs.session.runs[k];
        if let Some([what, next]) = contradiction(recording, ride, inputs.session.venue_of(run)) {
            return Err(Error::Contradicted { file: run.file.clone(), what: what.into(), next: next.into() });
        }
        if let Some(speed_m_s) = usual_speed_m_s(ride).filter(|v| *v > FASTEST_M_S) {
            return Err(Error::Contradicted {
                file: run.file.clone(),
                what: format!("its usual speed is {:.0} km/h, which nobody rides", km_h_from_m_s(speed_m_s)),
                next: "check the unit of its speed (km/h in a column that is named for m/s?) and the wheel size".into(),
            });
        }
        out.extend(level(ride).map(|what| Finding::of_run(k, what)));
    }
    Ok(out)
}

/// What cannot be, and what to do.
pub(in crate::analysis) fn contradiction(
    recording: &Recording,
    ride: &Ride,
    venue: Venue,
) -> Option<[&'static str; 2]> {
    let said = |how| recording.findings.contains(&What::Slip(Slip::RiddenAs(how)));
    let moves = has_moving_positions(ride);
    if said(RiddenAs::Virtual) {
        return Some([
            "the file says that it is a virtual ride, whose speed and positions are computed by a program",
            "record rollers with a wheel sensor on the device and not through a program, and ride a loop outdoors",
        ]);
    }
    if said(RiddenAs::EBike) {
        return Some([
            "the file says that the bicycle has a motor, whose power is in no meter",
            "ride without the motor, with the device set to cycling",
        ]);
    }
    if said(RiddenAs::Indoor) && venue == Venue::Road && !moves {
        return Some([
            "the file says that it was ridden indoors and positions do not move, and the session says road",
            "for rollers say on = \"rollers\" in the run (a trainer that holds the axle tells nothing of tyres), for a roofed \
             track kind = \"track\"",
        ]);
    }
    (venue == Venue::Rollers && moves).then_some([
        "its positions move along a road, and the session says rollers",
        "take on = \"rollers\" or kind = \"rollers\" out, or name the file that was ridden on the rollers",
    ])
}

/// Median of the speeds above zero.
fn usual_speed_m_s(ride: &Ride) -> Option<f64> {
    let mut moving: Vec<f64> = ride.speed_m_s.iter().copied().filter(|v| *v > 0.0).collect();
    moving.sort_by(f64::total_cmp);
    moving.get(moving.len() / 2).copied()
}

/// An altitude that stays the same to its last digit while positions go far.
fn level(ride: &Ride) -> Option<What> {
    let known: Vec<f64> = ride.altitude_m.iter().copied().filter(|x| x.is_finite()).collect();
    let distance_m = ride.distance_m.totals().last().copied().unwrap_or(0.0);
    let same = known.len() * 2 > ride.len() && known.windows(2).all(|w| w[0] == w[1]);
    (same && distance_m > LEVEL_FROM_M && has_moving_positions(ride))
        .then_some(What::Slip(Slip::LevelToTheDecimetre { distance_m }))
}
