//! One ride solved by flags: the same answer as by a session, and the same care.

use crate::program::{Desk, sample};
use crate::rides::{TWO_SPEEDS, round_road};
use serde_json::Value;

/// The first ride of the sample test with three tyres and what its session says of it.
fn desk() -> Desk {
    let ride = std::fs::read(sample("three-tyres/run-1.fit")).expect("a sample ride");
    let desk = Desk::with("run-1.fit", ride);
    desk.put(
        "session.toml",
        "[rider_and_bike]\nmass_kg = 86.0\n[loop]\nkind = \"road\"\n[air]\ntemperature_c = 19.0\npressure_hpa = 1008.0\n\
         humidity_pct = 70.0\n[uncertainty]\nmass_kg = 0.4\n[solve]\nconfidence = 0.9\n[reference]\nspeed_km_h = 35.0\n\
         [[setup]]\nid = \"run-1\"\n[[run]]\nfile = \"run-1.fit\"\nsetup = \"run-1\"\nleave_out = [2]\n\
         planned_speed_km_h = [29.0, 41.0]\n",
    );
    desk
}

const FLAGS: [&str; 18] = [
    "--mass-kg",
    "86",
    "--kind",
    "road",
    "--temperature-c",
    "19",
    "--pressure-hpa",
    "1008",
    "--humidity-pct",
    "70",
    "--uncertainty-mass-kg",
    "0.4",
    "--confidence",
    "0.9",
    "--reference-speed-km-h",
    "35",
    "--leave-out",
    "2",
];

#[test]
fn flags_give_the_files_that_a_session_gives_byte_by_byte() {
    let desk = desk();
    desk.answered(&["solve", "session.toml"]);
    let mut arguments = vec!["solve", "run-1.fit", "--planned-speed-km-h", "29,41"];
    arguments.extend(FLAGS);
    desk.answered(&arguments);
    for file in ["solution.json", "laps.csv", "setups.csv", "samples.csv"] {
        let (by_flags, by_session) =
            (desk.text(&format!("run-1-results/{file}")), desk.text(&format!("session-results/{file}")));
        assert!(!by_flags.is_empty());
        assert_eq!(by_flags, by_session, "{file}");
    }
}

#[test]
fn standard_output_is_the_solution_that_is_written() {
    let desk = desk();
    let mut arguments = vec!["solve", "run-1.fit", "--out", "here"];
    arguments.extend(FLAGS);
    let printed: Value = desk.json(&arguments);
    let written: Value = serde_json::from_str(&desk.text("here/solution.json")).expect("JSON");
    assert_eq!(printed, written);
    assert_eq!((&printed["runs"][0]["mass_kg"], &printed["confidence"]), (&Value::from(86.0), &Value::from(0.9)));
}

#[test]
fn a_second_run_replaces_the_results_of_the_first() {
    let desk = desk();
    desk.answered(&["solve", "run-1.fit", "--mass-kg", "86"]);
    let before = desk.listing();
    desk.answered(&["solve", "run-1.fit", "--mass-kg", "86"]);
    assert_eq!(desk.listing(), before);
}

#[test]
fn a_ride_without_its_mass_is_refused_and_told_what_to_weigh() {
    let words = ["--mass-kg: missing", "rider, bicycle, kit and bottles", "--mass-kg 86.4"];
    desk().refused(&["solve", "run-1.fit"], 2, &words);
}

#[test]
fn values_out_of_range_are_told_under_the_name_of_the_flag() {
    let desk = desk();
    let cases: [(&[&str], &str); 12] = [
        (&["--mass-kg", "8.6"], "--mass-kg = 8.6 is outside 25 to 250"),
        (&["--mass-kg", "86400"], "--mass-kg = 86400 is outside 25 to 250"),
        (&["--pressure-hpa", "100800"], "--pressure-hpa = 100800 is outside 500 to 1100"),
        (&["--temperature-c", "-40"], "--temperature-c = -40 is outside -30 to 55"),
        (&["--gate-lat-deg", "95", "--gate-lon-deg", "0"], "--gate-lat-deg = 95 is outside -90 to 90"),
        (&["--uncertainty-power-fraction", "1"], "--uncertainty-power-fraction = 1 is outside 0 to 0.5"),
        (&["--reference-mass-kg", "8"], "--reference-mass-kg = 8 is outside 25 to 250"),
        (&["--wind", "given", "--wind-speed-m-s", "30", "--wind-from-deg", "1"], "--wind-speed-m-s = 30 is outside"),
        (&["--lag", "-9"], "--lag = -9 is outside -3 to 3"),
        (&["--confidence", "95"], "--confidence = 95 is outside 0.5 to 0.999"),
        (&["--drum-diameter-m", "110"], "--drum-diameter-m = 110 is outside"),
        (&["--planned-speed-km-h", "29,410"], "--planned-speed-km-h = 410 is outside 5 to 120"),
    ];
    for (flags, words) in cases {
        let mut arguments = vec!["solve", "run-1.fit"];
        if flags[0] != "--mass-kg" {
            arguments.extend(["--mass-kg", "86"]);
        }
        arguments.extend(flags);
        desk.refused(&arguments, 2, &["command line: ", words]);
    }
}

#[test]
fn flags_that_do_not_fit_together_say_which_one_is_missing() {
    let desk = desk();
    let cases: [(&[&str], &[&str]); 5] = [
        (&["--wind-speed-m-s", "2"], &["--wind", "add --wind given"]),
        (&["--wind", "given"], &["--wind-speed-m-s", "--wind-from-deg"]),
        (&["--kind", "track"], &["--length-m: missing"]),
        (&["--gate-lat-deg", "1"], &["--gate-lon-deg"]),
        (&["--mass-kg", "86,4"], &["write 86.4 with a point"]),
    ];
    for (flags, words) in cases {
        let mut arguments = vec!["solve", "run-1.fit"];
        if flags[0] != "--mass-kg" {
            arguments.extend(["--mass-kg", "86"]);
        }
        arguments.extend(flags);
        desk.refused(&arguments, 2, words);
    }
}

#[test]
fn a_session_does_not_take_the_flags_of_a_ride() {
    let words = ["--wind-from-deg: a session file states this itself", "session.toml"];
    desk().refused(&["solve", "session.toml", "--wind-from-deg", "240"], 2, &words);
    desk().refused(&["solve", "session.toml", "--mass-kg", "86"], 2, &["--mass-kg: a session file states this itself"]);
}

#[test]
fn a_session_is_known_by_its_content_where_the_name_does_not_tell() {
    let desk = desk();
    desk.put("day", desk.text("session.toml"));
    desk.put("ride", std::fs::read(desk.path("run-1.fit")).expect("a ride"));
    desk.answered(&["solve", "day"]);
    desk.answered(&["solve", "ride", "--mass-kg", "86"]);
    assert!(desk.path("day-results/solution.json").exists() && desk.path("ride-results/solution.json").exists());
}

#[test]
fn files_named_by_flags_count_from_where_the_person_is() {
    let desk = Desk::new();
    std::fs::create_dir(desk.path("rides")).expect("a folder");
    desk.put("rides/ride.csv", round_road(6.3, TWO_SPEEDS));
    let refused = desk.refused(
        &["solve", "rides/ride.csv", "--mass-kg", "85", "--log", "weather.csv"],
        1,
        &["weather.csv: cannot be read"],
    );
    assert!(!refused.stderr.contains("rides/weather.csv"), "{}", refused.stderr);
    desk.answered(&["solve", "rides/ride.csv", "--mass-kg", "85"]);
    assert!(desk.path("rides/ride-results/report.html").exists());
}

#[test]
fn laps_are_drawn_again_as_often_as_asked_and_the_terminal_says_so_in_a_line() {
    let desk = desk();
    let solve = |more: &[&str]| {
        let mut arguments = vec!["solve", "session.toml", "--out", "here"];
        arguments.extend(more);
        desk.json(&arguments)
    };
    let (usual, few, none) = (solve(&[]), solve(&["--draws", "50"]), solve(&["--draws", "0"]));
    assert_eq!((&usual["bootstrap"]["draws"], &usual["bootstrap"]["seed"]), (&Value::from(400), &Value::from(1)));
    assert_eq!(few["bootstrap"]["draws"], 50);
    assert!(none["bootstrap"].is_null());
    assert_eq!((&usual["setups"], &usual["contrasts"]), (&none["setups"], &none["contrasts"]));
    let text = desk
        .answered(&["solve", "session.toml", "--full", "--draws", "50"])
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    assert!(text.contains("bootstrap over laps (50 draws, seed 1)"), "{text}");
    assert!(desk.text("session-results/methods.txt").contains("Bootstrap over laps: of the n laps"));
    desk.refused(&["solve", "session.toml", "--draws", "1000000"], 2, &["--draws"]);
}

#[test]
fn tyres_at_another_temperature_than_the_reference_are_brought_to_it_by_flags_too() {
    let desk = desk();
    let crr = |more: &[&str]| {
        let mut arguments = vec!["solve", "run-1.fit", "--draws", "0"];
        arguments.extend(FLAGS);
        arguments.extend(more);
        desk.json(&arguments)["setups"][0]["crr"]["value"].as_f64().expect("known")
    };
    let plain = crr(&[]);
    let warm = crr(&["--temperature-coefficient-per-c", "0.01", "--tyre-temperature-c", "30"]);
    // One run at 30 °C for 20 °C: all of D shrinks by 1.1, so that Crr grows by it (arithmetic); what is expected of Crr, 40 %
    // about 0.0045, pulls a single ride of seven laps back by some of a hundredth.
    assert!((warm / plain - 1.1).abs() < 0.015, "{plain} {warm}");
    let mut far = vec!["solve", "run-1.fit"];
    far.extend(FLAGS);
    far.extend(["--temperature-coefficient-per-c", "0.05", "--tyre-temperature-c", "70"]);
    desk.refused(&far, 2, &["run-1.fit", "linear rule makes sense", "tyre_temperature_c"]);
}
