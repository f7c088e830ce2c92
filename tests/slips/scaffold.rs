//! The session that is proposed: what can be known, the one question, and no two bicycles in one run.

use crate::day::{drums, tyre_files, tyres};
use crate::program::Desk;
use loopwright::analysis::scaffold::{Beside, Differs, Proposal, scaffold};
use loopwright::record::Recording;
use loopwright::session::{Session, Sharing};

fn proposed(rides: &[Recording], differs: Option<Differs>) -> Proposal {
    scaffold("A day", rides, &Beside::default(), differs)
}

fn named(mut rides: Vec<Recording>, names: &[&str]) -> Vec<Recording> {
    for (k, (ride, name)) in rides.iter_mut().zip(names).enumerate() {
        ride.provenance.file = name.to_string();
        ride.provenance.sha256 = format!("{k}");
    }
    rides
}

const NAMES: [&str; 6] = ["a-1.fit", "b-1.fit", "c-1.fit", "c-2.fit", "b-2.fit", "a-2.fit"];

/// The text with its blanks filled in.
fn session(text: &str) -> Session {
    let filled =
        text.replace("mass_kg = 0.0", "mass_kg = 86.0").replace("drum_diameter_m = 0.0", "drum_diameter_m = 0.11");
    Session::from_toml(&filled, "session.toml").unwrap_or_else(|e| panic!("{e}\n{text}"))
}

#[test]
fn names_order_and_speeds_are_written_and_only_the_mass_is_left_to_state() {
    let rides = named(tyres(80).recordings, &NAMES);
    let proposal = proposed(&rides, Some(Differs::Tyres));
    assert_eq!(proposal.setups, ["a", "b", "c"]);
    let session = session(&proposal.text);
    let order: Vec<&str> = session.runs.iter().map(|r| r.setup.as_str()).collect();
    assert_eq!(order, ["a", "b", "c", "c", "b", "a"]);
    assert_eq!((session.solve.cda, session.solve.crr), (Sharing::Common, Sharing::PerSetup));
    for run in &session.runs {
        let planned = &run.planned_speed_km_h;
        assert!(planned.len() == 2 && (planned[0] - planned[1]).abs() > 8.0, "{planned:?}");
    }
    assert!(
        Session::from_toml(&proposal.text, "s").expect_err("a blank").to_string().contains("mass_kg is not filled in")
    );
}

#[test]
fn what_differs_decides_what_is_shared_and_is_a_marked_blank_when_not_told() {
    let rides = named(tyres(81).recordings, &NAMES);
    let shared = |differs| {
        let s = session(&proposed(&rides, Some(differs)).text).solve;
        (s.cda, s.crr)
    };
    let (common, own) = (Sharing::Common, Sharing::PerSetup);
    assert_eq!(shared(Differs::Tyres), (common, own));
    assert_eq!(shared(Differs::Position), (own, common));
    assert_eq!((shared(Differs::Wheels), shared(Differs::Several)), ((own, own), (own, own)));
    let blank = proposed(&rides, None).text.replace("mass_kg = 0.0", "mass_kg = 86.0");
    let refused = Session::from_toml(&blank, "s").expect_err("a blank").to_string();
    assert!(refused.contains("FILL IN") && refused.contains("cda"), "{refused}");
}

#[test]
fn two_files_with_power_of_one_time_stay_two_runs_and_one_without_power_lends_its_channels() {
    let day = tyres(82).recordings;
    let mut other = drums(82).recordings[0].clone();
    let shift = day[0].time_s[0] - other.time_s[0];
    other.time_s.iter_mut().for_each(|t| *t += shift);
    let both = named(vec![day[0].clone(), other.clone()], &["road-a.fit", "rollers-b.fit"]);
    let apart = proposed(&both, Some(Differs::Tyres));
    assert_eq!(apart.runs, 2);
    assert!(!apart.text.contains("second_file =") && apart.text.contains("both have power"), "{}", apart.text);
    let mut lender = day[0].clone();
    lender.power_w.iter_mut().for_each(|p| *p = f64::NAN);
    let joined = proposed(&named(vec![day[0].clone(), lender], &["a-1.fit", "wheel.fit"]), Some(Differs::Tyres));
    assert_eq!(joined.runs, 1);
    assert!(joined.text.contains("second_file = \"wheel.fit\""), "{}", joined.text);
}

#[test]
fn rollers_beside_a_loop_are_said_in_their_runs() {
    let (road, rollers) = (tyres(83).recordings, drums(83).recordings);
    let mut rides: Vec<Recording> = road.into_iter().take(2).chain(rollers).collect();
    rides.iter_mut().enumerate().for_each(|(k, r)| {
        let by = 1.9e9 + 4000.0 * k as f64 - r.time_s[0];
        r.time_s.iter_mut().for_each(|t| *t += by);
        r.lap_marks_s.iter_mut().for_each(|t| *t += by);
    });
    let names = ["a-1.fit", "b-1.fit", "rollers-a-1.fit", "rollers-b-1.fit", "rollers-b-2.fit", "rollers-a-2.fit"];
    rides.iter_mut().take(2).for_each(|r| r.temperature_c.fill(12.0));
    rides.iter_mut().skip(2).for_each(|r| r.temperature_c.fill(24.0));
    let text = proposed(&named(rides, &names), Some(Differs::Tyres)).text;
    // The air of the road is not that of the room, and the drums are a blank like the mass.
    assert!(text.contains("# temperature_c = 12.0") && text.contains("# air = { temperature_c = 24.0 }"), "{text}");
    let refused = Session::from_toml(&text, "s").expect_err("two blanks").to_string();
    assert!(refused.contains("mass_kg is not filled in") && refused.contains("is blank too"), "{refused}");
    let session = session(&text);
    let on: Vec<String> = session.runs.iter().map(|r| format!("{:?}", session.venue_of(r))).collect();
    assert_eq!(on, ["Road", "Road", "Rollers", "Rollers", "Rollers", "Rollers"]);
    assert_eq!(session.setups.len(), 2);
}

#[test]
fn the_command_writes_a_session_that_solves_once_the_mass_is_in() {
    let desk = Desk::new();
    std::fs::create_dir(desk.path("rides")).expect("a folder");
    for (file, name) in tyre_files(84).iter().filter(|f| f.name.ends_with(".fit")).zip(NAMES) {
        desk.put(&format!("rides/{name}"), &file.bytes);
        if name == "a-1.fit" {
            desk.put("rides/a-1 copy.fit", &file.bytes);
        }
    }
    let outcome = desk.run(&["scaffold", "rides", "--differs", "tyres"]);
    assert_eq!(outcome.status, 0, "{outcome:?}");
    assert!(outcome.stderr.contains("the same file as"), "{outcome:?}");
    let text = desk.text("rides/session.toml").replace("mass_kg = 0.0", "mass_kg = 86.0");
    desk.put("rides/session.toml", text);
    let solution = desk.json(&["solve", "rides/session.toml"]);
    assert_eq!(solution["runs"].as_array().map(Vec::len), Some(6), "{solution}");
    assert!(solution["setups"][0]["crr"]["value"].as_f64().is_some());
}

#[test]
fn a_second_file_with_the_power_of_another_bicycle_is_refused_with_both_means() {
    let desk = Desk::new();
    let csv = |watts: f64| {
        let rows: String =
            (0..120).map(|i| format!("{},{},10\n", 1_780_000_000 + i, watts + f64::from(i % 7))).collect();
        format!("time,power_w,speed_m_s\n{rows}")
    };
    desk.put("a.csv", csv(250.0));
    desk.put("b.csv", csv(180.0));
    let solve = ["solve", "a.csv", "--mass-kg", "86", "--second-file", "b.csv", "--length-m", "250"];
    desk.refused(&solve, 1, &["253 W on average", "183 W", "second_file", "[[run]]"]);
}
