//! The order of modules, their heads and their length, as `DEVELOPERS.md` states them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Longest source file, lines.
const MOST_LINES: usize = 500;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// All Rust files below a folder.
fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).expect("the folder is there").flatten() {
        let path = entry.path();
        if path.is_dir() {
            files.extend(rust_files(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            files.push(path);
        }
    }
    files.sort();
    files
}

/// Modules in the order of `lib.rs`.
fn order() -> Vec<String> {
    let text = std::fs::read_to_string(root().join("src/lib.rs")).expect("lib.rs is there");
    text.lines().filter_map(|l| l.strip_prefix("pub mod ")?.strip_suffix(';')).map(str::to_string).collect()
}

/// Module that a file of the library belongs to.
fn module_of(path: &Path) -> Option<String> {
    let below = path.strip_prefix(root().join("src")).ok()?;
    let first = below.components().next()?.as_os_str().to_str()?;
    Some(first.trim_end_matches(".rs").to_string())
}

/// Code of a file without its comments and documentation, which may point anywhere.
fn code(path: &Path) -> String {
    let text = std::fs::read_to_string(path).expect("the file is text");
    text.lines().filter(|l| !l.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

#[test]
fn a_module_uses_only_modules_above_it() {
    let rank: BTreeMap<String, usize> = order().into_iter().enumerate().map(|(i, m)| (m, i)).collect();
    assert!(rank.len() > 15, "lib.rs lists its modules");
    let mut wrong = Vec::new();
    for path in rust_files(&root().join("src")) {
        let Some(here) = module_of(&path).and_then(|m| rank.get(&m).copied()) else { continue };
        for (used, at) in &rank {
            if *at > here && code(&path).contains(&format!("crate::{used}::")) {
                wrong.push(format!("{} uses {used}, which stands below it", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_core_touches_no_file_clock_or_terminal() {
    let outside = ["record", "main", "cli", "desk"];
    let forbidden = ["std::fs", "println!", "eprintln!", "SystemTime", "Instant::now", "std::env"];
    let mut wrong = Vec::new();
    for path in rust_files(&root().join("src")) {
        if module_of(&path).is_some_and(|m| outside.contains(&m.as_str())) {
            continue;
        }
        // Tests at the end of a file may do as they like.
        let text = code(&path);
        let body = text.split("#[cfg(test)]").next().unwrap_or("");
        for word in forbidden {
            if body.contains(word) {
                wrong.push(format!("{}: {word}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_file_says_what_it_is_and_none_is_too_long() {
    let mut wrong = Vec::new();
    for folder in ["src", "tests", "benches"] {
        for path in rust_files(&root().join(folder)) {
            let text = std::fs::read_to_string(&path).expect("the file is text");
            if !text.starts_with("//!") {
                wrong.push(format!("{} does not open with //!", path.display()));
            }
            if text.lines().count() > MOST_LINES {
                wrong.push(format!("{} has {} lines", path.display(), text.lines().count()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn conversion_factors_stand_in_one_file() {
    let mut wrong = Vec::new();
    for path in rust_files(&root().join("src")) {
        let is_test = path.file_name().is_some_and(|n| n.to_string_lossy().ends_with("_tests.rs"));
        if is_test || path.ends_with("quantity.rs") || module_of(&path).as_deref() == Some("plan") {
            continue;
        }
        let text = code(&path);
        let body = text.split("#[cfg(test)]").next().unwrap_or("");
        for factor in ["* 3.6", "/ 3.6", "0.4535", "6.8947", "1609.344 *"] {
            if body.contains(factor) {
                wrong.push(format!("{}: {factor}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
