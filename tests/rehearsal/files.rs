//! The folders in `sample-loops` are what their plans give, byte for byte.
//!
//! With `LOOPWRIGHT_WRITE_SAMPLES=1` the files are written anew; they are only ever made this way.

use loopwright::plan::Plan;
use loopwright::simulate::simulate;
use std::path::PathBuf;

fn folder(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("sample-loops").join(name)
}

fn check_folder(name: &str) {
    let folder = folder(name);
    let text = std::fs::read_to_string(folder.join("plan.toml")).expect("every sample folder holds its plan");
    let plan = Plan::from_toml(&text, "plan.toml").unwrap_or_else(|e| panic!("{name}: {e}"));
    let files = simulate(&plan, plan.seed).and_then(|day| day.files()).unwrap_or_else(|e| panic!("{name}: {e}"));
    let mut total = 0;
    for file in &files {
        let path = folder.join(&file.name);
        if std::env::var_os("LOOPWRIGHT_WRITE_SAMPLES").is_some() {
            std::fs::write(&path, &file.bytes).expect("the sample folder can be written");
        }
        let kept = std::fs::read(&path).unwrap_or_default();
        assert!(kept == file.bytes, "{name}/{} is not what plan.toml gives; write the samples anew", file.name);
        total += file.bytes.len();
    }
    assert!(total < 250_000, "{name} holds {total} bytes; sample folders stay small");
}

#[test]
fn the_three_tyres_are_what_their_plan_gives() {
    check_folder("three-tyres");
}

#[test]
fn the_two_positions_are_what_their_plan_gives() {
    check_folder("two-positions");
}

#[test]
fn the_tyres_on_rollers_are_what_their_plan_gives() {
    check_folder("tyres-on-rollers");
}

#[test]
fn the_day_on_road_and_rollers_is_what_its_plan_gives() {
    check_folder("road-and-rollers");
}

#[test]
fn the_morning_on_rollers_and_an_outdoor_track_is_what_its_plan_gives() {
    check_folder("track-and-rollers");
}

#[test]
fn the_pressure_sweep_is_what_its_plan_gives() {
    check_folder("pressure-sweep");
}
