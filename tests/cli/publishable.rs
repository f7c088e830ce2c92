//! `pool`, `solve --budget` and `solve --monte-carlo` as a process.

use crate::program::{Desk, sample};

/// Two solved days of three tyres: the sample, and a rehearsal of the same plan.
fn two_days() -> Desk {
    let desk = Desk::new();
    let (session, plan) = (sample("three-tyres/session.toml"), sample("three-tyres/plan.toml"));
    let (session, plan) = (session.to_string_lossy().into_owned(), plan.to_string_lossy().into_owned());
    desk.answered(&["solve", &session, "--out", "may"]);
    desk.answered(&["rehearse", &plan, "--seed", "77", "--out", "day"]);
    desk.answered(&["solve", "day/session.toml", "--out", "june"]);
    desk
}

#[test]
fn two_days_become_one_table_one_folder_and_the_same_bytes() {
    let desk = two_days();
    let text = desk.answered(&["pool", "may", "june/solution.json", "--out", "both"]);
    assert!(text.contains("2 differences from 2 results of 1 day."), "{text}");
    assert!(text.contains("own ") && text.contains("shared "), "{text}");
    for line in text.lines() {
        assert!(line.chars().count() <= 80 && !line.contains('\u{1b}'), "{line}");
    }
    assert_eq!(desk.text("both/pool.txt"), text);
    let written: serde_json::Value = serde_json::from_str(&desk.text("both/pool.json")).expect("JSON");
    assert_eq!(desk.json(&["pool", "may", "june"])["contrasts"], written["contrasts"]);
    let first = desk.text("both/forest-1-watts.svg");
    // Its own folder is replaced; what the user adds stays, and what was changed is not overwritten.
    desk.put("both/notes.txt", "mine");
    desk.answered(&["pool", "may", "june/solution.json", "--out", "both"]);
    assert_eq!(desk.text("both/forest-1-watts.svg"), first);
    assert_eq!(desk.text("both/notes.txt"), "mine");
    desk.put("both/pool.txt", "mine");
    desk.refused(&["pool", "may", "june", "--out", "both"], 2, &["both/pool.txt: was changed", "--out"]);
    // A pooled result is no day.
    desk.refused(&["pool", "may", "both/pool.json"], 1, &["both/pool.json", "it is a pooled result"]);
    std::fs::create_dir(desk.path("thesis")).expect("a folder");
    desk.put("thesis/chapter-1.txt", "years of work");
    desk.refused(&["pool", "may", "june", "--out", "thesis"], 2, &["thesis", "touched"]);
    let coloured = desk.command(&["pool", "may", "june"]).env("CLICOLOR_FORCE", "1").env("NO_COLOR", "1").output();
    assert!(!coloured.expect("the program starts").stdout.contains(&0x1b));
}

#[test]
fn what_cannot_be_pooled_is_refused_with_the_next_step() {
    let desk = Desk::with("a.json", "{}");
    desk.refused(&["pool"], 2, &["RESULT"]);
    desk.refused(&["pool", "a.json"], 2, &["1 result given, at least 2 are needed"]);
    desk.refused(&["pool", "a.json", "none.json"], 1, &["a.json: it is JSON but not a loopwright result"]);
    desk.refused(&["pool", "none.json", "a.json"], 1, &["none.json: cannot be read"]);
    std::fs::create_dir(desk.path("empty")).expect("a folder");
    desk.refused(
        &["pool", "empty", "a.json"],
        1,
        &["empty: cannot be read (it is a folder; solution.json is not in it", "solve has written"],
    );
    let huge = std::fs::File::create(desk.path("huge.json")).expect("a file");
    huge.set_len(3 << 30).expect("a sparse file");
    desk.refused(&["pool", "huge.json", "a.json"], 1, &["huge.json", "3221225472 bytes", "limit of 16777216"]);
    let mut thousands = vec!["pool"];
    thousands.extend(std::iter::repeat_n("a.json", 3000));
    desk.refused(&thousands, 2, &["3000 results, more than the limit of 200"]);
    for (flag, value) in [("--confidence", "95"), ("--negligible-power-w", "-1"), ("--instruments", "mine")] {
        desk.refused(&["pool", "a.json", "a.json", flag, value], 2, &[flag]);
    }
    let outcome = desk.refused(&["pool", "a.json", "a.json", "--format", "json"], 1, &["not-poolable"]);
    assert!(serde_json::from_str::<serde_json::Value>(outcome.stderr.trim()).is_ok(), "{}", outcome.stderr);
}

#[test]
fn the_budget_is_printed_where_it_is_asked_for() {
    let desk = Desk::new();
    let session = sample("tyres-on-rollers/session.toml").to_string_lossy().into_owned();
    let plain = desk.answered(&["solve", &session, "--out", "a"]);
    let with = desk.answered(&["solve", &session, "--out", "a", "--budget"]);
    assert!(!plain.contains("Uncertainty budget") && with.starts_with(&plain), "{with}");
    assert!(with.contains("\nSCATTER") && with.contains("\nINSTRUMENT") && with.contains("no-load drag"), "{with}");
    assert!(with.lines().all(|l| l.chars().count() <= 80), "{with}");
}

#[test]
fn draws_are_limited_seeded_and_written_down() {
    let desk = Desk::new();
    let session = sample("tyres-on-rollers/session.toml").to_string_lossy().into_owned();
    for number in ["0", "10", "999", "200001", "1e6", "-5", "many"] {
        let flag = format!("--monte-carlo={number}");
        desk.refused(&["solve", &session, "--out", "a", &flag], 2, &["--monte-carlo", "from 1000 to 200000"]);
    }
    let on = |threads: &str, out: &str| {
        let mut command = desk.command(&["solve", &session, "--out", out, "--monte-carlo", "5000"]);
        let outcome = command.env("RAYON_NUM_THREADS", threads).output().expect("the program starts");
        assert!(outcome.status.success());
        String::from_utf8(outcome.stdout).expect("text")
    };
    let text = on("1", "one");
    assert!(text.contains("Check by 5000 draws of all instrument inputs"), "{text}");
    assert_eq!(on("3", "three"), text);
    assert_eq!(desk.text("one/solution.json"), desk.text("three/solution.json"));
    let written: serde_json::Value = serde_json::from_str(&desk.text("one/solution.json")).expect("JSON");
    assert_eq!(written["monte_carlo"]["draws"], 5000);
    assert_eq!(written["monte_carlo"]["seed"], 1);
}
