//! Pages from templates: every text of a user or file is escaped.
//!
//! Given the name of a template and what fills it; gives the page within its frame. It decides nothing.

use super::answer::Answer;
use super::form::encoded;
use super::refusal::Refusal;
use minijinja::context;
use minijinja::value::{Serde, Value};
use minijinja::{AutoEscape, Environment, UndefinedBehavior};
use serde::Serialize;
use std::sync::LazyLock;

const TEMPLATES: [(&str, &str); 11] = [
    ("frame", include_str!("html/frame.html")),
    ("rides", include_str!("html/rides.html")),
    ("fields", include_str!("html/fields.html")),
    ("day", include_str!("html/day.html")),
    ("conflict", include_str!("html/conflict.html")),
    ("result", include_str!("html/result.html")),
    ("lap", include_str!("html/lap.html")),
    ("plan", include_str!("html/plan.html")),
    ("work", include_str!("html/work.html")),
    ("refused", include_str!("html/refused.html")),
    ("key", include_str!("html/key.html")),
];

static ENVIRONMENT: LazyLock<Result<Environment<'static>, String>> = LazyLock::new(|| {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    for (name, text) in TEMPLATES {
        environment.add_template(name, text).map_err(|e| format!("{e:#}"))?;
    }
    Ok(environment)
});

/// Which page is shown, for the way through the day at its top.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    Rides,
    Day,
    Result,
    Plan,
    Elsewhere,
}

/// What stands around every page.
#[derive(Debug, Clone, Serialize)]
pub struct Frame {
    /// Path of this desk, in front of every address on its pages.
    at: String,
    pub place: Place,
    pub title: String,
    pub folder: String,
    /// The session and plan that the links lead to, ready for an address; empty where there is none.
    session: String,
    plan: String,
    /// Seconds after which the page loads itself again, 0 for never.
    pub again_s: u32,
    /// Number and title of long work under way, for a link to it.
    pub running: Option<(u64, String)>,
}

impl Frame {
    pub fn new(at: &str, place: Place, title: &str, folder: String, session: &str, plan: &str) -> Frame {
        let (at, title) = (at.to_string(), title.to_string());
        Frame { at, place, title, folder, session: encoded(session), plan: encoded(plan), again_s: 0, running: None }
    }
}

/// A part of a page, as markup; `at` is the path of this desk.
pub fn part(at: &str, template: &str, filling: &impl Serialize) -> Result<String, Refusal> {
    let fault = |reason: String| {
        Refusal::new(
            500,
            format!("The page could not be filled ({reason}); this is a fault of the program, please report it"),
        )
    };
    let environment = ENVIRONMENT.as_ref().map_err(|e| fault(e.clone()))?;
    environment
        .get_template(template)
        .and_then(|template| template.render(context! { at, ..Value::from(Serde(filling)) }))
        .map_err(|e| fault(format!("{e:#}")))
}

/// A whole page.
pub fn page(frame: &Frame, template: &str, filling: &impl Serialize) -> Result<Answer, Refusal> {
    #[derive(Serialize)]
    struct Whole<'a> {
        #[serde(flatten)]
        frame: &'a Frame,
        body: String,
    }
    let body = part(&frame.at, template, filling)?;
    Ok(Answer::page(part(&frame.at, "frame", &Whole { frame, body })?))
}
