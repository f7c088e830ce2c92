//! Templates of pages and of the tables in them.
//!
//! Given template text and what fills it; gives HTML in which every value is escaped. It knows no particular page; what fills
//! one has `title`, `version` and `css` for the head that all share, and `js` where it has a script.

use super::super::table::PageTable;
use crate::error::Error;
use crate::plot::Figure;
use minijinja::value::{Serde, Value};
use minijinja::{AutoEscape, Environment, UndefinedBehavior};
use serde::Serialize;

/// The style sheet of every page.
pub const STYLE: &str = include_str!("page.css");

/// See the module.
pub struct Template {
    environment: Environment<'static>,
}

fn fault(error: minijinja::Error) -> Error {
    Error::Page { reason: format!("{error:#}") }
}

impl Template {
    /// Errors: [`Error::Page`] for a template that cannot be read.
    pub fn new(page: &'static str) -> Result<Template, Error> {
        let mut environment = Environment::new();
        environment.set_undefined_behavior(UndefinedBehavior::Strict);
        environment.set_auto_escape_callback(|_| AutoEscape::Html);
        environment.add_template("page.html", page).map_err(fault)?;
        environment.add_template("head.html", include_str!("head.html")).map_err(fault)?;
        environment.add_template("table.html", include_str!("table.html")).map_err(fault)?;
        environment.add_template("figure.html", include_str!("figure.html")).map_err(fault)?;
        Ok(Template { environment })
    }

    /// Tables as markup, one after another.
    pub fn tables(&self, tables: impl IntoIterator<Item = PageTable>) -> Result<String, Error> {
        self.render("table.html", tables.into_iter().collect::<Vec<_>>())
    }

    /// Figures as markup.
    pub fn figures(&self, figures: &[Drawn]) -> Result<String, Error> {
        self.render("figure.html", figures)
    }

    /// The whole page.
    pub fn page(&self, context: &impl Serialize) -> Result<String, Error> {
        let template = self.environment.get_template("page.html").map_err(fault)?;
        template.render(Value::from(Serde(context))).map_err(fault)
    }

    fn render(&self, name: &str, items: impl Serialize) -> Result<String, Error> {
        let template = self.environment.get_template(name).map_err(fault)?;
        template.render(minijinja::context! { items => Value::from(Serde(items)) }).map_err(fault)
    }
}

/// A figure in both widths with its number and where its numbers stand as a table.
#[derive(Debug, Clone, Serialize)]
pub struct Drawn<'a> {
    pub number: usize,
    pub name: &'a str,
    pub title: &'a str,
    pub caption: &'a str,
    pub wide: &'a str,
    /// Without a narrow version the wide one serves both.
    pub narrow: &'a str,
    /// Id on the page, empty where no table holds the same.
    pub table: &'static str,
    pub table_name: &'static str,
}

/// Figures numbered from 1 in the order given, the narrow ones matched by name.
pub fn drawn<'a>(
    figures: impl IntoIterator<Item = &'a Figure>,
    narrow: &'a [Figure],
    table: impl Fn(&str) -> [&'static str; 2],
) -> Vec<Drawn<'a>> {
    figures
        .into_iter()
        .enumerate()
        .map(|(index, figure)| {
            let narrow = narrow.iter().find(|narrow| narrow.name == figure.name && narrow.title == figure.title);
            let [table, table_name] = table(figure.name);
            Drawn {
                number: index + 1,
                name: figure.name,
                title: &figure.title,
                caption: &figure.caption,
                wide: &figure.svg,
                narrow: narrow.map_or("", |figure| figure.svg.as_str()),
                table,
                table_name,
            }
        })
        .collect()
}
