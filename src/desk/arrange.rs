//! Set-ups and runs of a session put in as the page of the rides asks.
//!
//! Given what was asked of every ride; gives the text of a first session, or changes that of one. A run that is left out stays in
//! the text as a comment. It reads no form but the values that all rides share, and writes nothing.

use super::document::Document;
use super::field::Kind;
use super::form::Form;
use super::job;
use super::open::Desk;
use super::refusal::Refusal;
use super::sheet::Change;
use loopwright::analysis::scaffold::{Differs, PassedOver};
use std::collections::BTreeMap;
use toml_edit::Value;

/// What the form asks of one ride.
pub struct Asked {
    pub file: String,
    pub setup: String,
    pub mass: String,
    pub on: String,
    pub why: String,
}

/// The session that `scaffold` proposes for the rides that were given a set-up.
pub fn first_draft(desk: &Desk, asked: &[Asked], differs: &str) -> Result<String, Refusal> {
    let (with, without): (Vec<&Asked>, Vec<&Asked>) = asked.iter().partition(|a| !a.setup.is_empty());
    let left_out = without
        .into_iter()
        .map(|a| PassedOver {
            file: a.file.clone(),
            reason: if a.why.is_empty() { "given no set-up".into() } else { a.why.clone() },
        })
        .collect();
    let files: Vec<String> = with.into_iter().map(|a| a.file.clone()).collect();
    job::drafted(&desk.folder, &files, left_out, Differs::ALL.into_iter().find(|d| d.word() == differs))
}

/// Puts set-ups and runs in as asked; gives the values that were typed, to be judged.
pub fn arrange(document: &mut Document, asked: &[Asked], form: &Form, is_new: bool) -> Result<Vec<Change>, Refusal> {
    let position = |document: &Document, key: &str, file: &str| {
        (0..document.count("run")).find(|i| document.shown(&format!("run.{i}.{key}")) == file)
    };
    for one in asked.iter().filter(|a| !a.setup.is_empty()) {
        add_setup(document, &one.setup)?;
    }
    for one in asked {
        match (position(document, "file", &one.file), one.setup.is_empty()) {
            (Some(run), false) => {
                let path = format!("run.{run}.setup");
                if document.shown(&path) != one.setup {
                    document.set(&path, Value::from(one.setup.as_str()))?;
                }
            }
            (Some(run), true) => {
                let reason = if one.why.is_empty() { "given no set-up" } else { &one.why };
                document.put_aside("run", run, reason);
            }
            (None, false) if position(document, "second_file", &one.file).is_none() => {
                document.push("run", &[("file", one.file.as_str().into()), ("setup", one.setup.as_str().into())])?;
            }
            // The second file of a run goes with it, and what has no place needs none.
            (None, _) => {}
        }
    }
    let used: Vec<String> = (0..document.count("run")).map(|i| document.shown(&format!("run.{i}.setup"))).collect();
    for setup in (0..document.count("setup")).rev() {
        if !used.contains(&document.shown(&format!("setup.{setup}.id"))) {
            // What only a draft proposed is not worth a comment.
            match is_new {
                true => document.drop("setup", setup),
                false => document.put_aside("setup", setup, "no ride has this set-up"),
            }
        }
    }
    let mut typed: BTreeMap<String, (String, Kind)> = BTreeMap::new();
    typed.insert("rider_and_bike.mass_kg".into(), (form.line("mass")?, Kind::Number));
    typed.insert("loop.kind".into(), (form.line("kind")?, Kind::Choice));
    typed.insert("loop.length_m".into(), (form.line("length")?, Kind::Number));
    for one in asked {
        if let Some(run) = position(document, "file", &one.file) {
            typed.insert(format!("run.{run}.mass_kg"), (one.mass.clone(), Kind::Number));
            typed.insert(format!("run.{run}.on"), (one.on.clone(), Kind::Choice));
        }
    }
    let changed = |(name, (typed, kind)): (String, (String, Kind))| {
        let was = document.shown(&name);
        // The mass of all is needed: left empty it stays the blank that the session has. A first draft says where a ride looks to
        // have been.
        let of_all = ["rider_and_bike.mass_kg", "loop.kind", "loop.length_m"].contains(&name.as_str());
        let keeps = typed.is_empty() && (of_all || (is_new && name.ends_with(".on")));
        (typed != was && !keeps).then(|| Change::new(name, was, typed, kind))
    };
    Ok(typed.into_iter().filter_map(changed).collect())
}

fn add_setup(document: &mut Document, id: &str) -> Result<(), Refusal> {
    let ids: Vec<String> = (0..document.count("setup")).map(|i| document.shown(&format!("setup.{i}.id"))).collect();
    if ids.iter().any(|known| known == id) {
        return Ok(());
    }
    // The blank of a first draft is filled before another is added.
    match ids.iter().position(String::is_empty) {
        Some(blank) => document.set(&format!("setup.{blank}.id"), Value::from(id)),
        None => document.push("setup", &[("id", Value::from(id)), ("label", Value::from(""))]),
    }
}
