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
        self.move_temperature_rule(&mut table);
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

    /// The flags of the temperature rule stand among those of the rollers and belong to the loop where one is ridden.
    fn move_temperature_rule(&self, table: &mut Map<String, Value>) {
        if self.circuit.kind.as_deref() == Some("rollers") {
            return;
        }
        let Some(Value::Object(rollers)) = table.get_mut("rollers") else { return };
        let moved: Vec<(String, Value)> = ["temperature_coefficient_per_c", "reference_temperature_c"]
            .into_iter()
            .filter_map(|key| rollers.remove_entry(key))
            .collect();
        if let Some(Value::Object(circuit)) = table.get_mut("loop") {
            circuit.extend(moved);
        }
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

#[cfg(test)]
mod tests {
    use crate::cli::{Arguments, Command};
    use clap::{CommandFactory, Parser};

    /// A sound value of every flag; on a track, because it has the most keys.
    const SOUND: &str = "--mass-kg 86 --wheel-inertia-kg-m2 0.1 --wheel-radius-m 0.33 --centre-of-mass-height-m 1 \
        --drivetrain-efficiency 0.98 --bearing-friction-constant-n 0.1 --bearing-friction-linear-n-s-per-m 0.01 \
        --laps device --planned-speed-km-h 29,41 --leave-out 1 --keep 2 --second-file b.fit \
        --kind track --gate-lat-deg -1 --gate-lon-deg 2 --length-m 250 --survey s.csv --survey-sd-m 0.02 \
        --bend-radius-m 22 --transition-m 12 --home-straight-bearing-deg 75 --temperature-c -3 --pressure-hpa 978 \
        --humidity-pct 60 --log w.csv --wind given --wind-speed-m-s 2 --wind-from-deg 240 --mast-height-m 10 \
        --roughness-length-m 0.03 --gusts none --lag 0.4 --confidence 0.9 --seed 2 --reference-speed-km-h 35 \
        --reference-mass-kg 80 --reference-air-density-kg-m3 1.1 --drum-diameter-m 0.11 --drum-spacing-m 0.3 \
        --rear-weight-fraction 0.6 --front-driven false --no-load-power-w-at-40-km-h 9 \
        --temperature-coefficient-per-c 0.008 --reference-temperature-c 21 --tyre-temperature-c 24 \
        --uncertainty-temperature-coefficient-per-c 0.002 --uncertainty-mass-kg 0.2 \
        --uncertainty-power-fraction 0.02 --uncertainty-speed-fraction 0.002 --uncertainty-temperature-c 1 \
        --uncertainty-pressure-hpa 2 --uncertainty-humidity-pct 6 --uncertainty-drivetrain-efficiency 0.01";

    #[test]
    fn every_flag_is_a_key_of_the_session_and_is_told_by_its_own_name() {
        let words = ["loopwright", "solve", "ride.fit"].into_iter().chain(SOUND.split_whitespace());
        let arguments = Arguments::try_parse_from(words).expect("sound flags");
        let Command::Solve(solve) = arguments.command else { panic!("not solve") };
        let session = solve.ride.session("ride.fit", "ride").unwrap_or_else(|e| panic!("{e}"));
        assert_eq!((session.rider_and_bike.mass_kg, session.uncertainty.mass_kg), (86.0, 0.2));
        assert_eq!((session.wind.speed_m_s, session.reference.speed_km_h), (Some(2.0), 35.0));
        assert_eq!((session.circuit.length_m, session.runs[0].keep.clone()), (Some(250.0), vec![2]));

        assert_eq!(
            (session.circuit.temperature_coefficient_per_c, session.circuit.reference_temperature_c),
            (Some(0.008), Some(21.0))
        );
        assert_eq!(
            (session.rollers.temperature_coefficient_per_c, session.runs[0].tyre_temperature_c),
            (0.0, Some(24.0))
        );

        let command = Arguments::command();
        let solve_command = command.find_subcommand("solve").expect("solve");
        let given = solve.ride.given();
        for argument in solve_command.get_arguments() {
            let heading = argument.get_help_heading().unwrap_or_default();
            let flag = format!("--{}", argument.get_long().unwrap_or_default());
            // The second of a pair is told by the first.
            let paired = ["--bearing-friction-linear-n-s-per-m", "--gate-lon-deg"].contains(&flag.as_str());
            // No track has a window.
            let paired = paired || flag == "--window-s";
            assert!(
                !heading.starts_with("One ride") || paired || given.contains(&flag),
                "{flag} is not among {given:?}"
            );
        }
    }
}
