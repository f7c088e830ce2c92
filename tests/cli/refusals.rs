//! Mistakes in a session, a file or a folder: each message names the place, the value, the limit and the next step.

use crate::program::Desk;
use crate::rides::{
    ONE_SPEED, TWO_SPEEDS, only_power, only_speed, other_kind, power_and_speed, round_road, session, standing_still,
};

/// A desk with four laps on the round road and a session that is sound but for one line.
fn desk(from: &str, to: &str) -> Desk {
    let sound = session("ride.csv", "");
    assert!(sound.contains(from), "«{from}» is not in the session");
    let desk = Desk::with("session.toml", sound.replacen(from, to, 1));
    desk.put("ride.csv", round_road(4.3, TWO_SPEEDS));
    desk
}

#[test]
fn a_mass_in_the_wrong_unit_is_refused_with_line_range_and_likely_slip() {
    for (mass, shown) in [("8.6", "8.6"), ("8600", "8600"), ("-85", "-85"), ("nan", "NaN")] {
        let desk = desk("mass_kg = 85.0", &format!("mass_kg = {mass}"));
        let value = format!("mass_kg = {shown} is outside 25 to 250");
        desk.refused(&["solve", "session.toml"], 2, &["session.toml:2", "rider_and_bike", &value, "in kg; not g"]);
    }
}

#[test]
fn a_pressure_in_the_wrong_unit_is_refused_with_the_units_it_may_have_been() {
    for pressure in ["100500", "1.005", "29.7", "754"] {
        let desk = desk("pressure_hpa = 1005.0", &format!("pressure_hpa = {pressure}"));
        if pressure == "754" {
            // 754 mmHg is a day at sea level and 754 hPa one at 2400 m: in range, and no place is known to doubt it.
            assert_eq!(desk.run(&["solve", "session.toml"]).status, 0);
            continue;
        }
        let value = format!("air.pressure_hpa = {pressure} is outside 500 to 1100");
        desk.refused(&["solve", "session.toml"], 2, &["session.toml:6", &value, "1 bar is 1000 hPa"]);
    }
}

#[test]
fn an_unknown_key_names_the_nearest_one_and_shows_the_line() {
    let words =
        ["session.toml:5", "unknown key «temprature_c»", "did you mean «temperature_c»?", "temprature_c = 18.0", "^^^"];
    desk("temperature_c", "temprature_c").refused(&["solve", "session.toml"], 2, &words);
    let words = ["session.toml:10", "«loops»", "did you mean «loop»?"];
    desk("\n[[setup]]", "\n[loops]\nkind = \"road\"\n[[setup]]").refused(&["solve", "session.toml"], 2, &words);
}

#[test]
fn a_wrong_type_or_a_missing_key_says_which_and_where() {
    let words = ["session.toml:2", "invalid type: string \"85\", expected a number without quotes", "mass_kg = \"85\""];
    desk("mass_kg = 85.0", "mass_kg = \"85\"").refused(&["solve", "session.toml"], 2, &words);
    desk("mass_kg = 85.0", "").refused(
        &["solve", "session.toml"],
        2,
        &["session.toml:1", "the key «mass_kg» is missing"],
    );
    desk("mass_kg = 85.0", "mass_kg = 85,0").refused(&["solve", "session.toml"], 2, &["session.toml:2", "85,0"]);
}

#[test]
fn a_set_up_without_runs_and_a_run_without_set_up_are_told_what_there_is() {
    let extra = desk("[[run]]", "[[setup]]\nid = \"latex\"\n\n[[run]]");
    let words = ["session.toml:14", "set-up «latex» has no run", "add a [[run]] with setup = \"latex\" or remove it"];
    extra.refused(&["solve", "session.toml"], 2, &words);
    let words = ["session.toml:15", "run 1 (ride.csv) names set-up «latex»", "there are: plain"];
    desk("setup = \"plain\"", "setup = \"latex\"").refused(&["solve", "session.toml"], 2, &words);
}

#[test]
fn a_missing_file_is_named_with_its_place() {
    let desk = desk("file = \"ride.csv\"", "file = \"rode.csv\"");
    let words = [
        "rode.csv: cannot be read",
        "session.toml:14 names it",
        "looked for in its folder",
        "did you mean «ride.csv»?",
    ];
    desk.refused(&["solve", "session.toml"], 1, &words);
    desk.refused(&["solve", "sesion.toml"], 1, &["sesion.toml: cannot be read"]);
    desk.refused(&["solve", "."], 1, &["cannot be read", "it is a folder"]);
}

#[test]
fn a_file_of_another_run_is_not_offered_for_one_that_is_missing() {
    let two = "file = \"ride.csv\"\nsetup = \"plain\"\n\n[[run]]\nfile = \"rode.csv\"";
    let desk = desk("file = \"ride.csv\"", two);
    let outcome = desk.refused(&["solve", "session.toml"], 1, &["rode.csv: cannot be read", "names it"]);
    assert!(!outcome.stderr.contains("did you mean"), "{}", outcome.stderr);
    desk.put("rode-2.csv", "time\n");
    desk.refused(&["solve", "session.toml"], 1, &["rode.csv: cannot be read", "did you mean «rode-2.csv»?"]);
}

#[test]
fn of_two_bad_files_the_first_in_the_session_is_told_of_whichever_fails_first() {
    let desk = desk("[[run]]", "[[run]]\nfile = \"long.csv\"\nsetup = \"plain\"\n\n[[run]]");
    // A long table that is found wrong late, beside a file that is not there at all.
    let mut table = "time_s,power_w,speed_m_s\n".to_string();
    (0..200_000).for_each(|second| table.push_str(&format!("{second},200,9\n")));
    table.push_str("end,200,9\n");
    desk.put("long.csv", table);
    std::fs::remove_file(desk.path("ride.csv")).expect("the ride is there");
    for _ in 0..5 {
        desk.refused(&["solve", "session.toml"], 1, &["long.csv"]);
    }
}

#[test]
fn a_path_does_not_leave_the_folder_of_the_session() {
    let words = ["../ride.csv", "may not leave the folder of the session", "absolute path"];
    desk("file = \"ride.csv\"", "file = \"../ride.csv\"").refused(&["solve", "session.toml"], 2, &words);
}

#[test]
fn a_file_that_is_no_ride_is_told_what_it_is_instead() {
    let cases: [(&str, Vec<u8>, &str); 6] = [
        ("course.fit", other_kind(6), "of type course, not an activity"),
        ("settings.fit", other_kind(2), "of type settings, not an activity"),
        ("empty.fit", Vec::new(), "it is empty"),
        ("photo.fit", vec![0x89, b'P', b'N', b'G', 0, 1, 2, 3], "neither FIT nor text"),
        ("ride.fit", b"<?xml version=\"1.0\"?><gpx/>".to_vec(), "it is XML"),
        ("ride.zip", b"PK\x03\x04rest".to_vec(), "compressed; unpack it first"),
    ];
    for (name, bytes, reason) in cases {
        let desk = Desk::with(name, bytes);
        desk.put("session.toml", session(name, ""));
        let words = [name, "not a ride file", reason, "give a FIT activity or a CSV with named columns"];
        desk.refused(&["solve", "session.toml"], 1, &words);
        desk.refused(&["solve", name, "--mass-kg", "85"], 1, &words);
    }
}

#[test]
fn a_ride_without_power_or_speed_says_which_sensor_to_pair() {
    let desk = Desk::with("p.fit", only_power());
    desk.put("s.fit", only_speed());
    desk.refused(
        &["solve", "p.fit", "--mass-kg", "85"],
        1,
        &["p.fit: no speed or distance in 600 records", "pair a wheel sensor", "loopwright inspect p.fit"],
    );
    desk.refused(
        &["solve", "s.fit", "--mass-kg", "85"],
        1,
        &["s.fit: no power in 600 records", "pair the power meter"],
    );
}

#[test]
fn a_ride_without_laps_says_what_would_show_them() {
    let desk = Desk::with("ride.fit", power_and_speed());
    let words = ["ride.fit: no whole lap found", "no positions, no regular lap marks", "lap button", "length_m"];
    desk.refused(&["solve", "ride.fit", "--mass-kg", "85"], 1, &words);
    desk.put("once.csv", round_road(0.8, ONE_SPEED));
    desk.refused(&["solve", "once.csv", "--mass-kg", "85"], 1, &["once.csv", "no place is passed twice"]);
}

#[test]
fn one_lap_is_too_few_and_says_how_many_are_needed() {
    let desk = Desk::with("ride.csv", round_road(1.9, ONE_SPEED));
    // A lap and nine tenths hold one whole lap.
    let words = ["1 usable lap over 1 run, at least 2 are needed", "ride more whole laps"];
    desk.refused(&["solve", "ride.csv", "--mass-kg", "85"], 1, &words);
}

#[test]
fn rollers_taken_for_a_road_are_recognised() {
    let desk = Desk::with("ride.fit", standing_still(900));
    desk.refused(
        &["solve", "ride.fit", "--mass-kg", "85", "--length-m", "3000"],
        1,
        &["stand still", "--kind rollers"],
    );
}

#[test]
fn a_folder_of_somebody_else_is_left_alone() {
    let desk = desk("", "");
    std::fs::create_dir(desk.path("thesis")).expect("a folder");
    desk.put("thesis/chapter-1.txt", "years of work");
    let words = ["thesis: it holds files but not loopwright-files.txt", "nothing there was touched", "--out"];
    desk.refused(&["solve", "session.toml", "--out", "thesis"], 2, &words);
    // Even where it looks like a result.
    desk.put("thesis/solution.json", "{}");
    desk.refused(&["solve", "session.toml", "--out", "thesis"], 2, &words);
    desk.refused(&["solve", "session.toml", "--out", "session.toml"], 2, &["session.toml"]);
    desk.refused(&["inspect", "ride.csv", "--figures", "thesis"], 2, &["--figures", "thesis"]);
    assert_eq!(desk.text("thesis/chapter-1.txt"), "years of work");
}

#[test]
fn errors_are_machine_readable_where_json_is_asked_for() {
    let desk = desk("mass_kg = 85.0", "mass_kg = 8.6");
    let cases: [(&[&str], &str); 4] = [
        (&["solve", "session.toml", "--format", "json"], "out-of-range"),
        (&["solve", "none.toml", "--format", "json"], "unreadable"),
        (&["solve", "ride.csv", "--format=json"], "usage"),
        (&["solve", "--format", "json", "--mass", "85"], "usage"),
    ];
    for (arguments, code) in cases {
        let outcome = desk.run(arguments);
        let error: serde_json::Value = serde_json::from_str(&outcome.stderr).expect("standard error is JSON");
        assert_eq!(error["error"]["code"], code, "{arguments:?}");
        assert!(error["error"]["message"].as_str().is_some_and(|m| !m.is_empty()), "{arguments:?}");
        assert_eq!(outcome.stdout, "");
    }
}

#[test]
fn every_command_tells_a_script_what_is_wrong_in_json_alone() {
    let desk = desk("mass_kg = 85.0", "mass_kg = 8.6");
    desk.put("plan.toml", "order = [\"a\"]\nlaps_per_runs = 4\n");
    let demand = ["demand", "--mass-kg", "8600", "--crr", "0.004", "--cda-m2", "0.3", "--speed-km-h", "40"];
    let cases: [(&[&str], &str, i32); 12] = [
        (&["solve", "session.toml"], "out-of-range", 2),
        (&["inspect", "none.fit"], "unreadable", 1),
        (&["inspect", "none.fit", "ride.csv", "session.toml"], "unreadable", 1),
        (&["plan", "plan.toml"], "syntax", 2),
        (&["plan", "none.toml"], "unreadable", 1),
        (&["rehearse", "plan.toml"], "syntax", 2),
        (&["scaffold", "nowhere"], "unreadable", 1),
        (&["pool", "none.json", "nothing.json"], "unreadable", 1),
        (&demand, "out-of-range", 2),
        (&["air", "--temperature-c", "200", "--elevation-m", "9"], "out-of-range", 2),
        (&["schema", "nonsense"], "usage", 2),
        (&["man", "ride.csv/man1"], "unwritable", 1),
    ];
    for (arguments, code, status) in cases {
        let outcome = desk.run(&[arguments, &["--format", "json"]].concat());
        let error: serde_json::Value = serde_json::from_str(&outcome.stderr)
            .unwrap_or_else(|e| panic!("{arguments:?}: standard error is not JSON ({e}): {}", outcome.stderr));
        assert_eq!(error["error"]["code"], code, "{arguments:?}: {error}");
        assert_eq!(outcome.status, status, "{arguments:?}: {error}");
    }
}

#[test]
fn a_plan_given_to_solve_and_a_session_given_to_plan_are_sent_where_they_belong() {
    let plan = "order = [\"a\"]\nlaps_per_run = 4\nspeeds_km_h = [29.0, 41.0]\n";
    let desk = Desk::with("day.toml", plan);
    desk.refused(&["solve", "day.toml"], 2, &["looks like a plan", "loopwright plan day.toml"]);
    let desk = Desk::with("session.toml", session("ride.csv", ""));
    for command in ["plan", "rehearse"] {
        desk.refused(&[command, "session.toml"], 2, &["looks like a session", "loopwright solve session.toml"]);
    }
}

#[test]
fn words_under_the_name_of_a_fit_file_are_no_table_with_a_missing_column() {
    let desk = Desk::with("ride.fit", "hello");
    desk.refused(
        &["solve", "ride.fit", "--mass-kg", "85"],
        1,
        &["not a ride file", "its name says FIT", "no", "header"],
    );
}

#[test]
fn more_runs_or_set_ups_than_the_limit_are_refused_before_a_ride_is_read() {
    let head =
        "[rider_and_bike]\nmass_kg = 85.0\n[air]\ntemperature_c = 18.0\npressure_hpa = 1000.0\nhumidity_pct = 60.0\n";
    let setups = |n: usize| (0..n).map(|i| format!("[[setup]]\nid = \"s{i}\"\n")).collect::<String>();
    let runs = |n: usize| (0..n).map(|i| format!("[[run]]\nfile = \"{i}.fit\"\nsetup = \"s0\"\n")).collect::<String>();
    let desk = Desk::with("runs.toml", format!("{head}{}{}", setups(1), runs(201)));
    desk.refused(&["solve", "runs.toml"], 2, &["runs.toml", "201 runs", "limit of 200", "part the day"]);
    desk.put("setups.toml", format!("{head}{}{}", setups(51), runs(1)));
    desk.refused(&["solve", "setups.toml"], 2, &["setups.toml", "51 set-ups", "limit of 50"]);
}
