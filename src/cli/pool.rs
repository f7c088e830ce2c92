//! `loopwright pool`.

use super::failure::Failure;
use super::figure_style::FigureStyle;
use super::number::number;
use super::results::{Kind, Written};
use super::{Format, Units, output, results};
use clap::{Args, ValueEnum};
use loopwright::error::Error;
use loopwright::pool::{Choice, Day, FEWEST, Instruments, MOST, pool};
use loopwright::report::pooled::files::files;
use loopwright::report::pooled::summary;
use std::path::{Path, PathBuf};

/// Arguments of `pool`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright pool day-1-results day-2-results day-3-results
  loopwright pool may/solution.json june/solution.json --out pooled
  loopwright pool day-1-results rollers-results --baseline tube --format json

Differences between set-ups are matched by the ids of the set-ups and pooled by inverse variance where the results
agree (Cochran's Q), by DerSimonian and Laird where they do not. Errors of the instruments are taken as one and the
same on all days, so they neither show as disagreement nor shrink in the mean.")]
pub struct PoolArguments {
    /// Two or more results: solution.json files, or folders that solve has written
    #[arg(required = true, value_name = "RESULT")]
    results: Vec<PathBuf>,
    /// Folder for pool.json, tables and forest figures; without it nothing is written
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Set-up that the others are compared with; by default that of the first result
    #[arg(long, value_name = "ID")]
    baseline: Option<String>,
    /// Every pair of set-ups instead of those with the baseline
    #[arg(long)]
    all_pairs: bool,
    /// Level of the intervals, 0.5 to 0.999; by default that of the results
    #[arg(long, value_name = "SHARE", value_parser = level)]
    confidence: Option<f64>,
    /// Whether power meter, wheel, scale and thermometer are the same on all days
    #[arg(long, value_enum, default_value_t = Chain::Shared)]
    instruments: Chain,
    /// Difference that would not matter, W; turns on the verdict «equivalent»
    #[arg(long, value_name = "W", value_parser = margin, allow_negative_numbers = true)]
    negligible_power_w: Option<f64>,
    #[command(flatten)]
    figures: FigureStyle,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Chain {
    /// The same: their errors are shared, the safe side
    Shared,
    /// Others each day: all errors are independent
    Separate,
}

impl From<Chain> for Instruments {
    fn from(chain: Chain) -> Instruments {
        match chain {
            Chain::Shared => Instruments::Shared,
            Chain::Separate => Instruments::Separate,
        }
    }
}

fn level(text: &str) -> Result<f64, String> {
    let level = number(text)?;
    if (0.5..=0.999).contains(&level) { Ok(level) } else { Err("give a share from 0.5 to 0.999, such as 0.95".into()) }
}

fn margin(text: &str) -> Result<f64, String> {
    let margin_w = number(text)?;
    if margin_w > 0.0 && margin_w <= 100.0 { Ok(margin_w) } else { Err("give watts above 0 and up to 100".into()) }
}

pub fn run(arguments: &PoolArguments, format: Format, units: Units) -> Result<(), Failure> {
    if let Some(out) = &arguments.out {
        results::check(out, Kind::Pool)?;
    }
    let count = arguments.results.len();
    let usage = |message: String| Err(Failure::from(Error::Usage { flag: "pool".into(), message }));
    if count < FEWEST {
        return usage(format!("{count} result given, at least {FEWEST} are needed; name the results of every day"));
    }
    if count > MOST {
        return usage(format!("{count} results, more than the limit of {MOST}; pool the days of one test"));
    }
    let mut days = Vec::new();
    for path in &arguments.results {
        days.extend(read(path)?);
    }
    let result = pool(
        &days,
        &Choice {
            baseline: arguments.baseline.clone(),
            all_pairs: arguments.all_pairs,
            confidence: arguments.confidence,
            instruments: arguments.instruments.into(),
            negligible_power_w: arguments.negligible_power_w,
        },
    )?;
    let written = match &arguments.out {
        Some(out) => {
            let files = files(&result, &(&arguments.figures).into(), units.into())?;
            results::write(out, Kind::Pool, &files)?
        }
        None => Written::default(),
    };
    match format {
        Format::Text => output::text(&summary(&result, output::width(), units.into()))?,
        Format::Json => output::json(&result)?,
    }
    if let Some(out) = &arguments.out {
        output::note(format, &format!("Results are in {}", out.display()));
        written.remarks().iter().for_each(|line| output::note(format, line));
    }
    Ok(())
}

/// Reads one result; a folder stands for the solution in it.
fn read(path: &Path) -> Result<Vec<Day>, Error> {
    let (shown, bytes) = results::solution_bytes(path)?;
    Day::read(&shown, &bytes)
}
