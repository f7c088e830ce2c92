//! One FIT record message as a row of values in SI.
//!
//! Given raw fields by number; gives power, speed and so on with the protocol's scales taken off. Heart rate is
//! not among them: nothing here needs it, so it is never kept.

use std::collections::HashMap;

use fitparser::Value;

use super::channel::{Channel, Row};
use super::message::{DEVELOPER_SLOT, as_number};
use crate::quantity::deg_from_semicircles;

/// A record message decoded.
#[derive(Debug, Clone, Copy)]
pub(super) struct Record {
    pub row: Row,
    /// Power from a developer field that claims to stand for the native one, W.
    pub developer_power_w: f64,
    /// The position lies off the globe.
    pub impossible_position: bool,
    /// A motor gives power.
    pub motor: bool,
}

/// Distance that a device counts in twelve bits, so that it starts again every 256 m.
///
/// Rollovers between two records cannot be told from one another, so records must not be more than 256 m
/// apart: at 30 m/s that is 8 s, which recording at irregular intervals keeps.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct PackedDistance {
    last: Option<u16>,
    total: u64,
}

impl PackedDistance {
    const COUNTS: u16 = 1 << 12;
    const COUNTS_PER_M: f64 = 16.0;

    /// Distance since the count of zero before the first record, m.
    fn advance_m(&mut self, count: u16) -> f64 {
        let before = self.last.replace(count).unwrap_or(0);
        self.total += u64::from((count + Self::COUNTS - before) % Self::COUNTS);
        self.total as f64 / Self::COUNTS_PER_M
    }
}

/// Decodes a record (message 20). Scales and offsets are those of the FIT profile 21.218.
///
/// The enhanced fields, wider by sixteen bits, come before the plain ones, and those before the packed field 8.
pub(super) fn record(fields: &HashMap<u8, Value>, packed_distance: &mut PackedDistance) -> Record {
    const MISSING: f64 = f64::NAN;
    let (mut speed, mut enhanced_speed, mut packed_speed) = (MISSING, MISSING, MISSING);
    let (mut altitude, mut enhanced_altitude) = (MISSING, MISSING);
    let (mut distance, mut counted_distance) = (MISSING, MISSING);
    let (mut latitude, mut longitude) = (MISSING, MISSING);
    let (mut cadence, mut cadence_fraction) = (MISSING, 0.0);
    let mut developer_power_w = MISSING;
    let mut motor = false;
    let mut row = Row::empty();
    // Going through the map once is several times cheaper than looking each number up.
    for (&field, value) in fields {
        match field {
            0 => latitude = deg_from_semicircles(as_number(value)),
            1 => longitude = deg_from_semicircles(as_number(value)),
            2 => altitude = as_number(value) / 5.0 - 500.0,
            4 => cadence = as_number(value),
            5 => distance = as_number(value) / 100.0,
            6 => speed = as_number(value) / 1000.0,
            7 => row.set(Channel::Power, as_number(value)),
            8 => {
                if let Some(packed) = unpack(value) {
                    packed_speed = packed.speed_m_s;
                    counted_distance = packed_distance.advance_m(packed.distance_count);
                }
            }
            13 => row.set(Channel::Temperature, as_number(value)),
            53 => cadence_fraction = as_number(value) / 128.0,
            73 => enhanced_speed = as_number(value) / 1000.0,
            82 => motor = as_number(value) > 0.0,
            78 => enhanced_altitude = as_number(value) / 5.0 - 500.0,
            DEVELOPER_SLOT => developer_power_w = as_number(value),
            _ => {}
        }
    }
    let impossible_position = latitude.abs() > 90.0 || longitude.abs() > 180.0;
    if !impossible_position {
        row.set(Channel::Latitude, latitude);
        row.set(Channel::Longitude, longitude);
    }
    row.set(Channel::Speed, first_present([enhanced_speed, speed, packed_speed]));
    row.set(Channel::Altitude, first_present([enhanced_altitude, altitude, MISSING]));
    row.set(Channel::Distance, first_present([distance, counted_distance, MISSING]));
    row.set(Channel::Cadence, cadence + if cadence_fraction.is_finite() { cadence_fraction } else { 0.0 });
    Record { row, developer_power_w, impossible_position, motor }
}

fn first_present(candidates: [f64; 3]) -> f64 {
    candidates.into_iter().find(|x| x.is_finite()).unwrap_or(f64::NAN)
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Packed {
    speed_m_s: f64,
    distance_count: u16,
}

/// Field 8: three bytes, of which the low twelve bits are speed in 1/100 m/s and the high twelve a distance
/// count in 1/16 m. Three bytes of ones were dropped before.
fn unpack(value: &Value) -> Option<Packed> {
    let Value::Array(bytes) = value else { return None };
    let [Value::Byte(low), Value::Byte(middle), Value::Byte(high)] = bytes[..] else { return None };
    let speed = u16::from(low) | (u16::from(middle) & 0x0F) << 8;
    let distance_count = u16::from(middle) >> 4 | u16::from(high) << 4;
    let speed_m_s = if speed == 0x0FFF { f64::NAN } else { f64::from(speed) / 100.0 };
    Some(Packed { speed_m_s, distance_count })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn packed(speed_m_s: f64, distance_m: f64) -> Value {
        let (speed, distance) = ((speed_m_s * 100.0) as u32, (distance_m * 16.0) as u32 % 4096);
        let word = speed | distance << 12;
        Value::Array(word.to_le_bytes()[..3].iter().map(|&b| Value::Byte(b)).collect())
    }

    #[test]
    fn a_packed_distance_goes_on_past_its_rollover() {
        let mut distance = PackedDistance::default();
        // The distances put in vouch for those that come out; 256 m and 512 m are rollovers.
        for distance_m in [0.5, 120.0, 255.75, 256.25, 500.0, 530.0] {
            let fields = HashMap::from([(8, packed(12.5, distance_m))]);
            let row = record(&fields, &mut distance).row;
            assert_eq!(row.get(Channel::Distance), distance_m);
            assert_eq!(row.get(Channel::Speed), 12.5);
        }
    }

    #[test]
    fn enhanced_fields_come_before_plain_ones() {
        let fields = HashMap::from([
            (6, Value::UInt16(5_000)),
            (73, Value::UInt32(70_000)),
            (2, Value::UInt16(2_600)),
            (78, Value::UInt32(52_500)),
        ]);
        let row = record(&fields, &mut PackedDistance::default()).row;
        assert_eq!(row.get(Channel::Speed), 70.0);
        assert_eq!(row.get(Channel::Altitude), 10_000.0);
    }

    #[test]
    fn raw_values_have_the_scales_of_the_profile() {
        // FIT profile: altitude raw 2600 is 20 m; latitude raw 536870912 is 45 degrees.
        let fields = HashMap::from([
            (0, Value::SInt32(536_870_912)),
            (1, Value::SInt32(-536_870_912)),
            (2, Value::UInt16(2_600)),
            (3, Value::UInt8(150)),
            (4, Value::UInt8(90)),
            (5, Value::UInt32(123_456)),
            (7, Value::UInt16(250)),
            (13, Value::SInt8(-5)),
            (53, Value::UInt8(64)),
        ]);
        let row = record(&fields, &mut PackedDistance::default()).row;
        let expected = [250.0, f64::NAN, 1_234.56, 45.0, -45.0, 20.0, 90.5, -5.0];
        for (channel, expected) in Channel::ALL.into_iter().zip(expected) {
            assert_eq!(row.get(channel).to_bits(), expected.to_bits(), "{}", channel.name());
        }
    }

    #[test]
    fn a_list_where_a_number_belongs_is_missing_not_zero() {
        let fields = HashMap::from([(7, Value::Array(vec![Value::UInt16(1), Value::UInt16(2)]))]);
        let row = record(&fields, &mut PackedDistance::default()).row;
        assert!(row.get(Channel::Power).is_nan());
    }

    #[test]
    fn a_latitude_off_the_globe_takes_its_longitude_with_it() {
        let fields = HashMap::from([(0, Value::SInt32(i32::MIN)), (1, Value::SInt32(0))]);
        let record = record(&fields, &mut PackedDistance::default());
        assert!(record.impossible_position && record.row.get(Channel::Longitude).is_nan());
    }
}
