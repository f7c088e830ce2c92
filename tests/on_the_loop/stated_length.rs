//! A stated length, a survey and what describes a track only: used, checked or refused, never passed over.

use super::days::{NOISE, day, has_said, refusal, road, said, solved};
use loopwright::circuit::Survey;
use loopwright::session::{Session, SpeedScale};

#[test]
fn a_stated_length_on_a_road_is_checked_against_positions() {
    let sound = road(41);
    for (length_m, refused) in
        [(1250.0, false), (1247.0, false), (1285.0, true), (1215.0, true), (1500.0, true), (125.0, true)]
    {
        let mut stated = sound.clone();
        stated.session.circuit.length_m = Some(length_m);
        if refused {
            let said = refusal(&stated);
            assert!(said.contains(&format!("stated {length_m:.1}")) && said.contains("positions show"), "{said}");
        } else {
            assert!(!has_said(&solved(&stated), "speed-scale-off"), "{length_m}");
        }
    }
    // Who knows it badly may say so.
    let mut vague = sound.clone();
    (vague.session.circuit.length_m, vague.session.circuit.length_sd_m) = (Some(1285.0), Some(25.0));
    solved(&vague);
}

#[test]
fn without_positions_a_stated_length_judges_the_wheel_and_can_mend_it() {
    let track = "kind = \"track\"\nlength_m = 400.0\nbend_radius_m = 32.0\ntransition_m = 15.0";
    let sound =
        day("order = [\"a\", \"b\", \"b\", \"a\"]\nlaps_per_run = 12\nspeeds_km_h = [30.0, 42.0]", track, NOISE, 42);
    let right = solved(&sound);
    assert!(!has_said(&right, "speed-scale-off"));
    for factor in [0.97, 1.02, 1.08] {
        let mut off = sound.clone();
        off.recordings.iter_mut().for_each(|r| r.speed_m_s.iter_mut().for_each(|v| *v *= factor));
        let told = said(&solved(&off), "speed-scale-off");
        assert!(told.len() == 1 && told[0].contains("by the stated length"), "{factor}: {told:?}");
        off.session.solve.speed_scale = SpeedScale::Calibrate;
        let mended = solved(&off);
        let line = mended.budget.iter().find(|l| l.source == "speed scale").expect("its line");
        // 1.5 m of 400 unless stated otherwise.
        assert!((line.standard_uncertainty - 0.00375).abs() < 1e-9, "{}", line.standard_uncertainty);
        let (now, then) = (mended.setups[0].cda_m2.value.unwrap(), right.setups[0].cda_m2.value.unwrap());
        assert!((now / then - 1.0).abs() < 0.03, "{factor}: {now} {then}");
    }
}

#[test]
fn who_rides_outside_the_measurement_line_is_told_how_far() {
    // The same ride on a track whose stated length is that of a line 0.4 m further in.
    let track = "kind = \"track\"\nlength_m = 402.5\nbend_radius_m = 32.4\ntransition_m = 15.0";
    let mut ridden = day("order = [\"a\", \"b\"]\nlaps_per_run = 12\nspeeds_km_h = [30.0, 42.0]", track, NOISE, 43);
    ridden.session.circuit.length_m = Some(400.0);
    ridden.session.circuit.bend_radius_m = Some(32.0);
    let solution = solved(&ridden);
    let told = said(&solution, "ridden-length");
    assert!(told.len() == 1 && told[0].contains("outside it"), "{told:?}");
    assert!((solution.circuit.length_m.unwrap() - 402.5).abs() < 1.0, "{:?}", solution.circuit.length_m);
    assert_eq!(solution.circuit.length_from.as_deref(), Some("speed channel"));
}

#[test]
fn a_survey_of_another_length_is_refused_with_both_numbers() {
    let sound = road(44);
    for (length_m, refused) in [(1250.0, false), (1330.0, true), (1120.0, true), (2500.0, true)] {
        let rows: String = (0..100).map(|i| format!("{},0.0\n", f64::from(i) * length_m / 100.0)).collect();
        let mut with = sound.clone();
        with.session.circuit.survey = Some("road.csv".into());
        with.survey = Some(Survey::parse(&format!("distance_m,elevation_m\n{rows}"), "road.csv", 5.0).expect("sound"));
        if refused {
            assert!(refusal(&with).starts_with("road.csv: its points reach"), "{}", refusal(&with));
        } else {
            solved(&with);
        }
    }
}

#[test]
fn what_describes_a_track_is_refused_on_a_road() {
    for key in ["bend_radius_m = 30.0", "transition_m = 10.0", "home_straight_bearing_deg = 80.0"] {
        let session = |kind: &str| {
            let text = format!(
                "[rider_and_bike]\nmass_kg = 85.0\n[loop]\n{kind}\n{key}\n[[setup]]\nid = \"a\"\n[[run]]\nfile = \"a.fit\"\nsetup = \"a\"\n"
            );
            Session::from_toml(&text, "s.toml")
        };
        let refused = session("").expect_err(key).to_string();
        assert!(refused.starts_with("s.toml:5: ") && refused.contains("describes a track"), "{refused}");
        session("kind = \"track\"\nlength_m = 400.0").expect("a track may state it");
    }
}
