//! Every file of the results folder, as names and bytes.
//!
//! Given session, solution, evidence and the aligned series; gives files. It writes nothing.

use super::captions::captions;
use super::differences::{self, Naming};
use super::factors;
use super::lap_table::laps;
use super::methods;
use super::next_plan;
use super::page::{PageInput, page};
use super::run_table;
use super::setup_table::set_ups;
use super::table::paragraph;
use super::units::Units;
use super::verdict::Verdict;
use crate::error::Error;
use crate::evidence::Evidence;
use crate::plot::{Figure, Style, draw_all};
use crate::session::Session;
use crate::solution::Solution;
use crate::wording::harmless;
use polars::prelude::{AnyValue, DataFrame};

/// Letters in a line of the verdict, as mail is wrapped.
const VERDICT_WIDTH: usize = 76;

/// One file; the name may have one folder in front.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ResultFile {
    pub name: String,
    pub bytes: Vec<u8>,
}

/// What the files are made from.
#[derive(Clone, Copy)]
pub struct FilesInput<'a> {
    pub session: &'a Session,
    pub solution: &'a Solution,
    pub evidence: &'a Evidence,
    pub samples: &'a DataFrame,
    pub style: &'a Style,
    pub units: Units,
}

/// All files, in a fixed order: the same input gives the same bytes.
///
/// Errors: [`Error::Page`] when a template or table does not fit its data, a fault of the program.
pub fn files(input: &FilesInput) -> Result<Vec<ResultFile>, Error> {
    let style = Style { units: input.units, ..*input.style };
    let figures = draw_all(input.solution, input.evidence, &style);
    let narrow_figures = draw_all(input.solution, input.evidence, &style.for_phone());
    let page = page(&PageInput {
        session: input.session,
        solution: input.solution,
        figures: &figures,
        narrow_figures: &narrow_figures,
        units: input.units,
    })?;
    let mut json = serde_json::to_vec_pretty(input.solution).map_err(|e| Error::Page { reason: e.to_string() })?;
    json.push(b'\n');
    let mut files = vec![
        file("solution.json", json),
        file("verdict.txt", verdict_text(input.solution, input.units).into_bytes()),
        file("setups.csv", set_ups(input.solution, input.units).csv()?),
        file("laps.csv", laps(input.solution, input.units).csv()?),
        file("samples.csv", frame_csv(input.samples)?),
        file("report.html", page.into_bytes()),
        file("methods.txt", methods::plain_text(input.session, input.solution, input.units).into_bytes()),
        file("captions.txt", captions(&figures, input.solution).into_bytes()),
    ];
    let solution = input.solution;
    files.extend(next_plan::next_plan(input.session, solution).map(|text| file(next_plan::NAME, text.into_bytes())));
    for (name, table) in [
        ("differences.csv", differences::table(solution, &solution.all_pairs, Naming::Pair)),
        ("factors.csv", factors::table(solution)),
        ("runs.csv", run_table::on_loop(solution, input.units)),
        ("roller-runs.csv", run_table::on_rollers(solution, input.units)),
    ] {
        // A file without a row would only raise questions.
        if !table.rows.is_empty() {
            files.push(file(name, table.csv()?));
        }
    }
    files.extend(figures.into_iter().flat_map(|f| of_figure(&format!("figures/{}", f.name), f)));
    Ok(files)
}

/// A figure under a name without extension: the SVG, and the PNG where there is one.
pub fn of_figure(name: &str, figure: Figure) -> Vec<ResultFile> {
    let mut files = vec![file(&format!("{name}.svg"), figure.svg.into_bytes())];
    files.extend(figure.png.map(|bytes| file(&format!("{name}.png"), bytes)));
    files
}

/// The one paragraph that somebody would send.
fn verdict_text(solution: &Solution, units: Units) -> String {
    let title = if solution.title.trim().is_empty() { String::new() } else { format!("{}\n\n", solution.title.trim()) };
    let words = Verdict::of(solution, units).paragraph(solution);
    harmless(&format!("{title}{}", paragraph(&words, VERDICT_WIDTH, "")))
}

fn file(name: &str, bytes: Vec<u8>) -> ResultFile {
    ResultFile { name: name.to_string(), bytes }
}

fn fault(e: impl std::fmt::Display) -> Error {
    Error::Page { reason: e.to_string() }
}

/// Rows of text as CSV.
pub(super) fn table(header: &[&str], rows: impl Iterator<Item = Vec<String>>) -> Result<Vec<u8>, Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(header).map_err(fault)?;
    for row in rows {
        writer.write_record(&row).map_err(fault)?;
    }
    writer.into_inner().map_err(fault)
}

/// A number with all its digits; an unknown is an empty cell.
pub(super) fn number(x: Option<f64>) -> String {
    x.map_or(String::new(), |x| x.to_string())
}

/// The aligned series as CSV; millimetres, milliwatts and milliseconds are more than any device tells.
fn frame_csv(frame: &DataFrame) -> Result<Vec<u8>, Error> {
    let names: Vec<&str> = frame.get_column_names().iter().map(|n| n.as_str()).collect();
    let mut out = names.join(",").into_bytes();
    out.push(b'\n');
    let mut columns = Vec::with_capacity(names.len());
    for column in frame.columns() {
        columns.push(column.as_materialized_series().iter());
    }
    for _ in 0..frame.height() {
        for (i, column) in columns.iter_mut().enumerate() {
            if i > 0 {
                out.push(b',');
            }
            match column.next() {
                Some(AnyValue::Float64(x)) => push_decimal(&mut out, x),
                Some(AnyValue::UInt32(x)) => out.extend_from_slice(x.to_string().as_bytes()),
                Some(AnyValue::String(text)) => out.extend_from_slice(text.as_bytes()),
                Some(AnyValue::Null) | None => {}
                Some(other) => out.extend_from_slice(other.to_string().as_bytes()),
            }
        }
        out.push(b'\n');
    }
    Ok(out)
}

/// Three decimals without trailing zeros.
fn push_decimal(out: &mut Vec<u8>, x: f64) {
    let text = format!("{x:.3}");
    out.extend_from_slice(text.trim_end_matches('0').trim_end_matches('.').as_bytes());
}
