//! The order of modules, their heads and their length, as `DEVELOPERS.md` states them.

use crate::source::{SourceFile, circles, files_of};
use std::collections::BTreeMap;

/// Longest source file, lines.
const MOST_LINES: usize = 300;
/// Longest file of tests, lines: cases of one subject stand together.
const MOST_LINES_OF_TESTS: usize = 400;
/// Files that are longer and one thing, with the most lines that each may have. The list is there to become shorter.
const LONGER: [(&str, usize); 9] = [
    ("src/forecast/prediction.rs", 320),
    ("src/forecast/propagate.rs", 345),
    ("src/report/factors.rs", 315),
    ("src/solve/account.rs", 410),
    ("src/solve/design.rs", 430),
    ("src/solve/fit.rs", 469),
    ("src/uncertainty/replication.rs", 415),
    ("src/uncertainty/residual_model.rs", 375),
    ("src/uncertainty/sign_flip.rs", 425),
];

/// What the plan and the simulation may use beside themselves: no module that estimates anything, so that a rehearsal
/// vouches for the estimator and not for itself. Of `record` the simulation fills in the type of a recording; of `circuit`
/// the plan takes the plane on which a ridden track is drawn.
const SIMULATION_MAY_USE: [(&str, &[&str]); 2] = [
    ("plan", &["quantity", "constant", "error", "session", "circuit::Plane", "circuit::Place"]),
    ("simulate", &["quantity", "constant", "error", "session", "plan", "record::Recording", "record::Provenance"]),
];

/// Modules in the order of `lib.rs`.
fn order() -> Vec<String> {
    let lib = files_of("src").into_iter().find(|f| f.name == "src/lib.rs").expect("lib.rs is there");
    let module = |line: &str| {
        let line = line.strip_prefix("pub(crate) ").or(line.strip_prefix("pub ")).unwrap_or(line);
        Some(line.strip_prefix("mod ")?.strip_suffix(';')?.to_string())
    };
    lib.text.lines().filter_map(module).collect()
}

#[test]
fn a_module_uses_only_modules_above_it() {
    let rank: BTreeMap<String, usize> = order().into_iter().enumerate().map(|(i, m)| (m, i)).collect();
    assert!(rank.len() > 15, "lib.rs lists its modules");
    let mut wrong = Vec::new();
    for file in files_of("src") {
        let Some(here) = rank.get(file.module()) else { continue };
        for path in file.paths(&file.text).into_iter().filter(|p| p.first().is_some_and(|root| root == "crate")) {
            let used = path.get(1).map_or("", String::as_str);
            if rank.get(used).is_some_and(|at| at > here) {
                wrong.push(format!("{} uses {used}, which stands below it", file.name));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_simulation_uses_nothing_that_estimates() {
    let mut wrong = Vec::new();
    for (module, allowed) in SIMULATION_MAY_USE {
        let files: Vec<SourceFile> = files_of("src").into_iter().filter(|f| f.module() == module).collect();
        assert!(files.len() > 5, "{module} is there");
        for file in files {
            for path in file.paths(&file.text).into_iter().filter(|p| p.first().is_some_and(|root| root == "crate")) {
                let used = path[1..].join("::");
                let covers = |a: &str| used == a || used.starts_with(&format!("{a}::"));
                if !covers(module) && !allowed.iter().any(|a| covers(a)) {
                    wrong.push(format!("{} uses {used}; it may use {}", file.name, allowed.join(", ")));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_files_of_a_folder_use_each_other_in_a_circle() {
    let mut wrong = Vec::new();
    for module in order() {
        let files: Vec<SourceFile> = files_of("src").into_iter().filter(|f| f.module() == module).collect();
        wrong.extend(circles(&files).iter().map(|circle| format!("{module}: {}", circle.join(", "))));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_core_touches_no_file_clock_or_terminal() {
    let outside = ["record", "main", "cli", "desk"];
    let forbidden = ["std::fs", "println!", "eprintln!", "SystemTime", "Instant::now", "std::env"];
    let mut wrong = Vec::new();
    for file in files_of("src").into_iter().filter(|f| !outside.contains(&f.module()) && !f.name.ends_with("tests.rs"))
    {
        // Tests at the end of a file or in one of their own may do as they like.
        for word in forbidden.into_iter().filter(|word| file.body().contains(word)) {
            wrong.push(format!("{}: {word}", file.name));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_file_says_what_it_is_and_none_is_too_long() {
    let mut wrong = Vec::new();
    for file in ["src", "tests", "benches"].into_iter().flat_map(files_of) {
        if file.head.is_empty() {
            wrong.push(format!("{} does not open with //!", file.name));
        }
        let usual = if file.name.starts_with("src") { MOST_LINES } else { MOST_LINES_OF_TESTS };
        let most = LONGER.iter().find(|(name, _)| *name == file.name).map_or(usual, |(_, most)| *most);
        if file.lines > most {
            wrong.push(format!("{} has {} lines, more than {most}", file.name, file.lines));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_file_of_the_core_opens_with_what_it_is_and_what_it_is_given() {
    // The program's own files say what they are; `lib.rs` draws the whole. Tests in files of their own are named so.
    let mut wrong = Vec::new();
    for file in files_of("src").into_iter().filter(|f| !["cli", "main", "lib"].contains(&f.module())) {
        let is_test = file.name.ends_with("tests.rs");
        let parts: Vec<&str> = file.head.split("\n\n").collect();
        if !is_test && (parts.len() < 2 || !parts[1..].iter().any(|p| p.contains("Given"))) {
            wrong.push(format!(
                "{}: the head needs one sentence that says what the file is, an empty line, and what it is given",
                file.name
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn conversion_factors_stand_in_one_file() {
    let mut wrong = Vec::new();
    // The simulation has its own, on purpose: a slip in the solver's would show in a rehearsal.
    let own = ["quantity", "plan", "simulate"];
    for file in files_of("src").into_iter().filter(|f| !own.contains(&f.module())) {
        if file.name.ends_with("_tests.rs") {
            continue;
        }
        for factor in ["* 3.6", "/ 3.6", "0.4535", "6.8947", "1609.344 *"] {
            if file.body().contains(factor) {
                wrong.push(format!("{}: {factor}", file.name));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
