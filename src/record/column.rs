//! What the heading of a CSV column means.
//!
//! Given the text of a heading; gives the channel and unit, or the reason to refuse it. It never guesses a unit.

use super::channel::Channel;
use crate::printable::excerpt;
use crate::quantity::m_s_from_km_h;

/// The use of one column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Column {
    /// RFC 3339, or seconds since the Unix epoch.
    Time,
    /// Seconds from any zero.
    Elapsed,
    /// A counter; a change is a lap mark.
    Lap,
    Value {
        channel: Channel,
        unit: Unit,
    },
    /// Nothing that is needed here.
    Other,
}

/// The unit of a column's values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Unit {
    /// That of the channel's column in a recording.
    Own,
    KilometresPerHour,
    Kilometres,
}

impl Unit {
    /// The value in the unit of the recording.
    pub fn convert(self, value: f64) -> f64 {
        match self {
            Unit::Own => value,
            Unit::KilometresPerHour => m_s_from_km_h(value),
            Unit::Kilometres => value * 1000.0,
        }
    }
}

struct Known {
    heading: &'static str,
    column: Column,
}

const fn known(heading: &'static str, channel: Channel, unit: Unit) -> Known {
    Known { heading, column: Column::Value { channel, unit } }
}

const KNOWN: [Known; 14] = [
    Known { heading: "time", column: Column::Time },
    Known { heading: "time_s", column: Column::Elapsed },
    Known { heading: "elapsed_s", column: Column::Elapsed },
    known("power_w", Channel::Power, Unit::Own),
    known("speed_m_s", Channel::Speed, Unit::Own),
    known("speed_km_h", Channel::Speed, Unit::KilometresPerHour),
    known("distance_m", Channel::Distance, Unit::Own),
    known("distance_km", Channel::Distance, Unit::Kilometres),
    known("latitude_deg", Channel::Latitude, Unit::Own),
    known("longitude_deg", Channel::Longitude, Unit::Own),
    known("altitude_m", Channel::Altitude, Unit::Own),
    known("cadence_rpm", Channel::Cadence, Unit::Own),
    known("temperature_c", Channel::Temperature, Unit::Own),
    Known { heading: "lap", column: Column::Lap },
];

/// A word that people use for a channel, and the heading to use instead.
struct Synonym {
    word: &'static str,
    heading: &'static str,
}

const fn synonym(word: &'static str, heading: &'static str) -> Synonym {
    Synonym { word, heading }
}

const SYNONYMS: [Synonym; 19] = [
    synonym("power", "power_w"),
    synonym("watts", "power_w"),
    synonym("speed", "speed_m_s or speed_km_h"),
    synonym("velocity", "speed_m_s or speed_km_h"),
    synonym("distance", "distance_m or distance_km"),
    synonym("dist", "distance_m or distance_km"),
    synonym("latitude", "latitude_deg"),
    synonym("lat", "latitude_deg"),
    synonym("longitude", "longitude_deg"),
    synonym("lon", "longitude_deg"),
    synonym("lng", "longitude_deg"),
    synonym("altitude", "altitude_m"),
    synonym("alt", "altitude_m"),
    synonym("elevation", "altitude_m"),
    synonym("ele", "altitude_m"),
    synonym("cadence", "cadence_rpm"),
    synonym("temperature", "temperature_c"),
    synonym("temp", "temperature_c"),
    synonym("timestamp", "time"),
];

/// Units that a heading may end on without being one of ours.
const UNITS: [&str; 24] = [
    "", "w", "kw", "watt", "watts", "mph", "kmh", "kph", "km_h", "ms", "m_s", "mps", "m", "km", "mi", "miles", "ft",
    "feet", "deg", "degrees", "rpm", "c", "f", "k",
];

/// Most characters of a heading or cell that a message quotes.
pub(crate) const QUOTED: usize = 24;
/// Edits between a heading and a known one up to which it is taken for a slip.
const SLIP_EDITS: usize = 2;

/// The meaning of a heading. A heading that is a slip of a known one, or names a channel in a unit that is not
/// read, is refused with the heading to use, since passing over it would lose a channel unnoticed; any other
/// unknown heading is [`Column::Other`].
pub(super) fn column(heading: &str) -> Result<Column, String> {
    let heading = heading.trim().to_lowercase();
    if let Some(known) = KNOWN.iter().find(|k| k.heading == heading) {
        return Ok(known.column);
    }
    let words: Vec<&str> = heading.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
    if let Some((&first, unit)) = words.split_first()
        && let Some(synonym) = SYNONYMS.iter().find(|s| s.word == first)
        && UNITS.contains(&unit.join("_").as_str())
    {
        return Err(format!(
            "column «{}» is not known by that name and unit; use {}",
            excerpt(&heading, QUOTED),
            synonym.heading
        ));
    }
    let nearest = KNOWN.iter().map(|k| k.heading).min_by_key(|k| strsim::osa_distance(k, &heading));
    // A short word is within two edits of almost any other.
    match nearest.filter(|k| k.len() > 2 * SLIP_EDITS && strsim::osa_distance(k, &heading) <= SLIP_EDITS) {
        Some(nearest) => Err(format!("column «{}» is not known; did you mean {nearest}?", excerpt(&heading, QUOTED))),
        None => Ok(Column::Other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_known_heading_is_itself() {
        for known in &KNOWN {
            assert_eq!(column(&format!(" {} ", known.heading.to_uppercase())), Ok(known.column));
        }
    }

    #[test]
    fn a_slip_names_the_nearest_heading() {
        assert!(column("pwoer_w").is_err_and(|m| m.contains("power_w?")));
        assert!(column("altitude_ms").is_err_and(|m| m.contains("altitude_m")));
    }

    #[test]
    fn a_channel_without_its_unit_or_in_another_is_refused() {
        assert!(column("power").is_err_and(|m| m.contains("use power_w")));
        assert!(column("speed (mph)").is_err_and(|m| m.contains("speed_km_h")));
        assert!(column("lat").is_err_and(|m| m.contains("latitude_deg")));
    }

    #[test]
    fn a_column_of_another_kind_is_passed_over() {
        for heading in ["heart_rate_bpm", "gear", "note", "", "id", "map"] {
            assert_eq!(column(heading), Ok(Column::Other), "{heading}");
        }
    }
}
