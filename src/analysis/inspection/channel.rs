//! How much of each channel is there.
//!
//! Given a recording; gives coverage and the range of the values. Places are counted and never shown.

use crate::record::{Channel, Recording};
use serde::Serialize;

/// One channel of a ride.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChannelHeld {
    pub channel: &'static str,
    /// Unit of the three values below.
    pub unit: &'static str,
    /// Records that have a value.
    pub records: usize,
    /// The same as a share of all records.
    pub coverage: f64,
    /// `null` for positions and where nothing was recorded.
    pub min: Option<f64>,
    pub mean: Option<f64>,
    pub max: Option<f64>,
}

/// Every channel that a ride can have, those without a value too; latitude and longitude count as one.
pub(super) fn held(recording: &Recording) -> Vec<ChannelHeld> {
    Channel::ALL
        .into_iter()
        .filter_map(|channel| match channel {
            Channel::Latitude => Some(positions(recording)),
            Channel::Longitude => None,
            other => Some(values(recording, other, unit(other))),
        })
        .collect()
}

fn unit(channel: Channel) -> &'static str {
    match channel {
        Channel::Power => "W",
        Channel::Speed => "m/s",
        Channel::Distance | Channel::Altitude => "m",
        Channel::Cadence => "rpm",
        Channel::Temperature => "°C",
        Channel::Latitude | Channel::Longitude => "°",
    }
}

fn share(count: usize, of: usize) -> f64 {
    count as f64 / of.max(1) as f64
}

fn values(recording: &Recording, channel: Channel, unit: &'static str) -> ChannelHeld {
    let there: Vec<f64> = recording.channel(channel).iter().copied().filter(|x| x.is_finite()).collect();
    let known = |x: f64| (!there.is_empty() && x.is_finite()).then_some(x);
    ChannelHeld {
        channel: channel.name(),
        unit,
        records: there.len(),
        coverage: share(there.len(), recording.len()),
        min: known(there.iter().copied().fold(f64::INFINITY, f64::min)),
        mean: known(there.iter().sum::<f64>() / there.len() as f64),
        max: known(there.iter().copied().fold(f64::NEG_INFINITY, f64::max)),
    }
}

fn positions(recording: &Recording) -> ChannelHeld {
    let both = recording.latitude_deg.iter().zip(&recording.longitude_deg);
    let records = both.filter(|(lat, lon)| lat.is_finite() && lon.is_finite()).count();
    let coverage = share(records, recording.len());
    ChannelHeld { channel: "position", unit: "°", records, coverage, min: None, mean: None, max: None }
}
