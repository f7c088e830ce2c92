//! Which page answers what.
//!
//! Given a request; asks the gate, then the page. A refusal inside the desk is shown as a page with a way back.

use super::answer::Answer;
use super::edit::What;
use super::form::Form;
use super::gate::Entry;
use super::http::{Method, Request};
use super::open::Desk;
use super::page::{Place, page, part};
use super::refusal::Refusal;
use super::{day, lap, long, plan, result, rides, save};
use serde_json::json;

const STYLE: &str = include_str!("html/desk.css");
const SCRIPT: &str = include_str!("html/desk.js");

/// See the module.
pub fn answer(desk: &Desk, request: &Request) -> Answer {
    match desk.gate.judge(request) {
        Entry::Stranger(refusal) => Answer::words(&refusal),
        // A page and not a redirection: a strict cookie is not sent along where another site led here.
        Entry::WithKey => match part(desk.gate.path(), "key", &json!({})) {
            Ok(html) => Answer::page(html).with("Set-Cookie", desk.gate.set_cookie()),
            Err(refusal) => Answer::words(&refusal),
        },
        Entry::Inside(path) => {
            let answer = inside(desk, request, path).unwrap_or_else(|refusal| refused(desk, &refusal));
            answer.within(desk.gate.path())
        }
    }
}

fn inside(desk: &Desk, request: &Request, path: &str) -> Result<Answer, Refusal> {
    let query = Form::parse(request.query.as_bytes())?;
    let form = || Form::parse(&request.body);
    match (request.method, path) {
        (Method::Get, "/") => Ok(Answer::see("/rides")),
        (Method::Get, "/desk.css") => Ok(Answer::style(STYLE)),
        (Method::Get, "/desk.js") => Ok(Answer::script(SCRIPT)),
        (Method::Get, "/rides") => rides::show(desk, &query),
        (Method::Post, "/rides") => rides::save(desk, &form()?),
        (Method::Get, "/day") => day::show(desk, &query),
        (Method::Post, "/day") => save::save(desk, form()?, What::Session),
        (Method::Post, "/day/factor") => save::factor(desk, form()?, What::Session),
        (Method::Post, "/day/check") => save::check(desk, &form()?, What::Session),
        (Method::Get, "/result") => result::show(desk, &query),
        (Method::Get, "/result/report") => result::report(desk, &query),
        (Method::Get, "/result/file") => result::file(desk, &query),
        (Method::Get, "/report.css") => result::style(),
        (Method::Post, "/result/write") => result::write(desk, &form()?),
        (Method::Post, "/result/next-plan") => result::next_plan(desk, &form()?),
        (Method::Post, "/result/draws") => long::draws(desk, &form()?),
        (Method::Get, "/result/lap") => lap::show(desk, &query),
        (Method::Post, "/result/lap") => lap::choose(desk, &form()?),
        (Method::Get, "/plan") => plan::show(desk, &query),
        (Method::Post, "/plan") => save::save(desk, form()?, What::Plan),
        (Method::Post, "/plan/new") => plan::begin(desk, &form()?),
        (Method::Post, "/plan/factor") => save::factor(desk, form()?, What::Plan),
        (Method::Post, "/plan/check") => save::check(desk, &form()?, What::Plan),
        (Method::Get, "/plan/sheet") => plan::sheet(desk, &query),
        (Method::Post, "/plan/forecast") => long::forecast(desk, &form()?),
        (Method::Post, "/plan/rehearse") => long::rehearse(desk, &form()?),
        (Method::Get, "/work") => long::show(desk, &query),
        (Method::Get, "/work/state") => long::state(desk, &query),
        (Method::Post, "/work/cancel") => long::cancel(desk, &form()?),
        _ => Err(Refusal::new(404, "There is no such page here; the way through the day is at the top")),
    }
}

/// A refusal as a page.
fn refused(desk: &Desk, refusal: &Refusal) -> Answer {
    let frame = desk.frame(Place::Elsewhere, "Not done", &Form::default());
    match page(&frame, "refused", &json!({ "message": refusal.message })) {
        Ok(answer) => answer.with_status(refusal.status),
        Err(other) => Answer::words(&other),
    }
}
