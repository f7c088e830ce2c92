//! The report as one self-contained HTML page.
//!
//! Given session, solution and drawn figures; fills the built-in template. Nothing is loaded from elsewhere, nothing
//! depends on script, every text of the user is escaped.

use minijinja::value::{Serde, Value};
use minijinja::{AutoEscape, Environment, UndefinedBehavior};

use super::context::{Context, Titled};
use super::units::Units;
use crate::error::Error;
use crate::plot::Figure;
use crate::session::Session;
use crate::solution::Solution;

/// What a page is made of.
#[derive(Debug, Clone, Copy)]
pub struct PageInput<'a> {
    pub session: &'a Session,
    pub solution: &'a Solution,
    /// Drawn for a text column (160 mm).
    pub figures: &'a [Figure],
    /// The same drawn for a phone (80 mm), matched by name; may be empty.
    pub narrow_figures: &'a [Figure],
    pub units: Units,
}

const TEMPLATE: &str = include_str!("page.html");
const GRID: &str = include_str!("grid.html");

/// See the module. Errors: [`Error::Page`] when the template does not fit its context, a fault of the program.
pub fn page(input: &PageInput) -> Result<String, Error> {
    let fault = |error: minijinja::Error| Error::Page { reason: format!("{error:#}") };
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    environment.add_template("page.html", TEMPLATE).map_err(fault)?;
    environment.add_template("grid.html", GRID).map_err(fault)?;
    let tables = |tables: &[Titled]| {
        environment.get_template("grid.html")?.render(minijinja::context! { tables => Value::from(Serde(tables)) })
    };
    let context = Value::from(Serde(Context::of(input, tables).map_err(fault)?));
    environment.get_template("page.html").and_then(|template| template.render(context)).map_err(fault)
}
