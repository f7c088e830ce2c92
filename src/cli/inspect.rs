//! `loopwright inspect`.

use super::failure::Failure;
use super::figure_style::FigureStyle;
use super::flag_name::Flag;
use super::number::number;
use super::output::remark;
use super::results::Kind;
use super::what_is::{Wanted, refuse_other};
use super::{Format, Units, output, results};
use clap::Args;
use loopwright::analysis::inspection::{Inspection, inspect};
use loopwright::error::Error;
use loopwright::plot::{self, Style};
use loopwright::printable::one_line;
use loopwright::record;
use loopwright::report::files::{ResultFile, of_figure};
use loopwright::report::inspection::inspection;
use loopwright::wording::counted;
use rayon::prelude::*;
use serde::Serialize;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Version of the JSON below.
const SCHEMA: u32 = 1;

/// Arguments of `inspect`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright inspect run-1.fit run-2.fit
  loopwright inspect track.csv --length-m 250 --figures look

The exit status is 1 when a file cannot be read at all; the others are shown nevertheless.")]
pub struct InspectArguments {
    /// Ride files, FIT or CSV
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Length of one lap, to cut laps by distance where neither positions nor lap marks show them
    #[arg(long, value_name = "METRES", value_parser = number)]
    length_m: Option<f64>,
    /// Folder for a time line and a map of each file
    #[arg(long, value_name = "DIR")]
    figures: Option<PathBuf>,
    #[command(flatten)]
    style: FigureStyle,
}

/// What is printed as JSON.
#[derive(Serialize)]
struct Inspected<'a> {
    schema: u32,
    loopwright: &'static str,
    files: Vec<&'a Inspection>,
    unreadable: Vec<Unreadable>,
}

#[derive(Serialize)]
struct Unreadable {
    file: String,
    code: &'static str,
    message: String,
}

pub fn run(arguments: InspectArguments, format: Format, units: Units) -> Result<(), Failure> {
    if let Some(length_m) = arguments.length_m {
        Flag { name: "--length-m", low: 80.0, high: 200_000.0, hint: "length of one lap in m, not km" }
            .check(length_m)?;
    }
    if let Some(folder) = &arguments.figures {
        results::check(folder, Kind::Inspect)?;
    }
    let looked: Vec<Result<Inspection, Error>> =
        arguments.files.par_iter().map(|path| look(path, arguments.length_m)).collect();
    match format {
        Format::Text => print_text(&looked, units)?,
        Format::Json => print_json(&arguments.files, &looked)?,
    }
    if let Some(folder) = &arguments.figures {
        let files = figures(&arguments.files, &looked, &(&arguments.style).into());
        if files.is_empty() {
            return told(looked);
        }
        let count = files.len();
        let written = results::write(folder, Kind::Inspect, &files)?;
        output::note(format, &format!("{} in {}", counted(count, "figure"), folder.display()));
        written.remarks().iter().for_each(|line| output::note(format, line));
    }
    told(looked)
}

/// Success when every file could be read; else how many could not.
fn told(looked: Vec<Result<Inspection, Error>>) -> Result<(), Failure> {
    match looked.iter().filter(|l| l.is_err()).count() {
        0 => Ok(()),
        // A single file has been told of in full already.
        1 if looked.len() == 1 => {
            Err(looked.into_iter().find_map(Result::err).map_or_else(|| Failure::some_unreadable(1, 1), Failure::from))
        }
        failed => Err(Failure::some_unreadable(failed, looked.len())),
    }
}

fn look(path: &Path, length_m: Option<f64>) -> Result<Inspection, Error> {
    refuse_other(path, Wanted::Ride)?;
    Ok(inspect(&record::read(path)?, length_m))
}

fn print_text(looked: &[Result<Inspection, Error>], units: Units) -> Result<(), Failure> {
    let width = output::width();
    let mut first = true;
    for one in looked {
        match one {
            Ok(held) => {
                let between = if first { "" } else { "\n\n" };
                output::text(&format!("{between}{}", inspection(held, width, units.into())))?;
                first = false;
            }
            Err(e) if looked.len() > 1 => remark(&format!("loopwright: {e}")),
            Err(_) => {}
        }
    }
    Ok(())
}

fn print_json(paths: &[PathBuf], looked: &[Result<Inspection, Error>]) -> Result<(), Failure> {
    let failed = paths.iter().zip(looked).filter_map(|(path, one)| Some((path, one.as_ref().err()?)));
    output::json(&Inspected {
        schema: SCHEMA,
        loopwright: env!("CARGO_PKG_VERSION"),
        files: looked.iter().flatten().collect(),
        unreadable: failed
            .map(|(path, e)| Unreadable { file: path.display().to_string(), code: e.code(), message: e.to_string() })
            .collect(),
    })
}

/// Figures under the name of their file; files of one name in several folders are told apart by number.
fn figures(paths: &[PathBuf], looked: &[Result<Inspection, Error>], style: &Style) -> Vec<ResultFile> {
    let mut stems: BTreeSet<String> = BTreeSet::new();
    let mut out = Vec::new();
    for (path, held) in paths.iter().zip(looked).filter_map(|(p, l)| Some((p, l.as_ref().ok()?))) {
        let plain = path.file_stem().map_or_else(|| "ride".into(), |s| one_line(&s.to_string_lossy()).into_owned());
        let mut stem = plain.clone();
        let mut copy = 2;
        while !stems.insert(stem.clone()) {
            stem = format!("{plain}-{copy}");
            copy += 1;
        }
        for figure in plot::inspection::draw(held, style) {
            out.extend(of_figure(&format!("{stem}-{}", figure.name), figure));
        }
    }
    out
}
