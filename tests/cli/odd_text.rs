//! Text of others that could steer a terminal, turn letters round or leak: from files, names and flags.

use crate::program::Desk;
use crate::rides::{TWO_SPEEDS, round_road, session};

const ESCAPE: char = '\u{1b}';
const TURNED: char = '\u{202e}';
const ODD: [char; 4] = [ESCAPE, TURNED, '\u{7}', '\u{9b}'];

fn desk() -> Desk {
    let desk = Desk::with("session.toml", session("ride.csv", ""));
    desk.put("ride.csv", round_road(4.3, TWO_SPEEDS));
    desk
}

fn is_clean(text: &str) -> bool {
    !text.contains(ODD)
}

#[test]
fn a_session_whose_texts_hold_control_characters_is_refused_with_the_line() {
    let desk = desk();
    let sound = desk.text("session.toml");
    let cases = [
        (1, format!("title = \"a\\u001b[2J\"\n{sound}"), "U+001B"),
        (1, format!("title = \"a{TURNED}b\"\n{sound}"), "U+202E"),
        (
            11,
            sound.replace("id = \"plain\"", "id = \"plain\"\nlabel = \"\\u202eniart\"").replace("\n\n\n", "\n\n"),
            "U+202E",
        ),
        (9, sound.replacen("[[setup]]", "[loop]\nsurvey = \"a\\u0007\"\n[[setup]]", 1), "U+0007"),
    ];
    for (_, text, character) in cases {
        desk.put("odd.toml", &text);
        let at =
            text.lines().position(|l| l.contains("\\u0") || l.contains("\\u2") || l.contains(TURNED)).expect("a line")
                + 1;
        let place = format!("odd.toml:{at}");
        let outcome = desk.refused(&["solve", "odd.toml"], 2, &[&place, character, "write it without"]);
        assert!(is_clean(&outcome.stderr), "{:?}", outcome.stderr);
    }
    desk.put("plan.toml", "title = \"a\\u001b\"\norder = [\"a\"]\nlaps_per_run = 4\n");
    desk.refused(&["plan", "plan.toml"], 2, &["plan.toml"]);
}

#[test]
fn names_of_files_and_words_of_flags_reach_no_terminal_raw() {
    let desk = desk();
    let odd = format!("a{ESCAPE}]0;b{TURNED}.csv");
    desk.put(&odd, round_road(4.3, TWO_SPEEDS));
    let shown = desk.run(&["inspect", &odd, "--figures", "look"]);
    assert_eq!(shown.status, 0, "{shown:?}");
    assert!(is_clean(&shown.stdout) && is_clean(&shown.stderr) && shown.stdout.contains("a\u{FFFD}]0;b"), "{shown:?}");
    for path in desk.listing().iter().filter(|p| p.extension().is_some_and(|e| e == "svg")) {
        let figure = std::fs::read_to_string(path).expect("a figure is text");
        assert!(is_clean(&figure) && is_clean(&path.to_string_lossy()), "{path:?}");
    }
    let listed = desk.run(&["inspect", &odd, "--format", "json"]);
    assert!(is_clean(&listed.stdout), "{listed:?}");
    let refused = desk.run(&["solve", &odd, "--mass-kg", "85"]);
    assert_eq!(refused.status, 1, "{refused:?}");
    assert!(is_clean(&refused.stderr) && refused.stderr.contains("U+001B") && refused.stderr.contains("rename it"));
    let gone = format!("gone{ESCAPE}[2J{TURNED}.toml");
    for arguments in [["solve", &gone], ["inspect", &gone], ["plan", &gone], ["scaffold", &gone], ["pool", &gone]] {
        for format in ["text", "json"] {
            let outcome = desk.run(&[&arguments[..], &[&gone, "--format", format]].concat());
            assert!(outcome.status != 0 && is_clean(&outcome.stderr), "{outcome:?}");
        }
    }
    let flag = desk.run(&["solve", "ride.csv", "--mass-kg", "85", "--log", &gone]);
    assert!(flag.status == 1 && is_clean(&flag.stderr), "{flag:?}");
}

#[test]
fn headings_of_a_ride_reach_no_terminal_raw_and_long_ones_are_cut() {
    let desk = desk();
    let long = "x".repeat(5000);
    for heading in [format!("gear{ESCAPE}[2J"), format!("{TURNED}gear"), long.clone()] {
        let table = round_road(1.3, TWO_SPEEDS).replace('\n', ",\n").replacen(",\n", &format!(",{heading}\n"), 1);
        desk.put("more.csv", table);
        let outcome = desk.run(&["inspect", "more.csv"]);
        assert!(
            outcome.status == 0 && is_clean(&outcome.stdout) && !outcome.stdout.contains(&long[..100]),
            "{outcome:?}"
        );
        desk.put("none.csv", format!("{heading},power_w\n1,2\n"));
        let outcome = desk.run(&["inspect", "none.csv"]);
        assert!(outcome.status == 1 && is_clean(&outcome.stderr) && outcome.stderr.len() < 300, "{outcome:?}");
    }
}

#[test]
fn a_file_that_is_no_table_is_not_shown_beyond_its_first_characters() {
    let desk = desk();
    let secret = "token-0123456789-abcdefghijklmnopqrstuvwxyz";
    desk.put("keys", format!("name=first{secret}\0{secret}\0"));
    desk.put("line", format!("name-first: {secret} and more {secret}"));
    let environ = std::path::Path::new("/proc/self/environ");
    let mut named = vec!["keys".to_string(), "line".to_string()];
    named.extend(environ.exists().then(|| environ.display().to_string()));
    for name in named {
        for (key, table) in [("log", "[air]"), ("survey", "[loop]")] {
            let text = match key {
                "log" => session("ride.csv", "").replacen(table, &format!("{table}\nlog = \"{name}\""), 1),
                _ => session("ride.csv", &format!("{table}\nsurvey = \"{name}\"\n")),
            };
            desk.put("session.toml", text);
            let mut command = desk.command(&["solve", "session.toml"]);
            let output = command.env("A_SECRET", secret).output().expect("the program starts");
            let told = String::from_utf8_lossy(&output.stderr).into_owned();
            assert_eq!(output.status.code(), Some(1), "{told}");
            assert!(!told.contains("0123456789") && told.contains(&name), "{told}");
        }
        let outcome = desk.run(&["solve", &name, "--mass-kg", "85"]);
        assert!(outcome.status != 0 && !outcome.stderr.contains("0123456789-abc"), "{outcome:?}");
    }
}

#[test]
fn a_result_into_which_somebody_wrote_control_characters_is_not_pooled() {
    let desk = desk();
    desk.answered(&["solve", "session.toml", "--draws", "0", "--out", "out"]);
    let sound = desk.text("out/solution.json");
    for odd in ["\\u001b[2J".to_string(), "\\u202e".into(), TURNED.to_string()] {
        desk.put("odd.json", sound.replacen("\"label\": \"", &format!("\"label\": \"{odd}"), 1));
        let outcome = desk.refused(&["pool", "odd.json", "out"], 1, &["odd.json", "U+", "solve the session again"]);
        assert!(is_clean(&outcome.stderr), "{outcome:?}");
    }
}
