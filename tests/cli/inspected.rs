//! `inspect`: what a file holds, said plainly, as text and as JSON.

use crate::program::{Desk, sample};
use crate::rides::{
    ONE_SPEED, TWO_SPEEDS, only_power, only_speed, other_kind, power_and_speed, round_road, standing_still,
};
use serde_json::Value;

fn codes(held: &Value, list: &str) -> Vec<String> {
    held[list].as_array().expect("a list").iter().map(|o| o["code"].as_str().unwrap_or_default().to_string()).collect()
}

fn first(desk: &Desk, arguments: &[&str]) -> Value {
    desk.json(arguments)["files"][0].clone()
}

#[test]
fn laps_on_a_round_road_are_found_where_they_were_ridden() {
    let desk = Desk::with("ride.csv", round_road(6.4, TWO_SPEEDS));
    let held = first(&desk, &["inspect", "ride.csv"]);
    // The road is 2π · 200 m = 1256.6 m round and 6.4 laps hold six whole ones, or five where the gate lies late.
    let length = held["laps"]["length_m"].as_f64().expect("a length");
    assert!((length - 1256.6).abs() < 3.0, "{length}");
    let count = held["laps"]["count"].as_u64().expect("a count");
    assert!((5..=6).contains(&count), "{count}");
    assert_eq!(held["laps"]["found_by"], "positions");
    assert_eq!((&held["moves"], &held["solvable"]), (&Value::from(true), &Value::from(true)));
    // Mean speeds of 9.5 ± 1.5 · 2/π m/s: squares of 8.55 and 10.45, 73.1 and 109.2, half their difference over the mean
    // is 0.20; a gate somewhere else along the wave gives less.
    let spread = held["laps"]["spread"].as_f64().expect("a spread");
    assert!((0.1..0.25).contains(&spread), "{spread}");
    assert!(!codes(&held, "obstacles").contains(&"one-speed".to_string()));
}

#[test]
fn laps_at_one_speed_are_told_not_to_separate_anything() {
    let desk = Desk::with("ride.csv", round_road(6.4, ONE_SPEED));
    let held = first(&desk, &["inspect", "ride.csv"]);
    assert!(codes(&held, "obstacles").contains(&"one-speed".to_string()), "{held}");
    let text = desk.answered(&["inspect", "ride.csv"]);
    assert!(text.contains("36.0 to 36.0 km/h") && text.contains("two clearly different speeds"), "{text}");
}

#[test]
fn what_is_missing_is_an_obstacle_with_a_remedy() {
    let desk = Desk::with("p.fit", only_power());
    desk.put("s.fit", only_speed());
    desk.put("ps.fit", power_and_speed());
    for (file, expected) in [("p.fit", "no-speed"), ("s.fit", "no-power"), ("ps.fit", "no-laps")] {
        let held = first(&desk, &["inspect", file]);
        assert_eq!(held["solvable"], false, "{file}");
        assert!(codes(&held, "obstacles").contains(&expected.to_string()), "{file}: {held}");
        for obstacle in held["obstacles"].as_array().expect("a list") {
            assert!(obstacle["remedy"].as_str().is_some_and(|r| r.len() > 10), "{obstacle}");
        }
    }
}

#[test]
fn a_stated_length_cuts_laps_by_distance() {
    let desk = Desk::with("ride.fit", power_and_speed());
    // 600 s at 10.04 m/s are 6.0 km: four laps of 1400 m.
    let held = first(&desk, &["inspect", "ride.fit", "--length-m", "1400"]);
    assert_eq!((&held["laps"]["found_by"], &held["laps"]["count"]), (&Value::from("distance"), &Value::from(4)));
    desk.refused(
        &["inspect", "ride.fit", "--length-m", "1.4"],
        2,
        &["--length-m = 1.4 is outside 80 to 200000", "not km"],
    );
}

#[test]
fn a_ride_on_the_spot_is_recognised_and_tried_as_rollers() {
    let desk = Desk::with("long.fit", standing_still(1800));
    desk.put("short.fit", standing_still(100));
    let long = first(&desk, &["inspect", "long.fit"]);
    assert_eq!((&long["moves"], &long["solvable"]), (&Value::from(false), &Value::from(true)), "{long}");
    let short = first(&desk, &["inspect", "short.fit"]);
    assert!(codes(&short, "obstacles").contains(&"no-steady-window".to_string()), "{short}");
}

#[test]
fn one_unreadable_file_does_not_hide_the_others() {
    let desk = Desk::with("ride.csv", round_road(3.2, TWO_SPEEDS));
    desk.put("course.fit", other_kind(6));
    let outcome = desk.run(&["inspect", "course.fit", "ride.csv", "none.fit"]);
    assert_eq!(outcome.status, 1);
    assert!(outcome.stdout.contains("ride.csv") && outcome.stdout.contains("Channels"), "{outcome:?}");
    assert!(
        outcome.stderr.contains("of type course") && outcome.stderr.contains("none.fit: cannot be read"),
        "{outcome:?}"
    );
    let json = desk.run(&["inspect", "course.fit", "ride.csv", "none.fit", "--format", "json"]);
    let value: Value = serde_json::from_str(&json.stdout).expect("JSON");
    assert_eq!((json.status, value["files"].as_array().map(Vec::len)), (1, Some(1)));
    let unreadable: Vec<&str> =
        value["unreadable"].as_array().expect("a list").iter().filter_map(|u| u["code"].as_str()).collect();
    assert_eq!(unreadable, ["not-a-ride", "unreadable"]);
}

#[test]
fn no_line_is_wider_than_the_terminal() {
    let desk = Desk::with("ride.csv", round_road(5.2, TWO_SPEEDS));
    for columns in [40, 60, 80, 100] {
        let mut command = desk.command(&["inspect", "ride.csv"]);
        let output = command.env("COLUMNS", columns.to_string()).output().expect("the program starts");
        for line in String::from_utf8_lossy(&output.stdout).lines() {
            assert!(line.chars().count() <= columns, "{columns}: {line}");
        }
    }
}

#[test]
fn figures_go_to_a_folder_of_their_own() {
    let desk = Desk::with("ride.csv", round_road(4.2, TWO_SPEEDS));
    std::fs::create_dir(desk.path("other")).expect("a folder");
    desk.put("other/ride.csv", round_road(4.2, TWO_SPEEDS));
    for _ in 0..2 {
        desk.answered(&["inspect", "ride.csv", "other/ride.csv", "--figures", "look"]);
    }
    let names: Vec<String> = std::fs::read_dir(desk.path("look"))
        .expect("the folder")
        .flatten()
        .map(|e| e.file_name().to_string_lossy().into_owned())
        .collect();
    for name in ["ride-timeline.svg", "ride-map.svg", "ride-2-timeline.svg", "ride-2-map.svg"] {
        assert!(names.contains(&name.to_string()), "{names:?}");
        assert!(desk.text(&format!("look/{name}")).starts_with("<svg"));
    }
}

#[test]
fn a_sample_ride_has_nothing_that_prevents_a_solution() {
    let ride = sample("three-tyres/run-1.fit");
    let held = first(&Desk::new(), &["inspect", &ride.to_string_lossy()]);
    // The plan beside it: a loop of 1240 m, eight laps at 29 and 41 km/h in turn.
    assert_eq!((&held["solvable"], &held["laps"]["count"]), (&Value::from(true), &Value::from(8)));
    let length = held["laps"]["length_m"].as_f64().expect("a length");
    assert!((length / 1240.0 - 1.0).abs() < 0.02, "{length}");
}
