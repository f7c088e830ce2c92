//! Reading what was written: the words in an SVG with the room they take, and headless Chromium where there is one.
//!
//! Given SVG text; gives boxes. Widths are estimated with the drawing side's own table, so a second test measures the
//! same words in a browser.
#![allow(dead_code)]

use loopwright::plot::lettering::{self, Letters};
use std::path::{Path, PathBuf};
use std::process::Command;

/// A piece of text with the rectangle it covers, in units of the view box.
#[derive(Debug, Clone)]
pub struct Words {
    pub text: String,
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
}

impl Words {
    pub fn touches(&self, other: &Words) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.bottom && other.top < self.bottom
    }
}

fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    let from = tag.find(&format!(" {name}=\""))? + name.len() + 3;
    tag[from..].split('"').next()
}

fn number(tag: &str, name: &str) -> f64 {
    attribute(tag, name).and_then(|v| v.parse().ok()).unwrap_or(f64::NAN)
}

fn unescape(text: &str) -> String {
    text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&apos;", "'").replace("&amp;", "&")
}

/// Width and height of the view box.
pub fn view_box(svg: &str) -> [f64; 2] {
    let root = svg.split('>').next().unwrap_or_default();
    let values: Vec<f64> =
        attribute(root, "viewBox").unwrap_or_default().split(' ').filter_map(|v| v.parse().ok()).collect();
    [values[2], values[3]]
}

/// Every text element; capitals are 0.72 of the letter size high, descenders 0.21.
pub fn words(svg: &str) -> Vec<Words> {
    svg.split("<text")
        .skip(1)
        .map(|piece| {
            let (tag, rest) = piece.split_once('>').expect("a tag ends");
            let text = unescape(rest.split("</text>").next().unwrap_or_default());
            let (x, y, size) = (number(tag, "x"), number(tag, "y"), number(tag, "font-size"));
            let letters = if tag.contains("font-weight=\"bold\"") { Letters::Title } else { Letters::Body };
            let width = lettering::width(&text, size, letters);
            let left = match attribute(tag, "text-anchor") {
                Some("middle") => x - width / 2.0,
                Some("end") => x - width,
                _ => x,
            };
            Words { text, left, right: left + width, top: y - 0.72 * size, bottom: y + 0.21 * size }
        })
        .collect()
}

/// The browser, when there is one: `CHROMIUM`, else the usual place.
pub fn chromium() -> Option<PathBuf> {
    let named = std::env::var_os("CHROMIUM").map(PathBuf::from);
    let path = named.unwrap_or_else(|| PathBuf::from("/usr/bin/chromium"));
    path.exists().then_some(path)
}

/// A tool that a test needs is not there: said, and a failure where tests must be complete (`CI=true`).
pub fn missing(what: &str) {
    assert!(std::env::var_os("CI").is_none_or(|ci| ci != "true"), "{what} is missing and CI=true");
    println!("skipped: no {what}");
}

/// The script of axe-core: `AXE`, else fetched once by npm into the test folder; `None` where npm or its registry is missing.
pub fn axe() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("AXE") {
        return Some(PathBuf::from(named));
    }
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("axe");
    let script = folder.join("node_modules/axe-core/axe.min.js");
    if !script.exists() {
        std::fs::create_dir_all(&folder).ok()?;
        let mut npm = Command::new("npm");
        npm.args(["install", "--silent", "--no-audit", "--no-fund", "--ignore-scripts", "--prefix"]).arg(&folder);
        npm.arg("axe-core@4.14.1").output().ok()?;
    }
    script.exists().then_some(script)
}

/// Runs the browser without a window on a file and gives what it prints.
pub fn browse(chromium: &Path, arguments: &[&str], page: &Path) -> Vec<u8> {
    run(chromium, arguments, page).stdout
}

/// What a page writes to the browser's console while it opens, one line each.
pub fn console(chromium: &Path, page: &Path) -> Vec<String> {
    let output = run(chromium, &["--enable-logging=stderr", "--virtual-time-budget=3000", "--dump-dom"], page);
    let log = String::from_utf8_lossy(&output.stderr).into_owned();
    log.lines().filter(|line| line.contains(":CONSOLE")).map(String::from).collect()
}

fn run(chromium: &Path, arguments: &[&str], page: &Path) -> std::process::Output {
    let profile = tempfile::tempdir().expect("a folder for the profile");
    let output = Command::new(chromium)
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--allow-file-access-from-files"])
        // Shared memory is small in many a container, and a browser that finds none ends.
        .arg("--disable-dev-shm-usage")
        .arg(format!("--user-data-dir={}", profile.path().display()))
        .args(arguments)
        .arg(format!("file://{}", page.display()))
        .output()
        .expect("the browser starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    output
}

/// The text that a script of the page put into the element with the id `answer`.
pub fn answer(chromium: &Path, page: &Path) -> String {
    let arguments = ["--dump-dom", "--virtual-time-budget=8000"];
    let dom = String::from_utf8_lossy(&browse(chromium, &arguments, page)).into_owned();
    let from = dom.find("id=\"answer\">").expect("the page answers") + "id=\"answer\">".len();
    unescape(dom[from..].split("</").next().unwrap_or_default())
}

/// Pages of a PDF.
pub fn sheets(pdf: &[u8]) -> usize {
    let text = String::from_utf8_lossy(pdf);
    text.matches("/Type /Page\n").count() + text.matches("/Type /Page ").count()
}

/// Where the lowest word of a PDF ends, points from the top; `None` where `pdftotext` is missing.
pub fn lowest_word(pdf: &Path, arguments: &[&str]) -> Option<f64> {
    let output = Command::new("pdftotext").args(arguments).arg(pdf).arg("-").output().ok()?;
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.lines().filter(|line| line.contains("<word ")).map(|line| number(line, "yMax")).max_by(f64::total_cmp)
}

/// Height of the first word with this text in a PDF, points; `None` where `pdftotext` is missing.
pub fn height_of_word(pdf: &Path, arguments: &[&str], word: &str) -> Option<f64> {
    let output = Command::new("pdftotext").args(arguments).arg(pdf).arg("-").output().ok()?;
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let line = text.lines().filter(|line| line.contains(&format!(">{word}<"))).max_by(|a, b| {
        let height = |line: &str| number(line, "yMax") - number(line, "yMin");
        height(a).total_cmp(&height(b))
    })?;
    Some(number(line, "yMax") - number(line, "yMin"))
}
