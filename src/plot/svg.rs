//! A drawing backend for plotters that writes SVG as figures need it: letter sizes as asked for, dashes, rims around words,
//! words for the pointer, a name and a description for those who do not see the figure.
//!
//! Given marks one at a time, what plotters cannot say beforehand in [`Svg::next`]; appends one element for each. It lays
//! nothing out.

use super::lettering::FAMILY;
use super::mark::{RIM, UNITS_PER_MM};
use super::style::Dash;
use crate::wording::on_one_line;
use plotters_backend::text_anchor::HPos;
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind, FontStyle,
};
use std::convert::Infallible;
use std::fmt::Write;

/// How a figure is called.
#[derive(Debug, Clone, PartialEq)]
pub struct Naming {
    /// File name without extension; also the beginning of its ids.
    pub name: &'static str,
    pub title: String,
    /// What can be read from the figure, for those who do not see it.
    pub description: String,
}

/// What the next element has beside its form and ink.
#[derive(Debug, Clone, Default)]
pub struct Extras {
    pub dash: Dash,
    /// A rim of paper around words.
    pub halo: bool,
    /// Run and lap, "2-7".
    pub lap: Option<String>,
    /// For the pointer.
    pub tip: String,
}

/// See the module.
pub struct Svg<'a> {
    pub next: Extras,
    text: &'a mut String,
    size: (u32, u32),
}

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// Text made safe for XML content and attributes.
fn escape(text: &str) -> String {
    on_one_line(text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

fn ink(color: BackendColor) -> String {
    let (red, green, blue) = color.rgb;
    format!("#{red:02X}{green:02X}{blue:02X}")
}

/// Attributes of a line or a filled form.
fn paint(color: BackendColor, width: u32, fill: bool) -> String {
    let (kind, alpha) = if fill { ("fill", color.alpha) } else { ("stroke", color.alpha) };
    let mut text = match fill {
        true => format!(" fill=\"{}\"", ink(color)),
        false => format!(" fill=\"none\" stroke=\"{}\" stroke-width=\"{width}\"", ink(color)),
    };
    if alpha < 1.0 {
        text.push_str(&format!(" {kind}-opacity=\"{}\"", (alpha * 1000.0).round() / 1000.0));
    }
    text
}

fn points(path: impl IntoIterator<Item = BackendCoord>) -> String {
    let mut text = String::new();
    for (x, y) in path {
        let gap = if text.is_empty() { "" } else { " " };
        // Writing into a string cannot fail.
        let _ = write!(text, "{gap}{x},{y}");
    }
    text
}

impl<'a> Svg<'a> {
    /// A sheet of white paper of this size in units.
    pub fn new(text: &'a mut String, size: (u32, u32), naming: &Naming) -> Svg<'a> {
        let mm = |units: u32| (f64::from(units) / UNITS_PER_MM * 10.0).round() / 10.0;
        let id = format!("{}-{}", naming.name, mm(size.0).round());
        text.push_str(&format!(
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
        Svg { next: Extras::default(), text, size }
    }

    /// One element with the extras that were laid ready for it.
    fn element(&mut self, name: &str, attributes: &str, content: &str) -> Drawn {
        let extras = std::mem::take(&mut self.next);
        let dash = match extras.dash.units().iter().map(u32::to_string).collect::<Vec<_>>().join(" ") {
            solid if solid.is_empty() => solid,
            dashed => format!(" stroke-dasharray=\"{dashed}\""),
        };
        let rim = || format!(" paint-order=\"stroke\" stroke=\"#FFF\" stroke-width=\"{RIM}\"");
        let halo = if extras.halo { rim() } else { String::new() };
        let lap = extras.lap.map_or(String::new(), |lap| format!(" data-lap=\"{lap}\""));
        let tip = if extras.tip.is_empty() { String::new() } else { format!("<title>{}</title>", escape(&extras.tip)) };
        self.text.push_str(&format!("<{name}{attributes}{dash}{halo}{lap}"));
        if tip.is_empty() && content.is_empty() {
            self.text.push_str("/>\n");
        } else {
            self.text.push_str(&format!(">{tip}{content}</{name}>\n"));
        }
        Ok(())
    }
}

impl DrawingBackend for Svg<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        self.text.push_str("</svg>\n");
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, color: BackendColor) -> Drawn {
        let attributes = format!(" x=\"{x}\" y=\"{y}\" width=\"1\" height=\"1\"{}", paint(color, 0, true));
        self.element("rect", &attributes, "")
    }

    fn draw_rect<S: BackendStyle>(&mut self, a: BackendCoord, b: BackendCoord, style: &S, fill: bool) -> Drawn {
        let attributes = format!(
            " x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"{}",
            a.0.min(b.0),
            a.1.min(b.1),
            a.0.abs_diff(b.0),
            a.1.abs_diff(b.1),
            paint(style.color(), style.stroke_width(), fill)
        );
        self.element("rect", &attributes, "")
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Drawn {
        let attributes = format!("{} points=\"{}\"", paint(style.color(), style.stroke_width(), false), points(path));
        self.element("polyline", &attributes, "")
    }

    fn draw_circle<S: BackendStyle>(&mut self, (x, y): BackendCoord, radius: u32, style: &S, fill: bool) -> Drawn {
        let paint = paint(style.color(), style.stroke_width(), fill);
        self.element("circle", &format!(" cx=\"{x}\" cy=\"{y}\" r=\"{radius}\"{paint}"), "")
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Drawn {
        let attributes = format!("{} points=\"{}\"", paint(style.color(), 0, true), points(path));
        self.element("polygon", &attributes, "")
    }

    /// Words on a base line.
    fn draw_text<T: BackendTextStyle>(&mut self, text: &str, style: &T, (x, y): BackendCoord) -> Drawn {
        let anchor = match style.anchor().h_pos {
            HPos::Left => "",
            HPos::Center => " text-anchor=\"middle\"",
            HPos::Right => " text-anchor=\"end\"",
        };
        let bold = if matches!(style.style(), FontStyle::Bold) { " font-weight=\"bold\"" } else { "" };
        let (size, fill) = (style.size(), paint(style.color(), 0, true));
        let attributes = format!(" x=\"{x}\" y=\"{y}\"{anchor} font-size=\"{size}\"{fill}{bold}");
        self.element("text", &attributes, &escape(text))
    }
}
