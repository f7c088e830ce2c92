//! A session of one run made from flags.
//!
//! Given the flags of a ride; gives a checked session. The stated values are put together as the tables of a session file
//! and read as one, so that defaults and ranges are the same.

use super::flag_name::{flag_of, of_flags};
use super::ride_flags::RideFlags;
use loopwright::error::Error;
use loopwright::session::{Position, Session};
use serde_json::{Map, Value, json};
use std::path::Path;

impl RideFlags {
    /// Flags that were given, as they are typed.
    pub fn given(&self) -> Vec<String> {
        let mut names = Vec::new();
        for (section, keys) in self.stated() {
            for key in keys.as_object().into_iter().flat_map(Map::keys) {
                names.push(match (section.as_str(), key.as_str()) {
                    ("wind", "mode") => "--wind".to_string(),
                    _ => flag_of(&format!("{section}.{key}")),
                });
            }
        }
        let skipped = [
            ("--bearing-friction-constant-n", self.rider_and_bike.bearing_friction_constant_n),
            ("--gate-lat-deg", self.circuit.gate_lat_deg),
        ];
        names.extend(skipped.into_iter().filter(|(_, value)| value.is_some()).map(|(name, _)| name.to_string()));
        names
    }

    /// The session of one ride in a file of the given name.
    ///
    /// Errors: [`Error::Usage`] without a mass or with a wind that is stated but not asked for, and those of
    /// [`Session::check`] under the names of the flags.
    pub fn session(&self, file: &str, id: &str) -> Result<Session, Error> {
        self.check_needed()?;
        let mut table = self.stated();
        let mut run = match table.remove("run") {
            Some(Value::Object(run)) => run,
            _ => Map::new(),
        };
        run.insert("file".into(), json!(file));
        run.insert("setup".into(), json!(id));
        table.insert("run".into(), json!([run]));
        table.insert("setup".into(), json!([{ "id": id }]));
        let wrong = |message: String| Error::Usage { flag: "command line".into(), message };
        let mut session: Session = serde_json::from_value(Value::Object(table))
            .map_err(|e| wrong(format!("{e}; see loopwright solve --help")))?;
        if let (Some(lat_deg), Some(lon_deg)) = (self.circuit.gate_lat_deg, self.circuit.gate_lon_deg) {
            session.circuit.gate = Some(Position { lat_deg, lon_deg });
        }
        let rider = &self.rider_and_bike;
        if let (Some(constant), Some(linear)) =
            (rider.bearing_friction_constant_n, rider.bearing_friction_linear_n_s_per_m)
        {
            session.rider_and_bike.bearing_friction.constant_n = constant;
            session.rider_and_bike.bearing_friction.linear_n_s_per_m = linear;
        }
        for path in [&mut session.circuit.survey, &mut session.air.log, &mut session.runs[0].second_file] {
            absolute(path)?;
        }
        session.check().map_err(of_flags)?;
        Ok(session)
    }

    fn check_needed(&self) -> Result<(), Error> {
        let usage = |flag: &str, message: &str| Err(Error::Usage { flag: flag.into(), message: message.into() });
        if self.rider_and_bike.mass_kg.is_none() {
            return usage(
                "--mass-kg",
                "missing; a single ride needs the mass of rider, bicycle, kit and bottles as weighed, such as --mass-kg 86.4",
            );
        }
        if !matches!(self.run.window_s.len(), 0 | 2) {
            return usage("--window-s", "needs two values, from and to, such as --window-s 900,1200");
        }
        let wind = &self.wind;
        let is_given = wind.mode.as_deref() == Some("given");
        if !is_given && (wind.speed_m_s.is_some() || wind.from_deg.is_some()) {
            return usage(
                "--wind",
                "a wind is stated but not asked for; add --wind given or remove its speed and direction",
            );
        }
        if is_given && self.air.log.is_none() && (wind.speed_m_s.is_none() || wind.from_deg.is_none()) {
            return usage("--wind", "\"given\" needs --wind-speed-m-s and --wind-from-deg, or a --log with both");
        }
        if self.circuit.kind.as_deref() == Some("track") && self.circuit.length_m.is_none() {
            return usage("--length-m", "missing; --kind track needs the length of one lap along the measuring line");
        }
        Ok(())
    }

    /// The stated values as tables of the session, without those left out.
    fn stated(&self) -> Map<String, Value> {
        let mut tables = match serde_json::to_value(self) {
            Ok(Value::Object(tables)) => tables,
            _ => Map::new(),
        };
        for table in tables.values_mut() {
            if let Value::Object(keys) = table {
                keys.retain(|_, value| !(value.is_null() || value.as_array().is_some_and(Vec::is_empty)));
            }
        }
        tables
    }
}

/// A path on the command line counts from where the person is, not from the folder of the ride.
fn absolute(path: &mut Option<String>) -> Result<(), Error> {
    if let Some(name) = path {
        let whole = std::path::absolute(Path::new(name))
            .map_err(|e| Error::Unreadable { path: name.as_str().into(), reason: e.to_string() })?;
        *name = whole.to_string_lossy().into_owned();
    }
    Ok(())
}
