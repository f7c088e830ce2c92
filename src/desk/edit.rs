//! The form over a session or plan, and the page of a file that two hands have changed.
//!
//! Given the file and what was posted; gives the form with what the program says of it. It writes nothing.

use super::answer::Answer;
use super::document::Document;
use super::factors;
use super::form::{Form, encoded};
use super::job;
use super::judged::Judged;
use super::open::Desk;
use super::outline::Group;
use super::page::{Place, page, part};
use super::refusal::Refusal;
use super::section::Section;
use super::sheet::{Change, Sheet};
use loopwright::error::Error;
use serde::Serialize;
use serde_json::json;

/// Which of the two files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    Session,
    Plan,
}

impl What {
    /// Name of the field and of the page.
    pub fn key(self) -> &'static str {
        match self {
            What::Session => "session",
            What::Plan => "plan",
        }
    }

    fn page(self) -> &'static str {
        match self {
            What::Session => "/day",
            What::Plan => "/plan",
        }
    }

    fn check(self, text: &str, file: &str) -> Option<Error> {
        match self {
            What::Session => job::wrong_session(text, file),
            What::Plan => job::wrong_plan(text, file),
        }
    }

    fn groups(self, desk: &Desk) -> &[Group] {
        match self {
            What::Session => &desk.session_groups,
            What::Plan => &desk.plan_groups,
        }
    }

    /// Where a page of it leads back to.
    pub fn place(self, name: &str) -> String {
        format!("{}?{}={}", self.page(), self.key(), encoded(name))
    }
}

/// A form with its values, ready to be put into a page.
#[derive(Debug, Serialize)]
pub struct Filled {
    /// Path of this desk.
    at: String,
    pub action: &'static str,
    pub key: &'static str,
    pub name: String,
    /// The text the page was made from, as a JSON string.
    pub base: String,
    sections: Vec<Section>,
    pub unsaved: usize,
    /// What is still wrong with the file, if it is beside no field.
    pub elsewhere: String,
    pub wrong: usize,
    /// The fields with something wrong: name in the form, and where each stands.
    wrong_fields: Vec<[String; 2]>,
    /// The name of another factor as it was typed, and what is wrong with it.
    pub factor: String,
    pub factor_wrong: String,
}

impl Filled {
    pub fn markup(&self) -> Result<String, Refusal> {
        part(&self.at, "fields", self)
    }
}

/// The form of a text, with what was typed.
pub fn filled(
    desk: &Desk,
    what: What,
    name: &str,
    base: &str,
    changes: &[Change],
    judged: &Judged,
) -> Result<Filled, Refusal> {
    let check = |text: &str| what.check(text, name);
    let sheet = Sheet { groups: what.groups(desk), file: name, factors: &judged.factors, check: &check };
    let sections = sheet.sections(&Document::parse(base, name)?, changes, &judged.errors);
    Ok(Filled {
        at: desk.gate.path().into(),
        wrong_fields: sections.iter().flat_map(Section::wrong).collect(),
        action: what.page(),
        key: what.key(),
        name: name.into(),
        base: json!(base).to_string(),
        sections,
        unsaved: changes.len(),
        elsewhere: judged.elsewhere.clone().unwrap_or_default(),
        wrong: judged.errors.len(),
        factor: String::new(),
        factor_wrong: String::new(),
    })
}

/// What the program says of a text and what was posted over it.
pub fn judged(desk: &Desk, what: What, name: &str, base: &str, form: &Form) -> Result<(Vec<Change>, Judged), Refusal> {
    let check = |text: &str| what.check(text, name);
    let factors = factors::brought(form);
    let sheet = Sheet { groups: what.groups(desk), file: name, factors: &factors, check: &check };
    let changes = sheet.changes(&Document::parse(base, name)?, form)?;
    let judged = sheet.judge(base, &changes)?;
    Ok((changes, judged))
}

/// A change that met another, and whether it can be put on the file as it is now.
#[derive(Serialize)]
struct Met {
    #[serde(flatten)]
    change: Change,
    now: String,
    /// Whether the run or set-up in this place is still the same one.
    fits: bool,
}

/// Shows the file as it is now beside the text that would have been saved. Nothing was written.
pub fn conflict(
    desk: &Desk,
    what: What,
    name: &str,
    now: Option<&str>,
    mine: &str,
    changes: &[Change],
) -> Result<Answer, Refusal> {
    let mut met = Vec::new();
    if let Some(now) = now {
        let (there, here) = (Document::parse(now, name)?, Document::parse(mine, name)?);
        for change in changes {
            let fits = identity(&there, &change.name) == identity(&here, &change.name);
            met.push(Met { now: there.shown(&change.name), change: change.clone(), fits });
        }
    }
    let frame = desk.frame(Place::Elsewhere, "Changed meanwhile", &Form::default());
    let filling = json!({
        "action": what.page(), "key": what.key(), "name": name, "place": what.place(name), "is_gone": now.is_none(),
        "now": now.unwrap_or_default(), "mine": mine, "base": json!(now.unwrap_or_default()).to_string(),
        "met": met, "any_fits": met.iter().any(|m| m.fits),
    });
    Ok(page(&frame, "conflict", &filling)?.with_status(409))
}

/// What tells one run or set-up from another that took its place in the list.
fn identity(document: &Document, name: &str) -> String {
    let mut parts = name.split('.');
    match (parts.next(), parts.next().filter(|i| i.parse::<usize>().is_ok())) {
        (Some("run"), Some(i)) => document.shown(&format!("run.{i}.file")),
        (Some("setup"), Some(i)) => document.shown(&format!("setup.{i}.id")),
        _ => String::new(),
    }
}
