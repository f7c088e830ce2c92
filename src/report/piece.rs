//! What an answer consists of that is the same on a terminal and on a page: sentences, lists and tables in their order.
//!
//! Given pieces; gives text of a width, or a page. It has no words of its own.

use super::page::{Drawn, STYLE, Template};
use super::table::{Grid, paragraph};
use super::text::{LEAST_WIDTH, MOST_WIDTH, item, section};
use super::units::Units;
use crate::error::Error;
use crate::wording::{capitalised, harmless, on_one_line};
use serde::Serialize;

/// One of them.
#[derive(Debug, Clone, PartialEq)]
pub enum Piece {
    Words(String),
    List {
        heading: String,
        lines: Vec<String>,
    },
    Table {
        heading: String,
        /// What else is to be known of it; empty where that is nothing.
        note: String,
        grid: Grid,
    },
}

impl Piece {
    /// Its quantities in the units of the reader; `names` are left as they are.
    fn in_units(&self, units: Units, names: &[&str]) -> Piece {
        let said = |words: &String| units.in_words(words, names);
        match self {
            Piece::Words(words) => Piece::Words(said(words)),
            Piece::List { heading, lines } => {
                Piece::List { heading: heading.clone(), lines: lines.iter().map(said).collect() }
            }
            Piece::Table { heading, note, grid } => Piece::Table {
                heading: said(heading),
                note: said(note),
                grid: Grid {
                    header: grid.header.iter().map(said).collect(),
                    rows: grid.rows.iter().map(|row| row.iter().map(said).collect()).collect(),
                },
            },
        }
    }

    /// A list or table in which nothing stands.
    fn is_empty(&self) -> bool {
        match self {
            Piece::Words(words) => words.is_empty(),
            Piece::List { lines, .. } => lines.is_empty(),
            Piece::Table { grid, .. } => grid.rows.is_empty(),
        }
    }
}

/// Pieces in the units of the reader, without those in which nothing stands.
pub fn in_units(pieces: &[Piece], units: Units, names: &[&str]) -> Vec<Piece> {
    pieces.iter().filter(|piece| !piece.is_empty()).map(|piece| piece.in_units(units, names)).collect()
}

/// Plain text; names come from files, so nothing of theirs may steer the terminal.
pub fn text(pieces: &[Piece], width: usize) -> String {
    let width = width.clamp(LEAST_WIDTH, MOST_WIDTH);
    let mut out = String::new();
    for piece in pieces {
        match piece {
            Piece::Words(words) => out.push_str(&paragraph(words, width, "")),
            Piece::List { heading, lines } => {
                let lines: String = lines.iter().map(|line| item(line, width)).collect();
                section(&mut out, width, heading, &lines);
            }
            Piece::Table { heading, note, grid } => {
                let note = if note.is_empty() { String::new() } else { format!(" ({note})") };
                section(&mut out, width, &format!("{heading}{note}"), &grid.text(width));
            }
        }
    }
    harmless(&out)
}

/// A page of them.
pub struct Page<'a> {
    pub title: &'a str,
    /// What it is about, in a line.
    pub about: String,
    /// Version of the program.
    pub version: &'a str,
    pub pieces: &'a [Piece],
    /// After the first sentences.
    pub figures: Vec<Drawn<'a>>,
    pub cautions: &'static [&'static str],
}

#[derive(Serialize)]
struct Shown {
    id: String,
    heading: String,
    words: String,
    lines: Vec<String>,
    table: String,
}

#[derive(Serialize)]
struct Context<'a> {
    title: String,
    css: &'static str,
    version: &'a str,
    about: &'a str,
    lead: Vec<&'a str>,
    rest: Vec<Shown>,
    figures: String,
    cautions: &'static [&'static str],
}

impl Page<'_> {
    /// Errors: [`Error::Page`] when the template does not fit its context, a fault of the program.
    pub fn html(&self) -> Result<String, Error> {
        let template = Template::new(include_str!("piece/page.html"))?;
        let words = |piece: &Piece| matches!(piece, Piece::Words(_));
        let lead = self.pieces.iter().take_while(|piece| words(piece)).count();
        let shown = |(index, piece): (usize, &Piece)| -> Result<Shown, Error> {
            let id = format!("part-{}", index + 1);
            let empty = Shown {
                id: id.clone(),
                heading: String::new(),
                words: String::new(),
                lines: Vec::new(),
                table: String::new(),
            };
            Ok(match piece {
                Piece::Words(words) => Shown { words: words.clone(), ..empty },
                Piece::List { heading, lines } => Shown { heading: heading.clone(), lines: lines.clone(), ..empty },
                Piece::Table { heading, note, grid } => {
                    Shown { table: template.tables(grid.page(&id, heading, &sentence(note)))?, ..empty }
                }
            })
        };
        template.page(&Context {
            title: on_one_line(self.title),
            css: STYLE,
            version: self.version,
            about: &self.about,
            lead: self.pieces[..lead]
                .iter()
                .filter_map(|piece| match piece {
                    Piece::Words(words) => Some(words.as_str()),
                    _ => None,
                })
                .collect(),
            rest: self.pieces[lead..].iter().enumerate().map(shown).collect::<Result<_, Error>>()?,
            figures: template.figures(&self.figures)?,
            cautions: self.cautions,
        })
    }
}

/// What stands in brackets in a text, as a sentence under a heading.
fn sentence(note: &str) -> String {
    if note.is_empty() { String::new() } else { format!("{}.", capitalised(note)) }
}
