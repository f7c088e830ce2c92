//! PNG figures: every command that draws puts one beside each SVG where it is asked to, and says which letters they lack.

use crate::program::{Desk, sample};
use crate::rides::{TWO_SPEEDS, round_road, session};
use std::collections::BTreeSet;
use std::path::PathBuf;

/// Files below a folder with an ending, without it.
fn stems(desk: &Desk, folder: &str, ending: &str) -> BTreeSet<PathBuf> {
    let below = desk.path(folder);
    let of = |path: &PathBuf| path.starts_with(&below) && path.extension().is_some_and(|e| e == ending);
    desk.listing().into_iter().filter(of).map(|path| path.with_extension("")).collect()
}

#[test]
fn every_command_that_draws_writes_a_picture_beside_each_figure_where_asked() {
    let desk = Desk::with("session.toml", session("ride.csv", ""));
    desk.put("ride.csv", round_road(6.3, TWO_SPEEDS));
    desk.put("plan.toml", std::fs::read(sample("three-tyres/plan.toml")).expect("a sample plan"));
    for (sample_day, out) in [("three-tyres", "may"), ("road-and-rollers", "june")] {
        let session = sample(sample_day).join("session.toml").to_string_lossy().into_owned();
        desk.answered(&["solve", &session, "--draws", "0", "--out", out]);
        assert!(stems(&desk, out, "png").is_empty());
    }
    let commands: [&[&str]; 4] = [
        &["solve", "session.toml", "--draws", "0", "--out", "solved"],
        &["inspect", "ride.csv", "--figures", "looked"],
        &["plan", "plan.toml", "--out", "planned"],
        &["pool", "may", "june", "--out", "pooled"],
    ];
    for command in commands {
        desk.answered(&[command, &["--figure-format", "png"]].concat());
        let folder = command[command.len() - 1];
        let (drawn, painted) = (stems(&desk, folder, "svg"), stems(&desk, folder, "png"));
        assert!(!drawn.is_empty() && drawn == painted, "{command:?}: {drawn:?} and {painted:?}");
    }
}

#[test]
fn letters_that_pictures_cannot_show_are_told() {
    let text = session("ride.csv", "");
    let named = |label: &str| text.replacen("[[setup]]\n", &format!("[[setup]]\nlabel = \"{label}\"\n"), 1);
    let desk = Desk::with("session.toml", named("Reifen Größe Δ 胎"));
    desk.put("ride.csv", round_road(6.3, TWO_SPEEDS));
    let solve = ["solve", "session.toml", "--draws", "0", "--out", "solved"];
    let painted = [&solve[..], &["--figure-format", "png"]].concat();
    let told = desk.run(&painted);
    assert_eq!(told.status, 0, "{told:?}");
    assert!(told.stderr.contains("boxes for the letters «胎»,"), "{}", told.stderr);
    assert!(!desk.run(&solve).stderr.contains("boxes"));
    desk.put("session.toml", named("Größe Δ"));
    assert!(!desk.run(&painted).stderr.contains("boxes"));
}
