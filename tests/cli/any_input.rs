//! Whatever is typed or written, the program ends with status 0, 1 or 2 and never in a panic.

use crate::fit_bytes::{Section, ride};
use crate::program::Desk;
use crate::rides::{TWO_SPEEDS, round_road, session};
use proptest::prelude::*;

/// The number of cases is the usual one, or what `PROPTEST_CASES` says.
fn configured() -> ProptestConfig {
    ProptestConfig { failure_persistence: None, max_shrink_iters: 200, ..ProptestConfig::default() }
}

/// Values that have tripped programs before.
fn odd_value() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("nan"),
        Just("inf"),
        Just("-inf"),
        Just("-1"),
        Just("0"),
        Just("1e308"),
        Just("1e-308"),
        Just("85"),
        Just("1.2"),
        Just("18446744073709551616"),
        Just("\"\""),
        Just("\"road\""),
        Just("\"track\""),
        Just("\"rollers\""),
        Just("\"../x\""),
        Just("[1, 2]"),
        Just("[]"),
        Just("{}"),
        Just("true"),
        Just("\"estimate\""),
        Just("\"given\""),
        Just("1979-05-27"),
        Just("\"\\u0000\""),
        Just("💥"),
    ]
    .prop_map(String::from)
    .boxed()
    .prop_union("[ -~]{0,12}".prop_map(String::from).boxed())
}

/// A key of the session with its table.
fn key() -> impl Strategy<Value = [&'static str; 2]> {
    prop::sample::select(vec![
        ["rider_and_bike", "wheel_radius_m"],
        ["rider_and_bike", "drivetrain_efficiency"],
        ["uncertainty", "mass_kg"],
        ["uncertainty", "power_fraction"],
        ["loop", "kind"],
        ["loop", "length_m"],
        ["loop", "gate"],
        ["loop", "survey"],
        ["loop", "bend_radius_m"],
        ["air", "log"],
        ["air", "temperature_c"],
        ["wind", "mode"],
        ["wind", "speed_m_s"],
        ["wind", "mast_height_m"],
        ["solve", "cda"],
        ["solve", "lag"],
        ["solve", "confidence"],
        ["solve", "seed"],
        ["solve", "negligible_power_w"],
        ["solve", "gusts"],
        ["reference", "speed_km_h"],
        ["rollers", "drum_diameter_m"],
        ["rollers", "no_load_power_w_at_40_km_h"],
        ["run", "laps"],
        ["run", "leave_out"],
        ["run", "keep"],
        ["run", "planned_speed_km_h"],
        ["run", "on"],
        ["run", "window_s"],
        ["run", "second_file"],
        ["setup", "label"],
    ])
}

/// A sound session with some keys put in, overwritten or spoiled.
fn spoiled() -> impl Strategy<Value = String> {
    prop::collection::vec((key(), odd_value()), 0..4).prop_map(|changes| {
        let mut text = session("ride.csv", "[loop]\n[wind]\n[solve]\n[reference]\n[rollers]\n[uncertainty]\n");
        for ([table, key], value) in changes {
            for heading in [format!("[{table}]\n"), format!("[[{table}]]\n")] {
                text = text.replacen(&heading, &format!("{heading}{key} = {value}\n"), 1);
            }
        }
        text
    })
}

fn desk() -> Desk {
    Desk::with("ride.csv", round_road(3.3, TWO_SPEEDS))
}

/// Every flag that the help of a command names.
fn flags(command: &str) -> Vec<String> {
    let help = Desk::new().answered(&[command, "--help"]);
    let mut flags: Vec<String> = help
        .split(|c: char| !(c.is_ascii_alphanumeric() || c == '-'))
        .filter(|word| word.starts_with("--") && word.len() > 3 && !["--help", "--out", "--figures"].contains(word))
        .map(String::from)
        .collect();
    flags.sort();
    flags.dedup();
    flags
}

proptest! {
    #![proptest_config(configured())]

    #[test]
    fn a_spoiled_session_is_solved_or_refused(text in spoiled()) {
        let desk = desk();
        desk.put("session.toml", &text);
        desk.run(&["solve", "session.toml"]).assert_orderly();
    }

    #[test]
    fn any_text_as_a_session_is_refused(text in "(?s).{0,200}") {
        let desk = desk();
        desk.put("session.toml", &text);
        let outcome = desk.run(&["solve", "session.toml"]);
        outcome.assert_orderly();
        prop_assert_eq!(outcome.status, 2);
    }

    #[test]
    fn random_flags_are_answered_or_refused(
        command in prop::sample::select(vec!["solve", "inspect", "demand", "air"]),
        picks in prop::collection::vec((any::<prop::sample::Index>(), odd_value()), 0..6),
        has_mass in any::<bool>(),
    ) {
        let known = flags(command);
        let desk = desk();
        let mut arguments: Vec<String> = vec![command.into()];
        if matches!(command, "solve" | "inspect") {
            arguments.push("ride.csv".into());
        }
        if has_mass && command == "solve" {
            arguments.extend(["--mass-kg".into(), "85".into()]);
        }
        for (index, value) in &picks {
            // No argument of a process can hold a NUL.
            arguments.push(format!("{}={}", index.get(&known), value.replace('\0', "").trim_matches('"')));
        }
        let typed: Vec<&str> = arguments.iter().map(String::as_str).collect();
        desk.run(&typed).assert_orderly();
    }

    #[test]
    fn a_ride_with_changed_bytes_is_described_or_refused(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        kept in 0.2..1.0_f64,
    ) {
        let mut bytes = ride(Section::little_endian(), 240).file();
        for (index, byte) in &changes {
            let at = index.index(bytes.len());
            bytes[at] = *byte;
        }
        bytes.truncate((bytes.len() as f64 * kept) as usize);
        let desk = Desk::with("ride.fit", &bytes);
        desk.run(&["inspect", "ride.fit"]).assert_orderly();
        desk.run(&["inspect", "ride.fit", "--format", "json", "--length-m", "300"]).assert_orderly();
        desk.run(&["solve", "ride.fit", "--mass-kg", "85", "--length-m", "300"]).assert_orderly();
    }

    #[test]
    fn a_ride_anywhere_on_earth_and_at_any_size_is_described_or_refused(
        latitude in prop_oneof![Just(90.0), Just(-90.0), Just(0.0), -89.999..89.999_f64],
        longitude in prop_oneof![Just(180.0), Just(-180.0), Just(0.0), -180.0..180.0_f64],
        radius_deg in prop_oneof![Just(0.0), 1e-6..1e-4_f64, 1e-4..0.01_f64, 0.01..80.0_f64],
        period_s in 2.0..400.0_f64,
        speed in prop_oneof![Just(0.0), 0.1..30.0_f64, 30.0..300.0_f64],
        missing in prop::collection::vec(0..700_usize, 0..40),
        jump_at in 0..700_usize,
        jump_s in prop_oneof![Just(0.0), 1.0..100_000.0_f64],
    ) {
        let mut csv = String::from("time_s,power_w,speed_m_s,latitude_deg,longitude_deg,altitude_m,temperature_c\n");
        for i in 0..700 {
            let angle = i as f64 / period_s * std::f64::consts::TAU;
            let time = i as f64 + if i > jump_at { jump_s } else { 0.0 };
            let wave = speed * (1.0 + 0.1 * (0.5 * angle).sin());
            let (north, east) = (latitude + radius_deg * angle.cos(), longitude + radius_deg * angle.sin());
            let power = if missing.contains(&i) { String::new() } else { (150 + i % 40).to_string() };
            csv.push_str(&format!("{time},{power},{wave},{north},{east},{},{}\n", 100.0 * latitude, latitude));
        }
        let desk = Desk::with("ride.csv", &csv);
        desk.run(&["inspect", "ride.csv", "--figures", "look"]).assert_orderly();
        desk.run(&["solve", "ride.csv", "--mass-kg", "85"]).assert_orderly();
        desk.run(&["solve", "ride.csv", "--mass-kg", "85", "--kind", "rollers"]).assert_orderly();
        let track = ["solve", "ride.csv", "--mass-kg", "85", "--kind", "track", "--length-m", "250", "--bend-radius-m", "20"];
        desk.run(&track).assert_orderly();
    }

    #[test]
    fn a_table_with_odd_numbers_is_described_or_refused(
        rows in prop::collection::vec(prop::collection::vec(odd_value(), 5), 1..40),
    ) {
        let mut csv = String::from("time_s,power_w,speed_m_s,latitude_deg,longitude_deg\n");
        for (i, row) in rows.iter().enumerate() {
            let cells: Vec<String> = row.iter().map(|c| c.replace(['"', ',', '\n', '\r'], "")).collect();
            csv.push_str(&format!("{i},{}\n", cells[1..].join(",")));
        }
        let desk = Desk::with("ride.csv", &csv);
        desk.run(&["inspect", "ride.csv", "--length-m", "100"]).assert_orderly();
        desk.run(&["solve", "ride.csv", "--mass-kg", "85", "--length-m", "100"]).assert_orderly();
    }
}
