//! Files of another kind than a command takes: each is told for what it is, with the command that takes it.

use crate::program::{Desk, sample};
use crate::rides::{TWO_SPEEDS, round_road, session};
use std::process::Stdio;
use std::time::{Duration, Instant};

const WEATHER: &str = "time,temperature_c,pressure_hpa,humidity_pct\n2026-06-01T08:00:00Z,18,978,60\n";
const SURVEY: &str = "distance_m,elevation_m\n0,1\n300,2\n600,3\n900,2\n";

/// A desk with one of everything.
fn desk() -> Desk {
    let desk = Desk::with("session.toml", session("ride.csv", ""));
    desk.put("ride.csv", round_road(4.3, TWO_SPEEDS));
    desk.put("run.fit", std::fs::read(sample("three-tyres/run-1.fit")).expect("a sample ride"));
    desk.put("plan.toml", std::fs::read(sample("three-tyres/plan.toml")).expect("a sample plan"));
    desk.put("weather.csv", WEATHER);
    desk.put("survey.csv", SURVEY);
    desk.answered(&["solve", "session.toml", "--draws", "0", "--out", "results"]);
    std::fs::create_dir(desk.path("rides")).expect("a folder");
    desk.put("rides/run-1.fit", "");
    desk
}

#[test]
fn every_command_says_where_a_file_of_another_kind_belongs() {
    let desk = desk();
    let cases: [(&[&str], i32, &[&str]); 25] = [
        (
            &["solve", "plan.toml"],
            2,
            &["looks like a plan", "loopwright plan plan.toml", "loopwright rehearse plan.toml"],
        ),
        (&["solve", "results/solution.json"], 2, &["looks like a result of solve", "report.html", "loopwright pool"]),
        (&["solve", "results/samples.csv"], 2, &["the samples of a result", "give the ride"]),
        (&["solve", "weather.csv"], 2, &["looks like a weather log", "log = \"weather.csv\" under [air]"]),
        (&["solve", "survey.csv"], 2, &["looks like a survey", "survey = \"survey.csv\" under [loop]"]),
        (&["solve", "results"], 1, &["it is a folder", "results are in it", "results/report.html"]),
        (&["solve", "rides"], 1, &["it is a folder", "such as rides/run-1.fit", "loopwright scaffold rides"]),
        (&["solve", "."], 1, &["it is a folder", "name the session: ./session.toml"]),
        (&["inspect", "session.toml"], 2, &["looks like a session", "loopwright solve session.toml"]),
        (&["inspect", "plan.toml"], 2, &["looks like a plan", "loopwright plan plan.toml"]),
        (&["inspect", "results/solution.json"], 2, &["looks like a result of solve"]),
        (&["inspect", "rides"], 1, &["it is a folder", "such as rides/run-1.fit"]),
        (&["inspect", "results"], 1, &["it is a folder", "results are in it"]),
        (&["inspect", "survey.csv"], 2, &["looks like a survey"]),
        (&["plan", "session.toml"], 2, &["looks like a session", "loopwright solve session.toml"]),
        (&["plan", "run.fit"], 2, &["looks like a ride", "loopwright inspect run.fit"]),
        (&["plan", "results/solution.json"], 2, &["looks like a result of solve"]),
        (&["plan", "."], 1, &["it is a folder", "name the plan: ./plan.toml"]),
        (&["rehearse", "weather.csv"], 2, &["looks like a weather log"]),
        (&["rehearse", "rides"], 1, &["it is a folder", "name a plan file"]),
        (
            &["pool", "session.toml", "results"],
            2,
            &["looks like a session", "solve it first: loopwright solve session.toml"],
        ),
        (&["pool", "run.fit", "results"], 2, &["looks like a ride", "solve it first"]),
        (&["pool", "plan.toml", "results"], 2, &["looks like a plan"]),
        (
            &["pool", "rides", "results"],
            1,
            &["it is a folder", "solution.json is not in it", "loopwright solve has written"],
        ),
        (&["scaffold", "session.toml"], 1, &["it is not a folder", "name the folder of the rides"]),
    ];
    for (arguments, status, words) in cases {
        let outcome = desk.refused(arguments, status, words);
        assert_eq!(outcome.stderr.trim_end().lines().count(), 1, "{arguments:?}: {}", outcome.stderr);
    }
}

#[test]
fn a_second_file_or_a_table_that_is_not_there_is_told_with_the_line_that_names_it() {
    let desk = desk();
    let with = |more: &str, from: &str, to: &str| {
        let text = session("ride.csv", more).replacen(from, to, 1);
        let names = ["wheels.fit", "wether.csv", "heights.csv"];
        let line = text.lines().position(|l| names.iter().any(|n| l.contains(n))).expect("a line names it") + 1;
        desk.put("wrong.toml", text);
        format!("wrong.toml:{line} names it")
    };
    let place = with("", "file = \"ride.csv\"", "file = \"ride.csv\"\nsecond_file = \"wheels.fit\"");
    desk.refused(&["solve", "wrong.toml"], 1, &["wheels.fit: cannot be read", &place]);
    let place = with("", "humidity_pct = 60.0", "log = \"wether.csv\"");
    let words = ["wether.csv: cannot be read", &place, "did you mean «weather.csv»?"];
    desk.refused(&["solve", "wrong.toml"], 1, &words);
    let place = with("[loop]\nsurvey = \"heights.csv\"\n", "", "");
    let outcome = desk.refused(&["solve", "wrong.toml"], 1, &["heights.csv: cannot be read", &place]);
    assert!(!outcome.stderr.contains("did you mean"), "{}", outcome.stderr);
}

#[test]
fn a_table_that_begins_with_its_numbers_is_told_that_it_lacks_its_heading() {
    let desk = desk();
    let headless = |text: &str| text.split_once('\n').expect("two lines").1.to_string();
    desk.put("bare.csv", headless(&round_road(1.3, TWO_SPEEDS)));
    let words = ["bare.csv:1", "names of the columns belong", "time_s,power_w"];
    desk.refused(&["solve", "bare.csv", "--mass-kg", "85"], 1, &words);
    desk.refused(&["inspect", "bare.csv"], 1, &words);
    desk.put("log.csv", headless(WEATHER));
    let log = ["solve", "ride.csv", "--mass-kg", "85", "--log", "log.csv"];
    desk.refused(
        &log,
        1,
        &["log.csv:1", "names of the columns belong", "time,temperature_c,pressure_hpa,humidity_pct"],
    );
    desk.put("heights.csv", headless(SURVEY));
    let survey = ["solve", "ride.csv", "--mass-kg", "85", "--survey", "heights.csv"];
    desk.refused(&survey, 1, &["heights.csv:1", "names of the columns belong", "distance_m,elevation_m"]);
}

#[test]
#[cfg(unix)]
fn a_pipe_is_refused_wherever_it_is_named_and_nothing_waits_for_it() {
    let desk = desk();
    let made = std::process::Command::new("mkfifo").arg(desk.path("pipe")).status();
    assert!(made.is_ok_and(|s| s.success()), "a pipe can be made");
    std::fs::copy(desk.path("session.toml"), desk.path("piped.toml")).expect("a copy");
    let session_with =
        |name: &str, from: &str, to: &str| desk.put(name, desk.text("session.toml").replacen(from, to, 1));
    session_with("as-ride.toml", "ride.csv", "pipe");
    session_with("as-second.toml", "\"ride.csv\"", "\"ride.csv\"\nsecond_file = \"pipe\"");
    session_with("as-log.toml", "humidity_pct = 60.0", "log = \"pipe\"");
    session_with("as-survey.toml", "[[setup]]", "[loop]\nsurvey = \"pipe\"\n[[setup]]");
    desk.put("as-shape.toml", desk.text("plan.toml").replacen("[loop]", "[loop]\nshape_file = \"pipe\"", 1));
    let cases: [&[&str]; 14] = [
        &["solve", "pipe", "--mass-kg", "85"],
        &["solve", "as-ride.toml"],
        &["solve", "as-second.toml"],
        &["solve", "as-log.toml"],
        &["solve", "as-survey.toml"],
        &["solve", "ride.csv", "--mass-kg", "85", "--log", "pipe"],
        &["solve", "ride.csv", "--mass-kg", "85", "--survey", "pipe"],
        &["solve", "ride.csv", "--mass-kg", "85", "--second-file", "pipe"],
        &["inspect", "pipe"],
        &["inspect", "ride.csv", "pipe"],
        &["plan", "pipe"],
        &["plan", "as-shape.toml"],
        &["rehearse", "pipe"],
        &["pool", "pipe", "results"],
    ];
    for arguments in cases {
        let mut child =
            desk.command(arguments).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().expect("it starts");
        let start = Instant::now();
        while child.try_wait().expect("its state").is_none() {
            if start.elapsed() > Duration::from_secs(60) {
                child.kill().expect("it can be ended");
                panic!("{arguments:?} waits for a pipe");
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        let output = child.wait_with_output().expect("it has ended");
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{arguments:?}: {told}");
        assert!(told.contains("pipe: cannot be read (it is a pipe or a device"), "{arguments:?}: {told}");
    }
    // A folder of rides with a pipe in it, and results in which a pipe bears the name of one of them.
    desk.answered(&["solve", "session.toml", "--draws", "0", "--out", "results"]);
    std::fs::remove_file(desk.path("results/laps.csv")).expect("it is there");
    std::fs::rename(desk.path("pipe"), desk.path("results/laps.csv")).expect("it can be moved");
    desk.refused(&["solve", "session.toml", "--draws", "0", "--out", "results"], 2, &["laps.csv: was changed"]);
}
