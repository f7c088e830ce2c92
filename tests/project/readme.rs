//! What the README shows of the three-tyre day is what the program prints and draws.
//!
//! With `LOOPWRIGHT_WRITE_SAMPLES=1` both are written anew; they are only ever made this way.

use std::path::Path;
use std::process::{Command, Stdio};

const BEGINS: &str = "$ loopwright solve sample-loops/three-tyres/session.toml --brief\n";
const ENDS: &str = "```\n";
const FIGURE: &str = "sample-loops/three-tyres/differences.svg";

/// The text before what the program printed, the printed, and the text behind it.
fn parts(readme: &str) -> [&str; 3] {
    let (before, rest) = readme.split_once(BEGINS).expect("the README shows the command");
    let (shown, behind) = rest.split_once(ENDS).expect("the block is closed");
    [before, shown, behind]
}

#[test]
fn the_readme_shows_what_the_program_prints_and_draws() {
    let project = Path::new(env!("CARGO_MANIFEST_DIR"));
    let out = tempfile::tempdir().expect("a temporary folder");
    let output = Command::new(env!("CARGO_BIN_EXE_loopwright"))
        .args(["solve", "sample-loops/three-tyres/session.toml", "--brief", "--out"])
        .arg(out.path().join("results"))
        .current_dir(project)
        .env("COLUMNS", "80")
        .stdin(Stdio::null())
        .output()
        .expect("the program starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let printed = String::from_utf8(output.stdout).expect("text");
    let drawn = std::fs::read(out.path().join("results/figures/differences.svg")).expect("the figure is drawn");

    let readme = std::fs::read_to_string(project.join("README.md")).expect("the README is there");
    if std::env::var_os("LOOPWRIGHT_WRITE_SAMPLES").is_some() {
        let [before, _, behind] = parts(&readme);
        std::fs::write(project.join("README.md"), format!("{before}{BEGINS}{printed}{ENDS}{behind}")).expect("written");
        std::fs::write(project.join(FIGURE), &drawn).expect("written");
    } else {
        assert_eq!(parts(&readme)[1], printed, "write it anew with LOOPWRIGHT_WRITE_SAMPLES=1");
        let kept = std::fs::read(project.join(FIGURE)).expect("the figure is there");
        assert!(kept == drawn, "{FIGURE} is not what the program draws; write it anew with LOOPWRIGHT_WRITE_SAMPLES=1");
    }
    assert!(readme.contains(&format!("]({FIGURE})")), "the README shows the figure");
}
