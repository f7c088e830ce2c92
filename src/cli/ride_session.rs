//! A session of one run made from flags.
//!
//! Given the flags of a ride; gives a checked session. The stated values are put together as the tables of a session file
//! and read as one, so that defaults and ranges are the same.

use super::flag_name::of_flags;
use super::ride_flags::RideFlags;
use loopwright::error::Error;
use loopwright::printable::odd_character;
use loopwright::session::Session;
use serde_json::{Map, Value, json};
use std::path::Path;

impl RideFlags {
    /// The session of one ride in a file of the given name.
    ///
    /// Errors: [`Error::Usage`] without a mass or with a wind that is stated but not asked for, and those of
    /// [`Session::check`] under the names of the flags.
    pub fn session(&self, file: &str, id: &str) -> Result<Session, Error> {
        self.check_needed()?;
        let mut table = self.tables.clone();
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
        for path in [&mut session.circuit.survey, &mut session.air.log, &mut session.runs[0].second_file] {
            absolute(path)?;
        }
        session.check().map_err(of_flags)?;
        Ok(session)
    }

    /// The flags of the temperature rule stand among those of the rollers and belong to the loop where one is ridden.
    fn move_temperature_rule(&self, table: &mut Map<String, Value>) {
        if self.is("loop", "kind", "rollers") {
            return;
        }
        let Some(Value::Object(rollers)) = table.get_mut("rollers") else { return };
        let moved: Vec<(String, Value)> = ["temperature_coefficient_per_c", "reference_temperature_c"]
            .into_iter()
            .filter_map(|key| rollers.remove_entry(key))
            .collect();
        if let Value::Object(circuit) = table.entry("loop").or_insert_with(|| json!({})) {
            circuit.extend(moved);
        }
    }

    fn check_needed(&self) -> Result<(), Error> {
        let usage = |flag: &str, message: &str| Err(Error::Usage { flag: flag.into(), message: message.into() });
        if self.stated("rider_and_bike", "mass_kg").is_none() {
            return usage(
                "--mass-kg",
                "missing; a single ride needs the mass of rider, bicycle, kit and bottles as weighed, such as --mass-kg 86.4",
            );
        }
        if self.stated("run", "window_s").and_then(Value::as_array).is_some_and(|window| window.len() != 2) {
            return usage("--window-s", "needs two values, from and to, such as --window-s 900,1200");
        }
        let wind = ["speed_m_s", "from_deg"].map(|key| self.stated("wind", key).is_some());
        let is_given = self.is("wind", "mode", "given");
        if !is_given && wind.contains(&true) {
            return usage(
                "--wind",
                "a wind is stated but not asked for; add --wind given or remove its speed and direction",
            );
        }
        if is_given && self.stated("air", "log").is_none() && wind.contains(&false) {
            return usage("--wind", "\"given\" needs --wind-speed-m-s and --wind-from-deg, or a --log with both");
        }
        if self.is("loop", "kind", "track") && self.stated("loop", "length_m").is_none() {
            return usage("--length-m", "missing; --kind track needs the length of one lap along the measuring line");
        }
        Ok(())
    }

    fn is(&self, table: &str, key: &str, word: &str) -> bool {
        self.stated(table, key).is_some_and(|value| value == word)
    }
}

/// A path on the command line counts from where the person is, not from the folder of the ride.
fn absolute(path: &mut Option<String>) -> Result<(), Error> {
    if let Some(name) = path {
        if let Some(character) = odd_character(name) {
            return Err(Error::Unreadable {
                path: name.as_str().into(),
                reason: format!("its name holds {character}, a character that is not shown; rename it"),
            });
        }
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
        --length-sd-m 0.5 --level false --expected-m-s 1.5 --yaw none --speed-scale as-measured --uncertainty-pressure-hpa 2 --uncertainty-humidity-pct 6 --uncertainty-drivetrain-efficiency 0.01";

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

        assert_eq!(session.circuit.gate.map(|gate| (gate.lat_deg, gate.lon_deg)), Some((-1.0, 2.0)));
        let bearings = session.rider_and_bike.bearing_friction;
        assert_eq!((bearings.constant_n, bearings.linear_n_s_per_m), (0.1, 0.01));

        let command = Arguments::command();
        let solve_command = command.find_subcommand("solve").expect("solve");
        let given = solve.ride.given();
        for argument in solve_command.get_arguments() {
            let heading = argument.get_help_heading().unwrap_or_default();
            let flag = format!("--{}", argument.get_long().unwrap_or_default());
            // No track has a window.
            let is_told = flag == "--window-s" || given.contains(&flag);
            assert!(!heading.starts_with("One ride") || is_told, "{flag} is not among {given:?}");
        }
    }

    #[test]
    fn the_flags_keep_the_names_that_people_have_written_into_their_scripts() {
        let command = Arguments::command();
        let solve = command.find_subcommand("solve").expect("solve");
        let of_rides = |a: &&clap::Arg| a.get_help_heading().is_some_and(|heading| heading.starts_with("One ride"));
        let names = solve.get_arguments().filter(of_rides).filter_map(|a| a.get_long());
        let mut names: Vec<String> = names.map(|name| format!("--{name}")).collect();
        let mut known: Vec<String> =
            SOUND.split_whitespace().filter(|w| w.starts_with("--")).map(String::from).collect();
        known.push("--window-s".into());
        names.sort();
        known.sort();
        assert_eq!(names, known);
    }

    #[test]
    fn what_is_no_number_or_word_of_a_flag_is_refused() {
        let tried = |flag: &str, value: &str| Arguments::try_parse_from(["loopwright", "solve", "r.fit", flag, value]);
        for (flag, value, why) in [
            ("--mass-kg", "86,4", "write 86.4 with a point"),
            ("--lag", "soon", "neither a number nor \"estimate\""),
            ("--gusts", "some", "\"estimate\" or \"none\""),
            ("--kind", "moon", "possible values: road, track, rollers"),
            ("--laps", "mine", "possible values: auto, device"),
            ("--leave-out", "1.5", "invalid digit"),
            ("--seed", "-1", "seed"),
            ("--front-driven", "maybe", "true, false"),
            ("--gate-lat-deg", "1", "--gate-lon-deg"),
            ("--bearing-friction-constant-n", "1", "--bearing-friction-linear-n-s-per-m"),
        ] {
            let error = tried(flag, value).expect_err("refused").to_string();
            assert!(error.contains(why), "{flag} {value}: {error}");
        }
        for (flag, value) in [("--lag", "-0.5"), ("--lag", "estimate"), ("--gusts", "0.4"), ("--temperature-c", "-3")] {
            assert!(tried(flag, value).is_ok(), "{flag} {value}");
        }
    }
}
