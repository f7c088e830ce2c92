//! Rides of other kinds: virtual, indoors, with a motor, outdoors called rollers.

use crate::day::{codes, drums, given, solve, solved, told, tyres, tyres_on_a_track, warns_first};
use crate::fit_bytes::{Raw, START, Section, base};
use loopwright::finding::{RiddenAs, Slip, What};
use loopwright::record::decode_fit;
use loopwright::session::{Session, Venue};

/// Ten seconds of a file that says how it was ridden.
fn file(sport: u8, sub_sport: u8, motor_w: u16) -> Vec<u8> {
    let mut section = Section::little_endian();
    section.file_id(4);
    section.define(1, 12, &[[0, 1, base::ENUM], [1, 1, base::ENUM]], &[]);
    section.data(1, &[Raw::U8(sport), Raw::U8(sub_sport)]);
    section.define(2, 20, &[[253, 4, base::UINT32], [7, 2, base::UINT16], [82, 2, base::UINT16]], &[]);
    for i in 0..10 {
        section.data(2, &[Raw::U32(START + i), Raw::U16(200), Raw::U16(motor_w)]);
    }
    section.file()
}

#[test]
fn a_file_says_that_it_is_virtual_indoors_or_has_a_motor() {
    let said = |sport: u8, sub_sport: u8, motor_w: u16| {
        decode_fit(&file(sport, sub_sport, motor_w), "a.fit").expect("a ride").findings
    };
    let is = |how| vec![What::Slip(Slip::RiddenAs(how))];
    // Codes of the FIT profile 21.218.
    assert_eq!(said(2, 7, 0), []);
    assert_eq!(said(2, 58, 0), is(RiddenAs::Virtual));
    assert_eq!(said(2, 6, 0), is(RiddenAs::Indoor));
    assert_eq!(said(21, 28, 0), is(RiddenAs::EBike));
    assert_eq!(said(2, 0, 120), is(RiddenAs::EBike));
}

#[test]
fn virtual_rides_and_motors_are_refused_by_name() {
    for (how, word) in [(RiddenAs::Virtual, "virtual ride"), (RiddenAs::EBike, "motor")] {
        let mut day = tyres(70);
        day.recordings[4].findings.push(What::Slip(Slip::RiddenAs(how)));
        let refused = solve(&day).expect_err(word).to_string();
        assert!(refused.contains("run-5.fit") && refused.contains(word), "{refused}");
    }
}

#[test]
fn a_ride_that_says_indoors_is_told_on_a_road_and_right_on_rollers() {
    let indoors = What::Slip(Slip::RiddenAs(RiddenAs::Indoor));
    let mut outside = tyres(71);
    outside.recordings[0].findings.push(indoors.clone());
    assert_eq!(told(&solved(&outside), "ridden-indoors").len(), 1);
    let mut inside = drums(71);
    inside.recordings[0].findings.push(indoors);
    assert!(told(&solved(&inside), "ridden-indoors").is_empty());
}

#[test]
fn an_outdoor_ride_called_rollers_is_refused() {
    let mut day = tyres(72);
    day.session.runs[1].on = Some(Venue::Rollers);
    let refused = solve(&day).expect_err("positions move").to_string();
    assert!(refused.contains("run-2.fit") && refused.contains("positions move"), "{refused}");
}

#[test]
fn an_altitude_that_never_changes_is_told() {
    let mut day = tyres(73);
    assert!(told(&solved(&day), "altitude-constant").is_empty());
    day.recordings[2].altitude_m.iter_mut().for_each(|z| *z = 40.0);
    let solution = solved(&day);
    assert_eq!(told(&solution, "altitude-constant").len(), 1, "{:?}", codes(&solution));
}

#[test]
fn a_track_that_is_called_a_road_gives_the_same_with_positions_and_is_told_without() {
    let mut day = tyres_on_a_track(74);
    let as_track = solved(&day);
    let circuit = &mut day.session.circuit;
    (circuit.kind, circuit.bend_radius_m, circuit.transition_m) = (Venue::Road, None, None);
    let as_road = solved(&day);
    for setup in 0..3 {
        let (track, road) = (given(&as_track, setup), given(&as_road, setup));
        let (crr, cda) = ((road.crr - track.crr) / track.crr_se, (road.cda_m2 - track.cda_m2) / track.cda_se);
        assert!(crr.abs() < 0.05 && cda.abs() < 0.05, "{crr} {cda}");
    }
    for recording in &mut day.recordings {
        recording.latitude_deg.fill(f64::NAN);
        recording.longitude_deg.fill(f64::NAN);
    }
    match solve(&day) {
        Ok(solution) => assert_eq!(told(&solution, "bends-unknown").len(), 1, "{:?}", codes(&solution)),
        Err(refused) => panic!("{refused}"),
    }
}

#[test]
fn where_no_set_up_was_ridden_twice_it_is_said_what_cannot_be_checked() {
    let mut once = drums(75);
    once.session.runs.truncate(2);
    once.recordings.truncate(2);
    (once.session.runs[0].setup, once.session.runs[1].setup) = ("b".into(), "a".into());
    let solution = solved(&once);
    assert!(told(&solution, "setups-swapped").is_empty());
    let said = told(&solution, "no-repeats");
    assert!(said.len() == 1 && said[0].message.contains("files of two set-ups that were exchanged"), "{said:?}");
}

#[test]
fn a_radius_for_the_diameter_of_the_drums_is_told_before_the_verdict() {
    for (share, odd) in [(1.0, false), (0.5, true), (std::f64::consts::PI, false)] {
        let mut day = drums(76);
        day.session.rollers.drum_diameter_m = 0.111 * share;
        let solution = solved(&day);
        assert_eq!(told(&solution, "drums-odd").len(), usize::from(odd), "{share}: {:?}", codes(&solution));
        assert_eq!(warns_first(&solution), odd, "{share}");
    }
}

#[test]
fn watts_at_a_speed_that_nobody_rode_are_told_with_what_it_may_be() {
    let mut day = tyres(77);
    assert!(told(&solved(&day), "reference-not-ridden").is_empty());
    // 11.1 m/s are 40 km/h.
    for (speed_km_h, hint) in [(11.1, true), (70.0, false)] {
        day.session.reference.speed_km_h = speed_km_h;
        let solution = solved(&day);
        let said = told(&solution, "reference-not-ridden");
        assert_eq!(said.len(), 1, "{:?}", codes(&solution));
        assert_eq!(said[0].message.contains("11.1 m/s would be 40 km/h"), hint, "{}", said[0].message);
    }
}

#[test]
fn a_session_that_leaves_nothing_to_differ_is_refused() {
    let text = "rider_and_bike.mass_kg = 86.0\nsolve.cda = \"common\"\nsolve.crr = \"common\"\n[[setup]]\nid = \"a\"\n\
                [[setup]]\nid = \"b\"\n[[run]]\nfile = \"1.fit\"\nsetup = \"a\"\n[[run]]\nfile = \"2.fit\"\nsetup = \"b\"\n";
    let why = Session::from_toml(text, "s.toml").expect_err("both common").to_string();
    assert!(why.contains("s.toml:3") && why.contains("nothing is left in which set-ups could differ"), "{why}");
    Session::from_toml(
        &text.replace("[[setup]]\nid = \"b\"\n", "").replace("setup = \"b\"", "setup = \"a\""),
        "s.toml",
    )
    .expect("one set-up has both in common with itself");
}
