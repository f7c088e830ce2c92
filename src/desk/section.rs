//! A form as it is shown: groups with their entries and fields, what was typed and what is wrong beside each.
//!
//! Given the sheet, the document, the changes and the errors by field; gives what the page is filled with.

use super::document::Document;
use super::factors;
use super::field::Field;
use super::outline::Group;
use super::sheet::{Change, Sheet, places};
use super::typed::on_gauge;
use loopwright::wording::capitalised;
use serde::Serialize;
use std::collections::BTreeMap;

/// One field as it is shown.
#[derive(Debug, Clone, Serialize)]
pub struct Cell {
    #[serde(flatten)]
    field: Field,
    /// In the form, such as `run.0.mass_kg`.
    name: String,
    value: String,
    /// In the file.
    was: String,
    /// Typed and not saved.
    changed: bool,
    error: String,
    /// The same as a gauge shows it.
    also: String,
}

/// A table, or one of a list of tables.
#[derive(Debug, Clone, Serialize)]
pub struct Entry {
    title: String,
    first: Vec<Cell>,
    more: Vec<Cell>,
    /// Something in `more` is stated or wrong.
    open: bool,
}

/// A group.
#[derive(Debug, Clone, Serialize)]
pub struct Section {
    id: String,
    heading: String,
    is_list: bool,
    /// Nothing of it is stated, and hardly any day needs it.
    folded: bool,
    entries: Vec<Entry>,
    factors: Option<Named>,
}

impl Section {
    /// The fields with something wrong, each with its name in the form and where it stands.
    pub fn wrong(&self) -> impl Iterator<Item = [String; 2]> {
        let cells = |entry: &Entry| -> Vec<[String; 2]> {
            let place = if entry.title.is_empty() { &self.heading } else { &entry.title };
            let wrong = entry.first.iter().chain(&entry.more).filter(|cell| !cell.error.is_empty());
            wrong.map(|cell| [cell.name.clone(), format!("{place}: {}", cell.field.label)]).collect()
        };
        self.entries.iter().flat_map(cells)
    }
}

/// The factors of a group.
#[derive(Debug, Clone, Serialize)]
struct Named {
    help: String,
    /// Name and words of each.
    there: Vec<[String; 2]>,
}

impl Sheet<'_> {
    /// The form as it is shown, with what was typed and what is wrong.
    pub fn sections(&self, document: &Document, changes: &[Change], errors: &BTreeMap<String, String>) -> Vec<Section> {
        let cell = |before: &str, field: &Field| {
            let name = format!("{before}{}", field.key);
            let change = changes.iter().find(|c| c.name == name);
            let value = change.map_or_else(|| document.shown(&name), |c| c.typed.clone());
            Cell {
                also: on_gauge(field.unit, &value),
                value,
                was: document.shown(&name),
                changed: change.is_some(),
                error: errors.get(&name).cloned().unwrap_or_default(),
                field: field.clone(),
                name,
            }
        };
        let section = |group: &Group| {
            let own = self.own(group, document);
            let entries = places(group, document).into_iter().enumerate().map(|(i, before)| {
                let cells = |all: &[Field]| all.iter().map(|f| cell(&before, f)).collect::<Vec<_>>();
                let (mut first, more) = (cells(&group.first), cells(&group.more));
                first.extend(cells(&own));
                let title = if group.is_list { title(&group.name, i, &first) } else { String::new() };
                Entry { open: more.iter().any(|c| c.changed || !c.error.is_empty()), title, first, more }
            });
            let id = if group.name.is_empty() { "top".into() } else { group.name.clone() };
            let there = || factors::named(document, self.factors).into_iter().map(|n| [n.clone(), factors::label(&n)]);
            let factors = group.factors.clone().map(|help| Named { help, there: there().collect() });
            let (heading, is_list, entries) = (group.heading.clone(), group.is_list, entries.collect::<Vec<_>>());
            let is_used = |c: &Cell| !c.value.is_empty() || c.changed || !c.error.is_empty();
            let folded = group.seldom
                && !(group.name == "rollers" && has_rollers(document))
                && !entries.iter().any(|e| e.first.iter().chain(&e.more).any(is_used));
            Section { id, heading, is_list, folded, entries, factors }
        };
        self.groups.iter().map(section).filter(|s| !s.entries.is_empty()).collect()
    }
}

fn title(name: &str, index: usize, first: &[Cell]) -> String {
    let said = first.first().map(|c| c.value.as_str()).unwrap_or_default();
    let kind = if name == "setup" { "Set-up".to_string() } else { capitalised(name) };
    if said.is_empty() { format!("{kind} {}", index + 1) } else { format!("{kind} {}: {said}", index + 1) }
}

/// Whether anything is ridden on rollers.
fn has_rollers(document: &Document) -> bool {
    let runs = (0..document.count("run")).map(|i| document.shown(&format!("run.{i}.on")));
    let plan = [document.shown("loop.kind"), document.shown("on")];
    runs.chain(plan).any(|on| on.contains("rollers"))
}
