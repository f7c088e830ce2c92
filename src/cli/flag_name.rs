//! Flags in messages: a value that the session's own check refuses is told under the name of the flag it came from.

use loopwright::error::Error;

/// Sections of the session whose keys are flags with the section in front.
const PREFIXED: [&str; 2] = ["uncertainty", "reference"];

/// A flag with the range of its value.
pub struct Flag {
    pub name: &'static str,
    pub low: f64,
    pub high: f64,
    pub hint: &'static str,
}

impl Flag {
    pub fn check(&self, value: f64) -> Result<(), Error> {
        if value >= self.low && value <= self.high {
            return Ok(());
        }
        Err(Error::OutOfRange {
            file: "command line".into(),
            line: None,
            key: self.name.into(),
            value,
            low: self.low,
            high: self.high,
            hint: self.hint.into(),
        })
    }

    pub fn check_if(&self, value: Option<f64>) -> Result<(), Error> {
        value.map_or(Ok(()), |v| self.check(v))
    }
}

/// The flag of a session key such as `rider_and_bike.mass_kg`.
pub fn flag_of(key: &str) -> String {
    let (section, rest) = key.split_once('.').unwrap_or(("", key));
    let name = match section {
        "wind" if rest == "mode" => section.to_string(),
        "wind" if matches!(rest, "speed_m_s" | "from_deg") => format!("wind_{rest}"),
        section if PREFIXED.contains(&section) => format!("{section}_{rest}"),
        _ => rest.to_string(),
    };
    format!("--{}", name.replace(['_', '.'], "-"))
}

/// The same error with the flag in place of the key.
pub fn of_flags(error: Error) -> Error {
    match error {
        Error::OutOfRange { file, line: None, key, value, low, high, hint } => {
            Error::OutOfRange { file, line: None, key: flag_of(&key), value, low, high, hint }
        }
        other => other,
    }
}
