//! The report as one self-contained HTML page: the answer first, then what it rests on, then everything else.
//!
//! Given session, solution and drawn figures; fills the built-in template. Nothing is loaded from elsewhere, nothing
//! depends on script, every text of the user is escaped.

mod context;
mod template;

pub use template::{STYLE, Template, drawn};

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

/// See the module. Errors: [`Error::Page`] when the template does not fit its context, a fault of the program.
pub fn page(input: &PageInput) -> Result<String, Error> {
    let template = Template::new(include_str!("page/page.html"))?;
    template.page(&context::Context::of(input, &template)?)
}
