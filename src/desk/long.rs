//! Long work: started from a page, shown with its progress, cancelled on request.
//!
//! Given a session or plan and a number; starts the draws of the budget, a forecast or rehearsals. It keeps nothing in a file.

use super::answer::Answer;
use super::edit::What;
use super::form::{Form, encoded};
use super::job;
use super::open::Desk;
use super::page::{Place, page};
use super::refusal::Refusal;
use super::work::State;
use loopwright::analysis::{FEWEST_DRAWS, MOST_DRAWS};
use loopwright::wording::counted;
use serde_json::json;

/// Most days that are rehearsed from the page; more are for the command line.
const MOST_DAYS: u64 = 1000;

fn number(form: &Form, least: u64, most: u64) -> Result<u64, Refusal> {
    let typed = form.line("number")?;
    let number = typed.parse().ok().filter(|n| (least..=most).contains(n));
    number.ok_or_else(|| Refusal::new(422, format!("«{typed}»: give a whole number from {least} to {most}")))
}

fn begun(id: u64) -> Answer {
    Answer::see(&format!("/work?id={id}"))
}

/// The budget of a session checked by random draws.
pub fn draws(desk: &Desk, form: &Form) -> Result<Answer, Refusal> {
    let name = form.line("session")?;
    let number = number(form, FEWEST_DRAWS as u64, MOST_DRAWS as u64)?;
    let text = desk.folder.text(&name)?;
    // Refused before it begins rather than after.
    desk.shelf.solved(&desk.folder, &text, &name, desk.units)?;
    let (folder, file) = (desk.folder.clone(), name.clone());
    let id = desk.works.start(
        format!("{number} random draws of all inputs of {name}"),
        format!("/result?session={}", encoded(&name)),
        number,
        Box::new(move |each| job::drawn(&folder, &text, &file, number as usize, each)),
    )?;
    Ok(begun(id))
}

/// The whole forecast of a plan.
pub fn forecast(desk: &Desk, form: &Form) -> Result<Answer, Refusal> {
    let name = form.line("plan")?;
    let text = desk.folder.text(&name)?;
    // Refused before it begins rather than after.
    let parts = job::parts_of_forecast(&desk.folder, &text, &name)?;
    let (folder, file, units) = (desk.folder.clone(), name.clone(), desk.units);
    let id = desk.works.start(
        format!("What {name} can find and what would help"),
        What::Plan.place(&name),
        parts as u64,
        Box::new(move |each| job::foretold(&folder, &text, &file, units, each)),
    )?;
    Ok(begun(id))
}

/// A planned day rehearsed many times.
pub fn rehearse(desk: &Desk, form: &Form) -> Result<Answer, Refusal> {
    let name = form.line("plan")?;
    let days = number(form, 1, MOST_DAYS)?;
    let text = desk.folder.text(&name)?;
    let (folder, file) = (desk.folder.clone(), name.clone());
    let id = desk.works.start(
        format!("{} of {name}", counted(days as usize, "rehearsal")),
        What::Plan.place(&name),
        days,
        Box::new(move |each| job::rehearsed(&folder, &text, &file, days, each)),
    )?;
    Ok(begun(id))
}

pub fn show(desk: &Desk, query: &Form) -> Result<Answer, Refusal> {
    let work = desk.works.find(&query.line("id")?)?;
    let mut frame = desk.frame(Place::Elsewhere, &work.title, &Form::default());
    frame.again_s = if work.is_running() { 2 } else { 0 };
    page(
        &frame,
        "work",
        &json!({
            "id": work.id, "title": work.title, "from": work.from, "parts": work.parts, "done": work.done(),
            "ending": work.is_ending(), "state": work.state(),
        }),
    )
}

/// How far it is, for the script of the page.
pub fn state(desk: &Desk, query: &Form) -> Result<Answer, Refusal> {
    let work = desk.works.find(&query.line("id")?)?;
    let running = matches!(work.state(), State::Running);
    Ok(Answer::json(&json!({ "running": running, "done": work.done(), "parts": work.parts })))
}

pub fn cancel(desk: &Desk, form: &Form) -> Result<Answer, Refusal> {
    let work = desk.works.find(&form.line("id")?)?;
    work.cancel();
    Ok(begun(work.id))
}
