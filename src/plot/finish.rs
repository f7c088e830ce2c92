//! The finishing pass over the text that plotters' SVG backend wrote: size in mm, names for screen readers, and what
//! the backend cannot say (dashes, rims around words, notes for the pointer).
//!
//! Given that text and the marks in the order they were painted, one element each; gives the final SVG. It moves
//! nothing.

use super::lettering::FAMILY;
use super::sheet::{Mark, Shape, UNITS_PER_MM};
use super::style::Dash;

/// How a figure is called.
#[derive(Debug, Clone, PartialEq)]
pub struct Naming {
    /// File name without extension; also the beginning of its ids.
    pub name: &'static str,
    pub title: String,
    /// What can be read from the figure, for those who do not see it.
    pub description: String,
}

/// Text made safe for XML content and attributes.
pub fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in super::lettering::clean(text).chars() {
        match character {
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '&' => safe.push_str("&amp;"),
            '"' => safe.push_str("&quot;"),
            other => safe.push(other),
        }
    }
    safe
}

/// See the module.
pub(super) fn finish(raw: &str, marks: &[Mark], size: (u32, u32), naming: &Naming) -> String {
    let mut svg = String::with_capacity(raw.len());
    root(&mut svg, size, naming);
    let mut lines = raw.lines().skip(1);
    for mark in marks {
        let Some(line) = lines.next() else { break };
        element(&mut svg, line, mark);
        if let Shape::Words { .. } = mark.shape {
            // The backend puts the words and the closing tag on lines of their own.
            svg.push_str(lines.next().unwrap_or_default());
            svg.push_str(lines.next().unwrap_or_default());
        }
        svg.push('\n');
    }
    svg.push_str("</svg>\n");
    svg
}

fn root(svg: &mut String, size: (u32, u32), naming: &Naming) {
    let mm = |units: u32| (f64::from(units) / UNITS_PER_MM * 10.0).round() / 10.0;
    let id = format!("{}-{}", naming.name, mm(size.0).round());
    svg.push_str(&format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}mm\" height=\"{}mm\" viewBox=\"0 0 {} {}\" role=\"img\" \
         aria-labelledby=\"{id}-title {id}-desc\" font-family=\"{FAMILY}\" stroke-linejoin=\"round\">\n\
         <title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-desc\">{}</desc>\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#FFF\"/>\n",
        mm(size.0),
        mm(size.1),
        size.0,
        size.1,
        escape(&naming.title),
        escape(&naming.description),
    ));
}

/// Attributes that say what is the default anyway, or what the root says once.
const NEEDLESS: [&str; 7] = [
    " opacity=\"1\"",
    " dy=\"-0.5ex\"",
    " text-anchor=\"start\"",
    " font-family=\"sans-serif\"",
    " stroke=\"none\"",
    " stroke-width=\"0\"",
    " fill-opacity=\"1\"",
];

fn element(svg: &mut String, line: &str, mark: &Mark) {
    // Only the tag is touched: words of the user stand on the next line.
    let mut tag = line.replace(" \"/>", "\"/>");
    for needless in NEEDLESS {
        tag = tag.replace(needless, "");
    }
    if let Shape::Words { size, .. } = mark.shape {
        tag = with_font_size(&tag, size);
    }
    let mut extras = String::new();
    match mark.dash {
        Dash::Solid => {}
        Dash::Long => extras.push_str(" stroke-dasharray=\"32 20\""),
        Dash::Dotted => extras.push_str(" stroke-dasharray=\"9 14\""),
        Dash::LongDotted => extras.push_str(" stroke-dasharray=\"36 14 9 14\""),
    }
    if mark.halo {
        extras.push_str(" paint-order=\"stroke\" stroke=\"#FFF\" stroke-width=\"14\"");
    }
    if let Some(key) = mark.note.lap {
        extras.push_str(&format!(" data-lap=\"{}-{}\"", key.run, key.lap));
    }
    let (body, end) = match tag.strip_suffix("/>") {
        Some(body) => (body, "/>"),
        None => (tag.trim_end_matches('>'), ">"),
    };
    svg.push_str(body);
    svg.push_str(&extras);
    if mark.note.tip.is_empty() || end == ">" {
        svg.push_str(end);
    } else {
        let name: String = body.chars().skip(1).take_while(|c| c.is_ascii_alphabetic()).collect();
        svg.push_str(&format!("><title>{}</title></{name}>", escape(&mark.note.tip)));
    }
}

/// The backend divides letter sizes by 1.24; the size that was asked for is put back.
fn with_font_size(tag: &str, size: f64) -> String {
    match tag.split_once("font-size=\"") {
        Some((before, after)) => match after.split_once('"') {
            Some((_, rest)) => format!("{before}font-size=\"{size}\"{rest}"),
            None => tag.to_string(),
        },
        None => tag.to_string(),
    }
}
