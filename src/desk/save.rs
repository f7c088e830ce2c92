//! A session or plan checked while its form is filled in, and saved.
//!
//! Given what was posted; writes the file if nothing that was typed is wrong and nobody else has changed it since the page was
//! made. Where somebody has, both are shown and nothing is written.

use super::answer::Answer;
use super::document::Document;
use super::edit::{What, conflict, filled, judged};
use super::factors;
use super::folder::NotReplaced;
use super::form::Form;
use super::open::Desk;
use super::refusal::Refusal;
use super::{day, plan};
use serde_json::json;

/// What the program says while the form is filled in. Nothing is written.
pub fn check(desk: &Desk, form: &Form, what: What) -> Result<Answer, Refusal> {
    let (name, base) = (form.line(what.key())?, form.text("base")?);
    let (changes, judged) = judged(desk, what, &name, &base, form)?;
    let changed: Vec<&str> = changes.iter().map(|c| c.name.as_str()).collect();
    let sound = judged.errors.is_empty() && judged.elsewhere.is_none();
    let found = match what {
        What::Plan if sound => Some(plan::found_markup(desk, &judged.text, &name)?),
        _ => None,
    };
    Ok(Answer::json(&json!({
        "errors": judged.errors, "elsewhere": judged.elsewhere, "changed": changed, "found": found
    })))
}

/// The form with another factor on every set-up, or with one taken out. Nothing is written until it is saved.
pub fn factor(desk: &Desk, mut form: Form, what: What) -> Result<Answer, Refusal> {
    let (name, base) = (form.line(what.key())?, form.text("base")?);
    let document = Document::parse(&base, &name)?;
    let setups = document.count("setup");
    let (gone, typed) = (form.line("take_out")?, form.line("factor")?);
    let mut wrong = String::new();
    if !gone.is_empty() {
        for place in (0..setups).map(|setup| factors::path(setup, &gone)) {
            let empty = document.states(&place).then_some("");
            form.put(&place, empty);
        }
    } else {
        match factors::new_name(&typed, &factors::named(&document, &factors::brought(&form))) {
            Ok(factor) => (0..setups).for_each(|setup| form.put(&factors::path(setup, &factor), Some(""))),
            Err(message) => wrong = message,
        }
    }
    let (changes, judged) = judged(desk, what, &name, &base, &form)?;
    let mut filled = filled(desk, what, &name, &base, &changes, &judged)?;
    filled.factor = if wrong.is_empty() { String::new() } else { typed };
    filled.factor_wrong = wrong;
    let status = if filled.factor_wrong.is_empty() { 200 } else { 422 };
    let answer = match what {
        What::Session => day::page_of(desk, &filled, false)?,
        What::Plan => plan::page_of(desk, &filled, &base, false)?,
    };
    Ok(answer.with_status(status))
}

pub fn save(desk: &Desk, form: Form, what: What) -> Result<Answer, Refusal> {
    // A name that was typed and not yet added is not lost.
    if !form.line("factor")?.is_empty() {
        return factor(desk, form, what);
    }
    let form = &form;
    let (name, base) = (form.line(what.key())?, form.text("base")?);
    let (changes, judged) = judged(desk, what, &name, &base, form)?;
    if judged.of_typed {
        let form = filled(desk, what, &name, &base, &changes, &judged)?;
        let answer = match what {
            What::Session => day::page_of(desk, &form, false)?,
            What::Plan => plan::page_of(desk, &form, &base, false)?,
        };
        return Ok(answer.with_status(422));
    }
    match desk.folder.replace(&name, Some(&base), &judged.text) {
        Ok(()) => Ok(Answer::see(&format!("{}&saved=1", what.place(&name)))),
        Err(NotReplaced::Refused(refusal)) => Err(refusal),
        Err(NotReplaced::Changed(now)) => conflict(desk, what, &name, now.as_deref(), &judged.text, &changes),
    }
}
