//! Completions, manual pages and schemas, and what the program does with standard output.

use crate::program::Desk;
use std::process::Stdio;

const COMMANDS: [&str; 5] = ["solve", "inspect", "pool", "demand", "air"];

#[test]
fn every_shell_gets_completions_that_know_the_commands() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = Desk::new().answered(&["completions", shell]);
        for command in COMMANDS {
            assert!(script.contains(command), "{shell}: {command}");
        }
        assert!(script.contains("mass-kg"), "{shell}");
    }
}

#[test]
fn the_manual_is_one_page_or_one_for_each_command() {
    let desk = Desk::new();
    assert!(desk.answered(&["man"]).contains(".TH loopwright 1"));
    desk.answered(&["man", "pages/man1"]);
    for command in COMMANDS {
        assert!(desk.text(&format!("pages/man1/loopwright-{command}.1")).contains(".SH OPTIONS"), "{command}");
    }
    desk.put("file", "");
    assert_eq!(desk.run(&["man", "file"]).status, 1);
}

#[test]
fn the_schema_of_a_session_holds_the_keys_and_refuses_others() {
    let schema: serde_json::Value =
        serde_json::from_str(&Desk::new().answered(&["schema", "session"])).expect("a schema is JSON");
    assert_eq!(schema["title"], "Session");
    assert_eq!(schema["additionalProperties"], false);
    let required: Vec<&str> =
        schema["required"].as_array().expect("a list").iter().filter_map(|r| r.as_str()).collect();
    for key in ["rider_and_bike", "setup", "run"] {
        assert!(required.contains(&key), "{required:?}");
    }
    for key in ["loop", "air", "wind", "solve", "reference", "rollers", "uncertainty", "baseline"] {
        assert!(schema["properties"][key].is_object(), "{key}");
    }
    assert!(schema["$defs"]["RiderAndBike"]["properties"]["mass_kg"]["description"].is_string());
    assert!(Desk::new().answered(&["schema", "plan"]).contains("laps_per_run"));
}

#[test]
fn every_command_shows_an_example_with_its_help() {
    for command in ["solve", "inspect", "pool", "demand", "air", "completions", "man", "schema"] {
        let help = Desk::new().answered(&[command, "--help"]);
        assert!(help.contains(&format!("loopwright {command}")) && help.contains("Example"), "{help}");
    }
    assert!(Desk::new().answered(&["--version"]).starts_with("loopwright "));
}

#[test]
fn a_reader_that_goes_away_ends_the_program_quietly() {
    let desk = Desk::new();
    for arguments in [&["completions", "bash"][..], &["schema"], &["air", "--temperature-c", "9", "--elevation-m", "9"]]
    {
        let mut child =
            desk.command(arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program starts");
        drop(child.stdout.take());
        let output = child.wait_with_output().expect("the program ends");
        assert_eq!(String::from_utf8_lossy(&output.stderr), "", "{arguments:?}");
        assert_eq!(output.status.code(), Some(0), "{arguments:?}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn results_that_could_not_be_printed_are_not_called_a_success() {
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").expect("the device that is always full");
    let output = Desk::new().command(&["schema"]).stdout(full).output().expect("the program starts");
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&output.stderr).contains("standard output: cannot be written"));
}

#[test]
fn no_colour_reaches_a_file_or_a_pipe() {
    for arguments in [&["--help"][..], &["solve", "--nope"], &["demand"]] {
        let outcome = Desk::new().run(arguments);
        assert!(!outcome.stdout.contains('\u{1b}') && !outcome.stderr.contains('\u{1b}'), "{arguments:?}");
    }
}
