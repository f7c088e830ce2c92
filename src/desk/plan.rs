//! Plan: a day before it is ridden, what it can find, and its run sheet.
//!
//! Given a plan; shows its form with the smallest detectable difference above it. It begins a plan where there is none.

use super::answer::Answer;
use super::edit::{self, Filled, What};
use super::folder::NotReplaced;
use super::form::{Form, encoded};
use super::job;
use super::open::{Desk, FIRST_PLAN};
use super::page::{Place, page};
use super::refusal::Refusal;
use serde_json::json;

/// A plan to begin with; every value is to be changed.
const FIRST: &str = include_str!("html/first-plan.toml");

pub fn show(desk: &Desk, query: &Form) -> Result<Answer, Refusal> {
    let name = desk.plan(query)?;
    if name.is_empty() {
        let frame = desk.frame(Place::Plan, "Plan", query);
        return page(&frame, "plan", &json!({ "form": "", "name": "", "new_name": FIRST_PLAN }));
    }
    let base = desk.folder.text(&name)?;
    let (changes, judged) = edit::judged(desk, What::Plan, &name, &base, &Form::default())?;
    let form = edit::filled(desk, What::Plan, &name, &base, &changes, &judged)?;
    page_of(desk, &form, &base, query.has("saved"))
}

/// The page of a plan with its form.
pub fn page_of(desk: &Desk, form: &Filled, base: &str, saved: bool) -> Result<Answer, Refusal> {
    let frame = desk.frame(Place::Plan, "Plan", &Form::parse(format!("plan={}", encoded(&form.name)).as_bytes())?);
    let filling = json!({
        "form": form.markup()?, "name": form.name, "new_name": "", "link": encoded(&form.name), "saved": saved,
        "found": found_markup(desk, base, &form.name)?,
    });
    page(&frame, "plan", &filling)
}

/// What a text of a plan finds, as data of the page and of its script.
pub fn found_markup(desk: &Desk, text: &str, name: &str) -> Result<serde_json::Value, Refusal> {
    Ok(match job::findable(&desk.folder, text, name) {
        Ok(found) => {
            json!({ "refused": "", "lines": found.lines, "not_separable": found.not_separable.unwrap_or_default() })
        }
        Err(refusal) => json!({ "refused": refusal.message, "lines": [], "not_separable": "" }),
    })
}

/// Writes a first plan.
pub fn begin(desk: &Desk, form: &Form) -> Result<Answer, Refusal> {
    let name = form.line("name")?;
    if !name.ends_with(".toml") || name.contains('/') {
        return Err(Refusal::new(422, format!("«{name}»: give a name that ends in .toml, such as {FIRST_PLAN}")));
    }
    match desk.folder.replace(&name, None, FIRST) {
        Ok(()) => Ok(Answer::see(&format!("{}&saved=1", What::Plan.place(&name)))),
        Err(NotReplaced::Refused(refusal)) => Err(refusal),
        Err(NotReplaced::Changed(_)) => {
            Err(Refusal::new(409, format!("{name}: is already there and is left alone; give another name")))
        }
    }
}

/// The run sheet to print.
pub fn sheet(desk: &Desk, query: &Form) -> Result<Answer, Refusal> {
    let name = desk.plan(query)?;
    let text = desk.folder.text(&name)?;
    Ok(Answer::sheet(job::sheet(&desk.folder, &text, &name, desk.units)?))
}
