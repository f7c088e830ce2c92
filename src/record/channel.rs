//! The channels a ride can have, and one row of them.
//!
//! Given nothing; gives every channel its name and its column, so that code that treats all of them alike
//! needs no list of its own. It never knows where a value came from.

use super::Recording;
use crate::finding::What;

/// One kind of measurement in a [`Recording`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Channel {
    Power,
    Speed,
    Distance,
    Latitude,
    Longitude,
    Altitude,
    Cadence,
    Temperature,
}

impl Channel {
    pub const ALL: [Channel; 8] = [
        Channel::Power,
        Channel::Speed,
        Channel::Distance,
        Channel::Latitude,
        Channel::Longitude,
        Channel::Altitude,
        Channel::Cadence,
        Channel::Temperature,
    ];

    /// The word for it in a sentence.
    pub fn name(self) -> &'static str {
        match self {
            Channel::Power => "power",
            Channel::Speed => "speed",
            Channel::Distance => "distance",
            Channel::Latitude => "latitude",
            Channel::Longitude => "longitude",
            Channel::Altitude => "altitude",
            Channel::Cadence => "cadence",
            Channel::Temperature => "temperature",
        }
    }
}

impl Recording {
    /// The column of a channel.
    pub fn channel(&self, channel: Channel) -> &[f64] {
        match channel {
            Channel::Power => &self.power_w,
            Channel::Speed => &self.speed_m_s,
            Channel::Distance => &self.distance_m,
            Channel::Latitude => &self.latitude_deg,
            Channel::Longitude => &self.longitude_deg,
            Channel::Altitude => &self.altitude_m,
            Channel::Cadence => &self.cadence_rpm,
            Channel::Temperature => &self.temperature_c,
        }
    }

    pub(super) fn channel_mut(&mut self, channel: Channel) -> &mut Vec<f64> {
        match channel {
            Channel::Power => &mut self.power_w,
            Channel::Speed => &mut self.speed_m_s,
            Channel::Distance => &mut self.distance_m,
            Channel::Latitude => &mut self.latitude_deg,
            Channel::Longitude => &mut self.longitude_deg,
            Channel::Altitude => &mut self.altitude_m,
            Channel::Cadence => &mut self.cadence_rpm,
            Channel::Temperature => &mut self.temperature_c,
        }
    }

    /// Drops the rows that are not wanted; those beyond the end of `wanted` go too.
    pub fn keep_rows(&mut self, wanted: &[bool]) {
        let keep = |column: &mut Vec<f64>| {
            let mut wanted = wanted.iter();
            column.retain(|_| wanted.next().is_some_and(|&wanted| wanted));
        };
        keep(&mut self.time_s);
        for channel in Channel::ALL {
            keep(self.channel_mut(channel));
        }
    }

    /// Says so when power is zero in every record.
    pub(super) fn power_all_zero(&self) -> Option<What> {
        let never_positive = !self.power_w.iter().any(|&p| p != 0.0 && p.is_finite());
        (Recording::has(&self.power_w) && never_positive).then_some(What::PowerAllZero { records: self.len() })
    }

    /// Adds one row; the order of times is settled later.
    pub(super) fn push(&mut self, time_s: f64, row: &Row) {
        self.time_s.push(time_s);
        for channel in Channel::ALL {
            self.channel_mut(channel).push(row.get(channel));
        }
    }

    /// Puts other values into the last row.
    pub(super) fn replace_last(&mut self, row: &Row) {
        for channel in Channel::ALL {
            if let Some(last) = self.channel_mut(channel).last_mut() {
                *last = row.get(channel);
            }
        }
    }
}

/// The values of one moment, NaN where there is none.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row([f64; Channel::ALL.len()]);

impl Row {
    pub fn empty() -> Self {
        Row([f64::NAN; Channel::ALL.len()])
    }

    pub fn get(&self, channel: Channel) -> f64 {
        self.0[channel as usize]
    }

    pub fn set(&mut self, channel: Channel, value: f64) {
        self.0[channel as usize] = value;
    }
}
