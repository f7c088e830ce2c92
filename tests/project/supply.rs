//! That none of the libraries needs a library of the system. Licences, sources and doubles are asked by `cargo deny`.
//!
//! Given what cargo knows of the locked dependencies, all systems and features; looks at every package.

use serde_json::Value;
use std::process::Command;

/// Packages that say `links` only so that there is one of them, not for a library of the system.
const SINGLE: [&str; 2] = ["rayon-core", "wasm-bindgen-shared"];

#[test]
fn no_library_needs_one_of_the_system() {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked", "--manifest-path"])
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml"))
        .output()
        .expect("cargo starts");
    let told = String::from_utf8_lossy(&output.stderr);
    // Without a network, packages of other systems are not on this machine.
    if !output.status.success() && (told.contains("failed to download") || told.contains("--offline")) {
        println!("skipped: cargo cannot fetch what it would look at");
        return;
    }
    assert!(output.status.success(), "{told}");
    let known: Value = serde_json::from_slice(&output.stdout).expect("cargo writes JSON");
    let packages = known["packages"].as_array().expect("packages");
    assert!(packages.len() > 100, "cargo told of {} packages only", packages.len());
    for package in packages {
        let name = package["name"].as_str().unwrap_or("");
        assert!(package["links"].is_null() || SINGLE.contains(&name), "{name} links {}", package["links"]);
    }
}
