//! The report as one self-contained HTML page: the answer first, then what it rests on, then everything else.
//!
//! Given session, solution and drawn figures; fills the built-in template. Nothing is loaded from elsewhere, nothing
//! depends on script, every text of the user is escaped.

mod context;
mod input;
mod tables;
mod template;

pub use input::PageInput;
pub use template::{Drawn, STYLE, Template, drawn};

use crate::error::Error;

/// See the module. Errors: [`Error::Page`] when the template does not fit its context, a fault of the program.
pub fn page(input: &PageInput) -> Result<String, Error> {
    let template = Template::new(include_str!("page/page.html"))?;
    template.page(&context::Context::of(input, &template)?)
}
