//! Crr from the open roller sessions, whose truth was put in by an independent simulator.
//!
//! The sessions are not part of this crate: `LOOPWRIGHT_BENCH` names the folder that holds `rollers/`, and
//! `LOOPWRIGHT_RIDES` the one of recorded rides.

use loopwright::analysis::{Depth, RiddenSession, analyse as analyse_session};
use loopwright::record::decode_fit;
use loopwright::rollers::{Choice, analyse, sensitivities};
use loopwright::session::Session;
use std::path::PathBuf;

#[test]
#[ignore = "needs the example sessions; set LOOPWRIGHT_BENCH"]
fn three_tyres_on_rollers_come_back_within_four_hundred_thousandths() {
    let folder = PathBuf::from(std::env::var_os("LOOPWRIGHT_BENCH").expect("LOOPWRIGHT_BENCH is set")).join("rollers");
    let text = |name: &str| std::fs::read_to_string(folder.join(name)).expect(name);
    let session = Session::from_toml(&text("session.toml"), "session.toml").expect("a sound session");
    let truth: serde_json::Value = serde_json::from_str(&text("truth.json")).expect("JSON");
    let time_constant_s = truth["warm_up_time_constant_s"].as_f64().expect("a number");
    assert_eq!(session.runs.len(), 3);
    for run in &session.runs {
        let bytes = std::fs::read(folder.join(&run.file)).expect("a file");
        let recording = decode_fit(&bytes, &run.file).expect("a sound FIT file");
        let rider = session.rider_of(run);
        let result = analyse(&recording, &rider, &session.rollers, &Choice::default()).expect("a value");
        let crr = truth["setups"][&run.setup]["crr"].as_f64().expect("a number");
        let instrument: f64 =
            sensitivities(&result, &session.uncertainty).expect("lines").iter().map(|l| l.crr * l.crr).sum();
        let se = (instrument + result.se_scatter.powi(2) + result.se_warm_up.powi(2)).sqrt();
        let off = result.crr_flat - crr;
        let start = result.window_from_s / time_constant_s;
        println!(
            "{}: {:.6} off {off:+.6} scatter {:.6} warm-up {:.6} combined {se:.6}, window {:.0}–{:.0} s = {start:.2} τ on",
            run.setup, result.crr_flat, result.se_scatter, result.se_warm_up, result.window_from_s, result.window_to_s
        );
        // 0.00004 is about one per cent, the usual uncertainty of a power meter's scale.
        assert!(off.abs() < 4e-5, "{}: {off}", run.setup);
        assert!(off.abs() < 1.96 * se, "{}: {off} with a standard error of {se}", run.setup);
        assert!((1.5..=5.0).contains(&start), "{}: the window opens after {start} time constants", run.setup);
    }
}

/// A session whose files lie in a folder.
fn inputs(session: Session, folder: &std::path::Path) -> RiddenSession {
    let read =
        |file: &String| decode_fit(&std::fs::read(folder.join(file)).expect("a file"), file).expect("a sound file");
    let recordings = session.runs.iter().map(|run| read(&run.file)).collect();
    RiddenSession { session, recordings, weather: None, survey: None }
}

#[test]
#[ignore = "needs the example sessions; set LOOPWRIGHT_BENCH"]
fn the_supple_tyre_is_separated_and_the_twin_is_not() {
    let folder = PathBuf::from(std::env::var_os("LOOPWRIGHT_BENCH").expect("LOOPWRIGHT_BENCH is set")).join("rollers");
    let text = |name: &str| std::fs::read_to_string(folder.join(name)).expect(name);
    let session = Session::from_toml(&text("session.toml"), "session.toml").expect("a sound session");
    let truth: serde_json::Value = serde_json::from_str(&text("truth.json")).expect("JSON");
    let crr = |id: &str| truth["setups"][id]["crr"].as_f64().expect("a number");
    let analysis = analyse_session(&inputs(session, &folder), Depth::default()).unwrap_or_else(|e| panic!("{e}"));
    for setup in &analysis.solution.setups {
        let (low, high) = (setup.crr.low.expect("low"), setup.crr.high.expect("high"));
        assert!((setup.crr.value.expect("a value") - crr(&setup.id)).abs() < 4e-5, "{setup:?}");
        assert!((low..=high).contains(&crr(&setup.id)), "{setup:?}");
    }
    for c in &analysis.solution.contrasts {
        let expected = if crr(&c.setup) == crr(&c.baseline) { "not separated" } else { "separated" };
        assert_eq!(c.verdict, expected, "{c:?}");
    }
}

#[test]
#[ignore = "needs the recorded rides; set LOOPWRIGHT_RIDES"]
fn a_recorded_ride_gives_a_value_with_what_it_assumes_or_a_refusal_that_says_what_to_do() {
    let folder = PathBuf::from(std::env::var_os("LOOPWRIGHT_RIDES").expect("LOOPWRIGHT_RIDES is set")).join("real");
    let text = "[rider_and_bike]\nmass_kg = 84\n[loop]\nkind = \"rollers\"\n[[setup]]\nid = \"a\"\n[[run]]\nfile = \"rollers.fit\"\nsetup = \"a\"\n";
    let session = Session::from_toml(text, "session.toml").expect("a sound session");
    match analyse_session(&inputs(session, &folder), Depth::default()) {
        Ok(analysis) => {
            let codes: Vec<&str> = analysis.solution.findings.iter().map(|f| f.code.as_str()).collect();
            for code in ["no-load-drag-assumed", "roller-assumptions", "no-repeats", "warm-up"] {
                assert!(codes.contains(&code), "{code} is not among {codes:?}");
            }
            let crr = &analysis.solution.setups[0].crr;
            assert!(crr.low < crr.value && crr.value < crr.high && crr.value > Some(0.0), "{crr:?}");
        }
        Err(e) => assert!(matches!(e, loopwright::error::Error::NoSteadyWindow { .. }), "{e}"),
    }
}
