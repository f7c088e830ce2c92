//! A form over a file: what it shows, what was typed into it, and what the program says of that.
//!
//! Given the groups of a schema, the text of the file and a posted form; gives sections to show, the changes, and the text
//! with them. Every error is the program's own, placed beside the field whose line it names. It reads and writes nothing.

use super::document::Document;
use super::factors;
use super::field::{Field, Kind};
use super::form::Form;
use super::outline::Group;
use super::refusal::Refusal;
use loopwright::error::Error;
use serde::Serialize;
use std::borrow::Cow;

/// A value that was typed and differs from that of the file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    pub name: String,
    pub label: String,
    pub was: String,
    pub typed: String,
    #[serde(skip)]
    pub(super) kind: Kind,
}

impl Change {
    pub fn new(name: String, was: String, typed: String, kind: Kind) -> Change {
        Change { label: name.clone(), name, was, typed, kind }
    }
}

/// See the module.
pub struct Sheet<'a> {
    pub groups: &'a [Group],
    pub file: &'a str,
    /// Names of factors for which a form has fields, whether the text states them or not.
    pub factors: &'a [String],
    /// The program's check of a whole text.
    pub check: &'a dyn Fn(&str) -> Option<Error>,
}

impl Sheet<'_> {
    /// Every field of the file with its name in the form.
    pub(super) fn names<'b>(&'b self, document: &Document) -> Vec<(String, Cow<'b, Field>)> {
        let mut out = Vec::new();
        for group in self.groups {
            let own = self.own(group, document);
            for before in places(group, document) {
                let all = group.first.iter().chain(&group.more).map(Cow::Borrowed);
                let all = all.chain(own.iter().cloned().map(Cow::Owned));
                out.extend(all.map(|field| (format!("{before}{}", field.key), field)));
            }
        }
        out
    }

    /// Fields of every entry of a group that are named by the tester.
    pub(super) fn own(&self, group: &Group, document: &Document) -> Vec<Field> {
        match group.factors {
            Some(_) => factors::named(document, self.factors).iter().map(|name| factors::field(name)).collect(),
            None => Vec::new(),
        }
    }

    /// What was typed and differs from the text.
    pub fn changes(&self, document: &Document, form: &Form) -> Result<Vec<Change>, Refusal> {
        let mut out = Vec::new();
        for (name, field) in self.names(document) {
            if !form.has(&name) {
                continue;
            }
            let (typed, was) = (form.line(&name)?, document.shown(&name));
            if typed != was {
                out.push(Change { name, label: field.label.clone(), was, typed, kind: field.kind.clone() });
            }
        }
        Ok(out)
    }
}

/// What stands before the keys of a group in their names: one place for a table, one for each of a list.
pub(super) fn places(group: &Group, document: &Document) -> Vec<String> {
    match (group.name.as_str(), group.is_list) {
        ("", _) => vec![String::new()],
        (name, false) => vec![format!("{name}.")],
        (name, true) => (0..document.count(name)).map(|i| format!("{name}.{i}.")).collect(),
    }
}
