//! A track may have positions, stated bends, both or neither, and they check each other.

use super::days::{NOISE, day, has_said, moved, said, solved};
use loopwright::analysis::RiddenSession;
use loopwright::session::{AlongLoop, AlongLoopWord, Venue, Yaw, YawWord};

const RUNS: &str = "order = [\"a\", \"b\", \"b\", \"a\"]\nlaps_per_run = 12\nspeeds_km_h = [30.0, 42.0]";
const TRACK: &str = "kind = \"track\"\nlength_m = 430.0\nbend_radius_m = 29.0\ntransition_m = 20.0\nhome_straight_bearing_deg = 65.0\npositions = true";

/// Geometry alone: the wind is even along the track and drag does not depend on yaw, and the session says so.
fn ridden(seed: u64) -> RiddenSession {
    let mut day = day(RUNS, TRACK, NOISE, seed);
    day.session.wind.along_loop = AlongLoop::Word(AlongLoopWord::Even);
    day.session.solve.yaw = Yaw::Word(YawWord::None);
    day
}

fn as_road(inputs: &RiddenSession) -> RiddenSession {
    let mut out = inputs.clone();
    let c = &mut out.session.circuit;
    (c.kind, c.length_m, c.bend_radius_m, c.transition_m, c.home_straight_bearing_deg) =
        (Venue::Road, None, None, None, None);
    out
}

#[test]
fn with_positions_a_track_is_solved_as_a_road() {
    solved_as_a_road(&[None]);
}

#[test]
fn with_positions_a_track_with_bends_stated_is_solved_as_a_road() {
    solved_as_a_road(&[Some(28.0), Some(29.0), Some(30.0)]);
}

fn solved_as_a_road(radii_m: &[Option<f64>]) {
    for seed in [51, 52] {
        let stated = ridden(seed);
        let road = solved(&as_road(&stated));
        for radius_m in radii_m.iter().copied() {
            for transition in [None, Some(20.0)] {
                let mut day = stated.clone();
                (day.session.circuit.bend_radius_m, day.session.circuit.transition_m) =
                    (radius_m, radius_m.and(transition));
                day.session.circuit.home_straight_bearing_deg = None;
                let solution = solved(&day);
                let by = moved(&solution, &road);
                assert!(by < 1.0 / 3.0, "{seed} {radius_m:?} {transition:?}: {by}");
                for code in ["bends-contradicted", "not-two-bends", "positions-poor", "wind-without-compass"] {
                    assert!(
                        !has_said(&solution, code),
                        "{radius_m:?} {transition:?}: {code} {:?}",
                        said(&solution, code)
                    );
                }
            }
        }
    }
}

#[test]
fn a_radius_that_positions_contradict_is_told_with_both_numbers_and_moves_nothing() {
    let stated = ridden(53);
    let road = solved(&as_road(&stated));
    for radius_m in [18.0, 24.0, 26.5, 33.0, 45.0] {
        let mut day = stated.clone();
        (day.session.circuit.bend_radius_m, day.session.circuit.transition_m) = (Some(radius_m), None);
        let solution = solved(&day);
        let told = said(&solution, "bends-contradicted");
        assert!(told.len() == 1 && told[0].contains(&format!("Bends of {radius_m:.1} m")), "{radius_m}: {told:?}");
        let by = moved(&solution, &road);
        assert!(by < 1.0 / 3.0, "{radius_m}: {by}");
    }
    for (bearing_deg, told) in [(65.0, false), (245.0, false), (72.0, false), (95.0, true), (155.0, true)] {
        let mut day = stated.clone();
        day.session.circuit.home_straight_bearing_deg = Some(bearing_deg);
        assert_eq!(has_said(&solved(&day), "bearing-contradicted"), told, "{bearing_deg}");
    }
}

#[test]
fn without_positions_and_bearing_the_wind_is_given_along_and_across_the_straights() {
    let marked = day_with_marks(54);
    for (inputs, compass) in [(marked(Some(65.0)), true), (marked(None), false)] {
        let solution = solved(&inputs);
        assert_eq!(has_said(&solution, "wind-without-compass"), !compass);
        let wind = &solution.runs[0].wind;
        assert_eq!((wind.from_deg.is_some(), wind.east_m_s.value.is_some()), (compass, compass));
        assert_eq!((wind.along_m_s.value.is_some(), wind.across_m_s.value.is_some()), (!compass, !compass));
        assert!(wind.speed_m_s.is_some());
        if !compass {
            // 1.5 m/s from 250° on a home straight of 65°: 5° to the right of a tail wind, 1.5 cos 5° and 1.5 sin 5°.
            let beside =
                |m: &loopwright::solution::Measured, truth: f64| (m.value.unwrap() - truth).abs() / m.se.unwrap();
            assert!(beside(&wind.along_m_s, 1.494) < 3.5, "{wind:?}");
            assert!(beside(&wind.across_m_s, 0.131) < 3.5, "{wind:?}");
            assert!(wind.along_m_s.value.unwrap() > 1.0, "{wind:?}");
        }
    }
}

/// The same track without positions, timed at the line.
fn day_with_marks(seed: u64) -> impl Fn(Option<f64>) -> RiddenSession {
    let inputs = day(RUNS, &TRACK.replace("positions = true", "positions = false"), NOISE, seed);
    move |bearing_deg| {
        let mut out = inputs.clone();
        out.session.circuit.home_straight_bearing_deg = bearing_deg;
        out
    }
}
