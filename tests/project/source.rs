//! What the files of the program use of each other, read from their text.
//!
//! Given a folder; gives its files and the paths that stand in their code, `use` trees taken apart. It knows the few forms
//! of paths that rustfmt leaves, not the whole language.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// One Rust file.
pub struct SourceFile {
    /// From the root of the project, `src/solve/fit.rs`.
    pub name: String,
    /// Opening comment without its marks.
    pub head: String,
    /// Code without comments.
    pub text: String,
    pub lines: usize,
}

/// All Rust files below a folder of the project.
pub fn files_of(folder: &str) -> Vec<SourceFile> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let mut paths = Vec::new();
    rust_files(&root.join(folder), &mut paths);
    paths.sort();
    paths
        .into_iter()
        .map(|path| {
            let text = std::fs::read_to_string(&path).expect("the file is text");
            let head = text.lines().map_while(|l| l.strip_prefix("//!")).map(|l| l.trim().to_string());
            SourceFile {
                name: path.strip_prefix(&root).expect("it lies below").to_string_lossy().replace('\\', "/"),
                head: head.collect::<Vec<_>>().join("\n"),
                lines: text.lines().count(),
                text: text.lines().filter(|l| !l.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n"),
            }
        })
        .collect()
}

fn rust_files(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("the folder is there").flatten() {
        let path = entry.path();
        if path.is_dir() {
            rust_files(&path, out);
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
}

impl SourceFile {
    /// Module of the library that the file belongs to.
    pub fn module(&self) -> &str {
        let below = self.name.strip_prefix("src/").unwrap_or("");
        below.split('/').next().unwrap_or("").trim_end_matches(".rs")
    }

    /// Code before the tests at the end.
    pub fn body(&self) -> &str {
        self.text.split("#[cfg(test)]").next().unwrap_or("")
    }

    /// Path of its own module below the crate.
    fn place(&self) -> Vec<String> {
        let below = self.name.trim_start_matches("src/").trim_end_matches(".rs");
        let mut parts: Vec<String> = below.split('/').map(str::to_string).collect();
        if parts.last().is_some_and(|last| last == "mod") {
            parts.pop();
        }
        parts
    }

    /// Paths that begin with `crate`, `super` or `self`.
    pub fn paths(&self, code: &str) -> Vec<Vec<String>> {
        let mut out = Vec::new();
        for root in ["crate", "super", "self"] {
            for (at, _) in code.match_indices(&format!("{root}::")) {
                let before = code[..at].chars().next_back().unwrap_or(' ');
                // Not the end of another name, not the second `super` of two, and not `pub(in crate::a)`, which uses nothing.
                let is_visibility = code[..at].ends_with("pub(in ");
                if !(before.is_alphanumeric() || before == '_' || before == ':' || is_visibility) {
                    tree(&code[at..], &[], &mut out);
                }
            }
        }
        out
    }
}

/// Takes a path or a `use` tree apart; gives how many bytes it took.
fn tree(text: &str, before: &[String], out: &mut Vec<Vec<String>>) -> usize {
    let mut path = before.to_vec();
    let mut at = 0;
    loop {
        let rest = &text[at..];
        if rest.starts_with('{') {
            at += 1;
            loop {
                at += space(&text[at..]);
                match text[at..].chars().next() {
                    Some('}') => return at + 1,
                    Some(',') => at += 1,
                    Some(_) => {
                        let took = tree(&text[at..], &path, out);
                        if took == 0 {
                            return at;
                        }
                        at += took;
                    }
                    None => return at,
                }
            }
        }
        let name: String = rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_' || *c == '*').collect();
        at += name.len();
        if (path.is_empty() || name != "self") && name != "*" && !name.is_empty() {
            path.push(name);
        }
        if !text[at..].starts_with("::") || text[at..].starts_with("::<") {
            out.push(path);
            // Another name for it is of no interest here.
            if let Some(alias) = text[at..].strip_prefix(" as ") {
                at += 4 + alias.chars().take_while(|c| c.is_alphanumeric() || *c == '_').count();
            }
            return at;
        }
        at += 2;
    }
}

fn space(text: &str) -> usize {
    text.len() - text.trim_start().len()
}

/// Groups of files of one module that use each other in a circle, each group sorted.
pub fn circles(files: &[SourceFile]) -> Vec<Vec<String>> {
    let by_place: BTreeMap<Vec<String>, usize> = files.iter().enumerate().map(|(i, f)| (f.place(), i)).collect();
    let uses: Vec<BTreeSet<usize>> = files.iter().map(|f| used_by(f, files, &by_place)).collect();
    // What is reached from each file, itself only by a way round.
    let reached: Vec<BTreeSet<usize>> = (0..files.len())
        .map(|start| {
            let mut seen = BTreeSet::new();
            let mut open: Vec<usize> = uses[start].iter().copied().collect();
            while let Some(next) = open.pop() {
                if seen.insert(next) {
                    open.extend(&uses[next]);
                }
            }
            seen
        })
        .collect();
    let mut groups: BTreeSet<Vec<String>> = BTreeSet::new();
    for i in (0..files.len()).filter(|i| reached[*i].contains(i)) {
        let group = (0..files.len()).filter(|j| reached[i].contains(j) && reached[*j].contains(&i));
        groups.insert(group.map(|j| files[j].name.clone()).collect());
    }
    groups.into_iter().collect()
}

/// Other files of the module that a file uses, its tests apart.
fn used_by(file: &SourceFile, files: &[SourceFile], by_place: &BTreeMap<Vec<String>, usize>) -> BTreeSet<usize> {
    let place = file.place();
    let mut out = BTreeSet::new();
    let mut add = |target: Vec<String>| {
        if let Some(i) = resolved(&target, files, by_place, 4).filter(|i| files[*i].name != file.name) {
            out.insert(i);
        }
    };
    for path in file.paths(file.body()) {
        add(absolute(&path, &place));
    }
    // Its own children by their bare names, but not those that are only handed on.
    let body = without_handed_on(file.body());
    for child in by_place.keys().filter(|p| p.len() == place.len() + 1 && p.starts_with(&place)) {
        let name = format!("{}::", child.last().expect("a child has a name"));
        let named = body.match_indices(&name).any(|(at, _)| {
            let before = body[..at].chars().next_back().unwrap_or(' ');
            !(before.is_alphanumeric() || before == '_' || before == ':')
        });
        if named {
            add(child.clone());
        }
    }
    out
}

/// Code without `pub use` and `pub(crate) use`.
fn without_handed_on(code: &str) -> String {
    statements(code).into_iter().filter(|s| !is_handed_on(s)).collect::<Vec<_>>().join(";")
}

fn statements(code: &str) -> Vec<&str> {
    code.split(';').collect()
}

fn is_handed_on(statement: &str) -> bool {
    let s = statement.trim_start();
    s.starts_with("pub use ") || s.starts_with("pub(crate) use ") || s.starts_with("pub(super) use ")
}

/// A path from the crate's root without the word `crate`.
fn absolute(path: &[String], place: &[String]) -> Vec<String> {
    let mut at: Vec<String> = place.to_vec();
    for (i, part) in path.iter().enumerate() {
        match part.as_str() {
            "crate" if i == 0 => at.clear(),
            "self" if i == 0 => {}
            "super" => {
                at.pop();
            }
            _ => at.push(part.clone()),
        }
    }
    at
}

/// The file in which the target of a path stands; names that a `mod.rs` hands on are followed.
fn resolved(
    target: &[String],
    files: &[SourceFile],
    by_place: &BTreeMap<Vec<String>, usize>,
    depth: usize,
) -> Option<usize> {
    let (length, file) = (1..=target.len()).rev().find_map(|n| Some((n, *by_place.get(&target[..n])?)))?;
    let Some(name) = target.get(length) else { return Some(file) };
    let place = files[file].place();
    for statement in statements(files[file].body()).into_iter().filter(|s| is_handed_on(s)) {
        let start = statement.find("use ").map_or(0, |at| at + 4);
        let mut paths = Vec::new();
        tree(&statement[start..], &[], &mut paths);
        for path in paths.into_iter().filter(|p| p.last() == Some(name)) {
            let rooted = matches!(path.first().map(String::as_str), Some("crate" | "super" | "self"));
            let there = if rooted { absolute(&path, &place) } else { [place.clone(), path].concat() };
            if depth > 0 && there != target {
                return resolved(&there, files, by_place, depth - 1);
            }
        }
    }
    Some(file)
}

#[test]
fn paths_are_read_from_every_form_of_use() {
    let file = SourceFile { name: "src/a/b.rs".into(), head: String::new(), text: String::new(), lines: 0 };
    let code = "use crate::{one::{Two, three::*}, four};\nuse super::c::D as E;\nfn f() { super::super::g::h(); crate::i::J::<u8>::k() }\npub(crate) fn x() {}\npub(in crate::l) fn y() {}";
    let mut paths: Vec<String> = file.paths(code).into_iter().map(|p| p.join("::")).collect();
    paths.sort();
    let expected =
        ["crate::four", "crate::i::J", "crate::one::Two", "crate::one::three", "super::c::D", "super::super::g::h"];
    assert_eq!(paths, expected);
}

#[test]
fn a_circle_is_found_through_what_a_folder_hands_on() {
    let file =
        |name: &str, text: &str| SourceFile { name: name.into(), head: String::new(), text: text.into(), lines: 1 };
    let files = [
        file("src/m/mod.rs", "mod a;\nmod b;\nmod c;\npub use a::A;\npub use b::B"),
        file("src/m/a.rs", "use super::B;"),
        file("src/m/b.rs", "use crate::m::{A};"),
        file("src/m/c.rs", "use super::a::A;\n#[cfg(test)]\nmod tests { use super::*; }"),
    ];
    assert_eq!(circles(&files), [["src/m/a.rs", "src/m/b.rs"]]);
}
