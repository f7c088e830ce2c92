//! How figures look: the flags that every command that draws takes.
//!
//! Given flags; gives a style. It draws nothing.

use super::number::number;
use clap::{Args, ValueEnum};
use loopwright::plot::Style;

/// Narrowest and widest sheet that figures are laid out for, mm.
const WIDTHS_MM: std::ops::RangeInclusive<f64> = 70.0..=400.0;

/// In what figures are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum FigureFormat {
    /// Lines and letters, sharp at every size
    Svg,
    /// The SVG and, beside it, a picture of 300 dots per inch
    Png,
}

/// Arguments on figures.
#[derive(Debug, Args)]
#[command(next_help_heading = "Figures")]
pub struct FigureStyle {
    /// Width of the figures on paper, 70 to 400 mm
    #[arg(long, value_name = "MM", default_value_t = Style::default().width_mm, value_parser = width)]
    pub figure_width_mm: f64,
    /// Greys instead of colours
    #[arg(long)]
    pub grey: bool,
    /// Decimal comma instead of the point in the figures
    #[arg(long)]
    pub decimal_comma: bool,
    /// In what figures are written
    #[arg(long, value_enum, value_name = "FORMAT", default_value_t = FigureFormat::Svg)]
    pub figure_format: FigureFormat,
}

fn width(text: &str) -> Result<f64, String> {
    let width_mm = number(text)?;
    if WIDTHS_MM.contains(&width_mm) {
        return Ok(width_mm);
    }
    Err(format!("figures are laid out for {} to {} mm; 160 fills a text column", WIDTHS_MM.start(), WIDTHS_MM.end()))
}

impl From<&FigureStyle> for Style {
    fn from(flags: &FigureStyle) -> Style {
        Style {
            width_mm: flags.figure_width_mm,
            grey: flags.grey,
            decimal_comma: flags.decimal_comma,
            picture: flags.figure_format == FigureFormat::Png,
            ..Style::default()
        }
    }
}
