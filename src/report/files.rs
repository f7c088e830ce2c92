//! Every file of the results folder, as names and bytes.
//!
//! Given session, solution, evidence and the aligned series; gives files. It writes nothing.

use super::captions::captions;
use super::methods;
use super::page::{PageInput, page};
use super::units::Units;
use crate::error::Error;
use crate::evidence::Evidence;
use crate::plot::{Style, draw_all};
use crate::session::Session;
use crate::solution::{Estimate, Solution};
use polars::prelude::{AnyValue, DataFrame};

/// Width of the figures on a phone, mm.
const NARROW_MM: f64 = 80.0;

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
    let figures = draw_all(input.solution, input.evidence, input.style);
    let narrow_figures = draw_all(input.solution, input.evidence, &Style { width_mm: NARROW_MM, ..*input.style });
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
        file("setups.csv", setups_csv(input.solution)?),
        file("laps.csv", laps_csv(input.solution)?),
        file("samples.csv", frame_csv(input.samples)?),
        file("report.html", page.into_bytes()),
        file("methods.txt", methods::plain_text(input.session, input.solution, input.units).into_bytes()),
        file("captions.txt", captions(&figures).into_bytes()),
    ];
    files.extend(figures.into_iter().map(|f| file(&format!("figures/{}.svg", f.name), f.svg.into_bytes())));
    Ok(files)
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

fn parts(e: &Estimate) -> [String; 5] {
    [e.value, e.se, e.low, e.high, e.dof].map(number)
}

/// One line a set-up.
fn setups_csv(solution: &Solution) -> Result<Vec<u8>, Error> {
    let mut header = vec!["setup".to_string(), "label".into(), "laps_used".into(), "mean_speed_m_s".into()];
    for quantity in ["crr", "cda_m2", "power_w"] {
        for part in ["", "_se", "_low", "_high", "_dof"] {
            header.push(format!("{quantity}{part}"));
        }
    }
    let header: Vec<&str> = header.iter().map(String::as_str).collect();
    table(
        &header,
        solution.setups.iter().map(|s| {
            let mut row = vec![s.id.clone(), s.label.clone(), s.laps_used.to_string(), number(s.mean_speed_m_s)];
            for e in [&s.crr, &s.cda_m2, &s.power_w] {
                row.extend(parts(e));
            }
            row
        }),
    )
}

/// One line a lap.
fn laps_csv(solution: &Solution) -> Result<Vec<u8>, Error> {
    let header = [
        "run",
        "file",
        "setup",
        "lap",
        "start_s",
        "duration_s",
        "distance_m",
        "mean_speed_m_s",
        "mean_power_w",
        "planned_speed_class",
        "misclosure_m",
        "used",
        "reason",
    ];
    let rows = solution.runs.iter().enumerate().flat_map(|(k, run)| {
        run.laps.iter().map(move |lap| {
            vec![
                (k + 1).to_string(),
                run.file.clone(),
                run.setup.clone(),
                lap.lap.to_string(),
                lap.start_s.to_string(),
                lap.duration_s.to_string(),
                lap.distance_m.to_string(),
                lap.mean_speed_m_s.to_string(),
                number(lap.mean_power_w),
                lap.planned_speed_class.map_or(String::new(), |c| c.to_string()),
                number(lap.misclosure_m),
                lap.used.to_string(),
                lap.reason.clone().unwrap_or_default(),
            ]
        })
    });
    table(&header, rows)
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
                _ => {}
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
