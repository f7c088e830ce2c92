//! Files of the user in or under the name of a results folder: none is lost, whatever command writes there.

use crate::program::{Desk, sample};
use crate::rides::{TWO_SPEEDS, round_road, session};
use std::collections::BTreeMap;
use std::path::PathBuf;

const MARK: &str = "loopwright-files.txt";

/// A desk with a ride, its session and a short plan.
fn desk() -> Desk {
    let desk = Desk::with("session.toml", session("ride.csv", ""));
    desk.put("ride.csv", round_road(4.3, TWO_SPEEDS));
    desk.put("plan.toml", std::fs::read(sample("tyres-on-rollers/plan.toml")).expect("a sample plan"));
    desk
}

/// Every command that writes a folder, writing into `out`.
fn commands(out: &str) -> Vec<Vec<String>> {
    let words =
        |line: &str| line.split(' ').map(|w| if w == "OUT" { out.to_string() } else { w.to_string() }).collect();
    [
        "solve session.toml --draws 0 --out OUT",
        "solve ride.csv --mass-kg 85 --draws 0 --out OUT",
        "pool may june --out OUT",
        "plan plan.toml --out OUT",
        "rehearse plan.toml --out OUT",
        "inspect ride.csv --figures OUT",
    ]
    .map(words)
    .to_vec()
}

fn as_str(words: &[String]) -> Vec<&str> {
    words.iter().map(String::as_str).collect()
}

fn bytes(desk: &Desk) -> BTreeMap<PathBuf, Vec<u8>> {
    let files = desk.listing().into_iter().filter(|p| p.is_file());
    files.map(|p| (p.clone(), std::fs::read(p).expect("a readable file"))).collect()
}

const SOLVE: [&str; 6] = ["solve", "session.toml", "--draws", "0", "--out", "out"];

#[test]
fn a_folder_with_the_names_of_results_and_no_mark_is_nobodys_to_touch() {
    let desk = desk();
    std::fs::create_dir_all(desk.path("own/figures")).expect("a folder");
    for (name, text) in [("solution.json", "{}"), ("samples.csv", "my,own"), ("figures/thesis.svg", "<svg/>")] {
        desk.put(&format!("own/{name}"), text);
    }
    std::fs::create_dir_all(desk.path("seen")).expect("a folder");
    for name in ["ride-map.svg", "x-timeline.svg"] {
        desk.put(&format!("seen/{name}"), "<svg/>");
    }
    // Sums that a person keeps for files of his own are not the mark either.
    std::fs::create_dir_all(desk.path("sums")).expect("a folder");
    desk.put("sums/SHA256SUMS", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855  data.csv\n");
    desk.put("sums/data.csv", "");
    let before = bytes(&desk);
    for folder in ["own", "seen", "sums"] {
        for command in commands(folder) {
            let flag = if command[0] == "inspect" { "--figures" } else { "--out" };
            let words = [folder, MARK, "nothing there was touched", "choose another folder with", flag, "move it away"];
            desk.refused(&as_str(&command), 2, &words);
        }
    }
    assert_eq!(bytes(&desk), before);
}

#[test]
fn what_a_user_adds_to_results_survives_the_next_run_and_is_told_of() {
    let desk = desk();
    desk.answered(&SOLVE);
    let plain = bytes(&desk);
    std::fs::create_dir_all(desk.path("out/letters/empty")).expect("a folder");
    let added = [("note.txt", "windy"), ("figures/thesis.svg", "<svg/>"), ("letters/draft.txt", "dear editor")];
    for (name, text) in added {
        desk.put(&format!("out/{name}"), text);
    }
    #[cfg(unix)]
    for (link, to) in [("out/rides", "../ride.csv"), ("out/nowhere", "gone")] {
        std::os::unix::fs::symlink(to, desk.path(link)).expect("a link");
    }
    // Another title, so that the results are others.
    desk.put("session.toml", format!("title = \"again\"\n{}", desk.text("session.toml")));
    for round in 0..3 {
        // The name of the folder is nothing that it is known by.
        std::fs::rename(desk.path("out"), desk.path("moved")).expect("a folder can be renamed");
        std::fs::rename(desk.path("moved"), desk.path("out")).expect("a folder can be renamed");
        let outcome = desk.run(&SOLVE);
        assert_eq!(outcome.status, 0, "round {round}: {outcome:?}");
        assert!(outcome.stderr.contains("Kept there, not from loopwright"), "{outcome:?}");
        assert!(outcome.stderr.contains("note.txt") && outcome.stderr.contains("figures/thesis.svg"), "{outcome:?}");
        for (name, text) in added {
            assert_eq!(desk.text(&format!("out/{name}")), text, "round {round}");
        }
        assert!(desk.path("out/letters/empty").is_dir());
        assert!(desk.text("out/solution.json").contains("again"));
    }
    #[cfg(unix)]
    for (link, to) in [("out/rides", "../ride.csv"), ("out/nowhere", "gone")] {
        assert_eq!(std::fs::read_link(desk.path(link)).expect("still a link"), PathBuf::from(to));
    }
    // Nothing else is there, in the folder or beside it.
    let more = bytes(&desk).len() - plain.len();
    assert_eq!(more, added.len() + usize::from(cfg!(unix)), "{:?}", desk.listing());
}

#[test]
fn a_folder_of_results_under_another_name_with_a_note_is_still_ours() {
    let desk = desk();
    desk.answered(&SOLVE);
    std::fs::rename(desk.path("out"), desk.path("june")).expect("a folder can be renamed");
    desk.put("june/note.txt", "windy");
    let june: Vec<&str> = SOLVE.iter().map(|w| if *w == "out" { "june" } else { *w }).collect();
    desk.answered(&june);
    assert_eq!(desk.text("june/note.txt"), "windy");
}

#[test]
fn a_file_of_ours_that_was_changed_is_named_and_nothing_is_touched() {
    for changed in ["setups.csv", "report.html", "figures/1-elevation.svg", MARK] {
        let desk = desk();
        desk.answered(&SOLVE);
        let name = format!("out/{changed}");
        let name = if desk.path(&name).exists() { name } else { first_figure(&desk) };
        desk.put(&name, "edited by hand");
        let before = bytes(&desk);
        // Refused before anything is computed: the ride is not even there.
        std::fs::rename(desk.path("ride.csv"), desk.path("away.csv")).expect("a file can be renamed");
        let outcome = desk.refused(&SOLVE, 2, &["touched", "choose another folder with --out"]);
        std::fs::rename(desk.path("away.csv"), desk.path("ride.csv")).expect("a file can be renamed");
        assert_eq!(bytes(&desk), before);
        if changed == MARK {
            assert!(outcome.stderr.contains("line 1 of its loopwright-files.txt"), "{}", outcome.stderr);
            continue;
        }
        assert!(
            outcome.stderr.contains(&format!("{name}: was changed since loopwright wrote it")),
            "{}",
            outcome.stderr
        );
        // The next step that was told works, and so does removing the file.
        std::fs::rename(desk.path(&name), desk.path("out/mine.txt")).expect("a file can be renamed");
        desk.answered(&SOLVE);
        assert_eq!(desk.text("out/mine.txt"), "edited by hand");
        assert!(desk.text(&name) != "edited by hand");
        std::fs::remove_file(desk.path(&name)).expect("it is there");
        desk.answered(&SOLVE);
        assert!(desk.path(&name).exists());
    }
}

fn first_figure(desk: &Desk) -> String {
    let figures = std::fs::read_dir(desk.path("out/figures")).expect("figures").flatten();
    let first = figures.map(|e| e.file_name().to_string_lossy().into_owned()).min().expect("a figure");
    format!("out/figures/{first}")
}

#[test]
fn a_file_or_folder_of_the_user_where_a_result_is_to_go_is_named_and_stays() {
    let desk = desk();
    desk.answered(&SOLVE);
    // As if an earlier version had written fewer files: the list does not have these, and the user has.
    let list = desk.text(&format!("out/{MARK}"));
    let without =
        |name: &str| list.lines().filter(|l| !l.ends_with(name)).map(|l| format!("{l}\n")).collect::<String>();
    desk.put(&format!("out/{MARK}"), without("  methods.txt"));
    desk.put("out/methods.txt", "mine");
    let before = bytes(&desk);
    desk.refused(&SOLVE, 2, &["methods.txt", "not from loopwright", "rename it to keep it"]);
    std::fs::remove_file(desk.path("out/methods.txt")).expect("it is there");
    std::fs::create_dir(desk.path("out/methods.txt")).expect("a folder");
    desk.refused(&SOLVE, 2, &["methods.txt", "not from loopwright"]);
    std::fs::remove_dir(desk.path("out/methods.txt")).expect("it is there");
    desk.put("out/methods.txt", "mine");
    assert_eq!(bytes(&desk), before);
}

#[test]
fn no_command_replaces_what_another_wrote() {
    let desk = desk();
    desk.answered(&["rehearse", "plan.toml", "--out", "out"]);
    let before = bytes(&desk);
    for command in commands("out").iter().filter(|c| c[0] != "rehearse") {
        let words = ["it holds what «loopwright rehearse» wrote", "choose another folder with"];
        desk.refused(&as_str(command), 2, &words);
    }
    assert_eq!(bytes(&desk), before);
    desk.answered(&["rehearse", "plan.toml", "--out", "out"]);
    assert_eq!(bytes(&desk), before);
}

#[test]
fn results_inside_a_rehearsed_day_go_with_its_rides_unless_something_was_added() {
    let desk = desk();
    let rehearse = ["rehearse", "plan.toml", "--out", "day"];
    desk.answered(&rehearse);
    desk.answered(&["solve", "day/session.toml"]);
    desk.put("day/note.txt", "mine");
    let outcome = desk.run(&[&rehearse[..], &["--seed", "9"]].concat());
    assert_eq!(outcome.status, 0, "{outcome:?}");
    assert!(outcome.stderr.contains("results of the day before"), "{outcome:?}");
    assert!(!desk.path("day/session-results").exists());
    assert_eq!(desk.text("day/note.txt"), "mine");
    desk.answered(&["solve", "day/session.toml"]);
    desk.put("day/session-results/figures/mine.svg", "<svg/>");
    let before = bytes(&desk);
    desk.refused(&rehearse, 2, &["day/session-results", "figures/mine.svg was added", "move it to keep it"]);
    assert_eq!(bytes(&desk), before);
    // A folder of that name that is not ours is the user's and stays.
    std::fs::remove_dir_all(desk.path("day/session-results")).expect("it is there");
    std::fs::create_dir(desk.path("day/session-results")).expect("a folder");
    desk.put("day/session-results/mine.txt", "mine");
    desk.answered(&rehearse);
    assert_eq!(desk.text("day/session-results/mine.txt"), "mine");
}

#[test]
fn a_list_that_names_files_outside_the_folder_touches_none_of_them() {
    let desk = desk();
    desk.answered(&SOLVE);
    let sum = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";
    let list = desk.text(&format!("out/{MARK}"));
    desk.put("precious.txt", "");
    desk.put(&format!("out/{MARK}"), format!("{list}{sum}  ../precious.txt\n{sum}  /tmp\n"));
    desk.answered(&SOLVE);
    assert_eq!(desk.text("precious.txt"), "");
}

#[test]
fn the_list_holds_the_sums_of_all_that_was_written() {
    let desk = desk();
    desk.answered(&SOLVE);
    let list = desk.text(&format!("out/{MARK}"));
    let named: Vec<&str> = list.lines().filter_map(|l| l.split_once("  ").map(|(_, name)| name)).collect();
    let written: Vec<PathBuf> = desk.listing().into_iter().filter(|p| p.is_file()).collect();
    let written = written.iter().filter_map(|p| p.strip_prefix(desk.path("out")).ok());
    let mut written: Vec<String> = written.map(|p| p.to_string_lossy().into_owned()).filter(|n| n != MARK).collect();
    let mut named: Vec<String> = named.iter().map(|n| n.to_string()).collect();
    written.sort();
    named.sort();
    assert_eq!(named, written);
    // The ordinary program that checks such lists agrees, where the machine has it.
    if let Ok(checked) = std::process::Command::new("sha256sum")
        .args(["--check", "--strict", MARK])
        .current_dir(desk.path("out"))
        .output()
    {
        assert!(checked.status.success(), "{checked:?}");
    }
}
