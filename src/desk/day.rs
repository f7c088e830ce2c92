//! The day: everything that a session states, as a form in the order of the work.
//!
//! Given the session; shows its form. It writes nothing.

use super::answer::Answer;
use super::edit::{Filled, What, filled, judged};
use super::form::{Form, encoded};
use super::open::Desk;
use super::page::{Place, page};
use super::refusal::Refusal;
use serde_json::json;

pub fn show(desk: &Desk, query: &Form) -> Result<Answer, Refusal> {
    let name = desk.session(query)?;
    if name.is_empty() {
        return Ok(Answer::see("/rides"));
    }
    let base = desk.folder.text(&name)?;
    let (changes, judged) = judged(desk, What::Session, &name, &base, &Form::default())?;
    let form = filled(desk, What::Session, &name, &base, &changes, &judged)?;
    page_of(desk, &form, query.has("saved"))
}

/// The page of a session with its form.
pub fn page_of(desk: &Desk, form: &Filled, saved: bool) -> Result<Answer, Refusal> {
    let query = Form::parse(format!("session={}", encoded(&form.name)).as_bytes())?;
    let frame = desk.frame(Place::Day, "The day", &query);
    page(
        &frame,
        "day",
        &json!({ "form": form.markup()?, "name": form.name, "saved": saved,
        "unsaved": form.unsaved, "wrong": form.wrong, "elsewhere": form.elsewhere, "link": encoded(&form.name) }),
    )
}
