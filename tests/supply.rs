//! Where the libraries come from, under which licences, and that none of them needs a library of the system.
//!
//! Given what cargo knows of the locked dependencies, all systems and features; looks at every package. A tool of its own
//! for this takes longer to build than the program, and this is what of it counts here.

use serde_json::Value;
use std::collections::BTreeMap;
use std::process::Command;

/// Licences that ask for no more than to be named.
const LICENCES: [&str; 11] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "Unicode-3.0",
    "Zlib",
];
/// Packages that say `links` only so that there is one of them, not for a library of the system.
const SINGLE: [&str; 2] = ["rayon-core", "wasm-bindgen-shared"];
/// More versions of one library than this mean that somebody should look.
const MOST_TWICE: usize = 12;

/// `None` without a network, when packages of other systems are not on this machine.
fn packages() -> Option<Vec<Value>> {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked", "--manifest-path"])
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml"))
        .output()
        .expect("cargo starts");
    let told = String::from_utf8_lossy(&output.stderr);
    if !output.status.success() && (told.contains("failed to download") || told.contains("--offline")) {
        println!("skipped: cargo cannot fetch what it would look at");
        return None;
    }
    assert!(output.status.success(), "{told}");
    let known: Value = serde_json::from_slice(&output.stdout).expect("cargo writes JSON");
    Some(known["packages"].as_array().expect("packages").clone())
}

/// Whether a licence expression leaves a choice of which every part is allowed; `/` is an old way of writing OR.
fn allowed(expression: &str) -> bool {
    let expression = expression.replace('/', " OR ");
    let parts = |text: &str, word: &str| -> Vec<String> {
        let (mut parts, mut depth, mut part) = (vec![], 0, String::new());
        for token in text.replace('(', " ( ").replace(')', " ) ").split_whitespace() {
            depth += i32::from(token == "(") - i32::from(token == ")");
            if depth == 0 && token == word {
                parts.push(std::mem::take(&mut part));
            } else {
                part = format!("{part} {token}").trim().to_string();
            }
        }
        parts.push(part);
        parts
    };
    let one = |licence: &str| match licence.strip_prefix('(').and_then(|l| l.strip_suffix(')')) {
        Some(inner) => allowed(inner.trim()),
        None => LICENCES.contains(&licence),
    };
    parts(&expression, "OR").iter().any(|choice| parts(choice, "AND").iter().all(|l| one(l)))
}

#[test]
fn licence_expressions_are_read_as_they_are_meant() {
    for good in ["MIT", "MIT/Apache-2.0", "GPL-3.0 OR MIT", "(MIT OR GPL-3.0) AND Unicode-3.0", "MIT AND Apache-2.0"] {
        assert!(allowed(good), "{good}");
    }
    for bad in ["GPL-3.0", "MIT AND GPL-3.0", "(GPL-3.0 OR AGPL-3.0) AND MIT", ""] {
        assert!(!allowed(bad), "{bad}");
    }
}

#[test]
fn every_library_comes_from_the_registry_under_a_licence_that_asks_little() {
    let mut versions: BTreeMap<String, usize> = BTreeMap::new();
    let Some(packages) = packages() else { return };
    for package in packages {
        let text = |key: &str| package[key].as_str().unwrap_or("").to_string();
        let name = text("name");
        *versions.entry(name.clone()).or_default() += 1;
        if name == env!("CARGO_PKG_NAME") {
            continue;
        }
        assert_eq!(text("source"), "registry+https://github.com/rust-lang/crates.io-index", "{name}");
        assert!(allowed(&text("license")), "{name}: {}", text("license"));
        assert!(package["links"].is_null() || SINGLE.contains(&name.as_str()), "{name} links {}", text("links"));
    }
    assert!(versions.len() > 100, "cargo told of {} packages only", versions.len());
    let twice: Vec<&String> = versions.iter().filter(|(_, n)| **n > 1).map(|(name, _)| name).collect();
    println!("in more than one version: {twice:?}");
    assert!(twice.len() <= MOST_TWICE, "{twice:?}");
}
