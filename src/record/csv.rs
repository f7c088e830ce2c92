//! A table of comma-separated values as a [`Recording`].
//!
//! Given text whose first line names its columns, units included; gives one row per line. A cell that cannot be
//! understood is an error with its line; an empty cell, or `nan`, is a missing value and never zero.

use ::csv::{ErrorKind, ReaderBuilder, StringRecord, Trim};

use super::channel::{Channel, Row};
use super::column::{Column, QUOTED, column};
use super::{MAX_RECORDS, Provenance, Recording, refuse_above, refuse_large, refuse_many, timeline};
use crate::error::Error;
use crate::finding::What;
use crate::printable::excerpt;

/// End of the year 9999, Unix time in s; a larger number counts milliseconds.
const LATEST_UNIX_S: f64 = 253_402_300_799.0;
/// Times before this, in 1973, count from a zero of their own.
const EARLIEST_CLOCK_S: f64 = 1e8;
/// Most headings that a message quotes.
const HEADINGS_QUOTED: usize = 8;

/// Reads a CSV table; `file` is its name in messages.
///
/// | column | holds |
/// |---|---|
/// | `time` | RFC 3339 with an offset (`2030-05-01T09:00:00.5+02:00`), or Unix time in s |
/// | `time_s`, `elapsed_s` | seconds from any zero; used when there is no `time` |
/// | `power_w`, `speed_m_s` or `speed_km_h`, `distance_m` or `distance_km`, `latitude_deg`, `longitude_deg`, `altitude_m`, `cadence_rpm`, `temperature_c` | the channel in the unit of its name |
/// | `lap` | a counter; the first row of a new count is a lap mark |
///
/// Columns may be parted by `,` or, when the first line has no comma, by `;` (numbers may then have a decimal
/// comma) or tab. Lines that begin with `#` are remarks. A misspelt column, or a channel in a unit that is not
/// listed, is an error; any other column is passed over with a finding.
///
/// ```
/// let ride = loopwright::record::parse_csv(b"elapsed_s,power_w,speed_km_h\n0,200,36\n1,,36\n", "ride.csv")?;
/// assert_eq!(ride.speed_m_s, [10.0, 10.0]);
/// assert!(ride.power_w[1].is_nan());
/// # Ok::<(), loopwright::error::Error>(())
/// ```
pub fn parse_csv(bytes: &[u8], file: &str) -> Result<Recording, Error> {
    refuse_large(bytes.len() as u64, file)?;
    refuse_many(bytes, "number of lines", file, || bytes.iter().filter(|&&b| b == b'\n').count())?;
    let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let delimiter = delimiter(text);
    let mut reader = ReaderBuilder::new().delimiter(delimiter).trim(Trim::All).comment(Some(b'#')).from_reader(text);
    let headings = reader.headers().map_err(|e| bad_line(file, &e))?.clone();
    let table = Table::new(&headings, delimiter, file)?;
    let mut recording = Recording::default();
    let mut lap = None;
    let (mut rows, mut without_time) = (0, 0);
    let mut cells = StringRecord::new();
    while reader.read_record(&mut cells).map_err(|e| bad_line(file, &e))? {
        rows += 1;
        refuse_above(MAX_RECORDS, rows, "number of rows", file)?;
        let line = line(&cells);
        let Some(time_s) = table.time_s(&cells, line)? else {
            without_time += 1;
            continue;
        };
        recording.push(time_s, &table.row(&cells, line)?);
        if let Some(count) = table.lap(&cells, line)? {
            let changed = lap.replace(count).is_some_and(|before| before != count);
            recording.lap_marks_s.extend(changed.then_some(time_s));
        }
    }
    if recording.is_empty() {
        return Err(if rows > 0 {
            Error::NoTimes { file: file.into(), records: rows }
        } else {
            Error::NotARide { file: file.into(), reason: "a table without rows".into() }
        });
    }
    let findings = &mut recording.findings;
    findings.extend((!table.ignored.is_empty()).then_some(What::ColumnsIgnored { names: table.ignored }));
    findings.extend((without_time > 0).then_some(What::RecordsWithoutTime { count: without_time }));
    timeline::settle(&mut recording);
    recording.lap_marks_s.sort_by(f64::total_cmp);
    recording.lap_marks_s.dedup();
    let clock_set = recording.time_s.first().is_some_and(|&t| t >= EARLIEST_CLOCK_S);
    recording.findings.extend((!clock_set).then_some(What::ClockNotSet));
    recording.findings.extend(recording.power_all_zero());
    recording.provenance = Provenance::of(bytes, file);
    Ok(recording)
}

/// What parts the columns, told by the first line that is no remark.
fn delimiter(text: &[u8]) -> u8 {
    let mut lines = text.split(|&b| b == b'\n');
    let heading = lines.find(|l| !l.starts_with(b"#") && !l.trim_ascii().is_empty()).unwrap_or(&[]);
    [b',', b';', b'\t'].into_iter().find(|d| heading.contains(d)).unwrap_or(b',')
}

fn line(cells: &StringRecord) -> usize {
    cells.position().map_or(0, |p| usize::try_from(p.line()).unwrap_or(usize::MAX))
}

/// The reason of a fault in any table, without the parser's own line numbers.
pub(crate) fn plain_reason(error: &::csv::Error) -> String {
    match error.kind() {
        ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!(
                "{len} cells where the first line names {expected_len} columns; a decimal comma does that: write a point"
            )
        }
        ErrorKind::Utf8 { .. } => "not UTF-8 text; save the table as UTF-8".into(),
        _ => error.to_string(),
    }
}

/// What is said of a table that begins with its numbers.
pub(crate) const NO_HEADING: &str =
    "the first line holds numbers where the names of the columns belong; put a line of names in front";

/// Whether the first line of a table is a line of values already.
pub(crate) fn lacks_heading(first: &StringRecord) -> bool {
    let is_value = |cell: &str| cell.parse::<f64>().is_ok() || cell.parse::<jiff::Timestamp>().is_ok();
    first.iter().any(is_value) && first.iter().all(|cell| is_missing(cell) || is_value(cell))
}

fn bad_line(file: &str, error: &::csv::Error) -> Error {
    let line = error.position().map_or(1, |p| usize::try_from(p.line()).unwrap_or(usize::MAX));
    let message = match error.kind() {
        ErrorKind::UnequalLengths { .. } => format!("{}, or part the columns by ;", plain_reason(error)),
        _ => plain_reason(error),
    };
    Error::BadLine { file: file.into(), line, message }
}

/// The columns of a table and where they stand.
struct Table<'a> {
    file: &'a str,
    columns: Vec<Column>,
    time_at: usize,
    lap_at: Option<usize>,
    decimal_comma: bool,
    ignored: Vec<String>,
}

impl<'a> Table<'a> {
    fn new(headings: &StringRecord, delimiter: u8, file: &'a str) -> Result<Self, Error> {
        let refuse = |message: String| Error::BadLine { file: file.into(), line: line(headings).max(1), message };
        let columns: Vec<Column> = headings.iter().map(column).collect::<Result<_, _>>().map_err(&refuse)?;
        let at = |wanted: Column| columns.iter().position(|&c| c == wanted);
        let Some(time_at) = at(Column::Time).or(at(Column::Elapsed)) else {
            if lacks_heading(headings) {
                return Err(refuse(format!("{NO_HEADING}, such as time_s,power_w,speed_m_s")));
            }
            let names: Vec<String> = headings.iter().take(HEADINGS_QUOTED).map(|h| excerpt(h, QUOTED)).collect();
            let more = headings.len().saturating_sub(names.len());
            let more = if more > 0 { format!(" and {more} more") } else { String::new() };
            return Err(refuse(format!("no column time, time_s or elapsed_s among: {}{more}", names.join(", "))));
        };
        for channel in Channel::ALL {
            let of_channel = columns.iter().filter(|c| matches!(c, Column::Value { channel: c, .. } if *c == channel));
            if of_channel.count() > 1 {
                return Err(refuse(format!("two columns give {}; keep one", channel.name())));
            }
        }
        let ignored = headings.iter().zip(&columns).filter(|(_, c)| **c == Column::Other);
        let ignored = ignored.map(|(name, _)| if name.is_empty() { "(unnamed)".into() } else { excerpt(name, QUOTED) });
        let ignored = ignored.collect();
        let lap_at = at(Column::Lap);
        Ok(Table { file, columns, time_at, lap_at, decimal_comma: delimiter == b';', ignored })
    }

    fn refuse(&self, line: usize, message: String) -> Error {
        Error::BadLine { file: self.file.into(), line, message }
    }

    fn time_s(&self, cells: &StringRecord, line: usize) -> Result<Option<f64>, Error> {
        let cell = cells.get(self.time_at).unwrap_or("");
        if is_missing(cell) {
            return Ok(None);
        }
        let time_s = match (self.columns.get(self.time_at), cell.parse::<jiff::Timestamp>()) {
            (Some(Column::Time), Ok(time)) => time.as_second() as f64 + f64::from(time.subsec_nanosecond()) * 1e-9,
            (Some(Column::Time), Err(_)) if self.number(cell).is_none() => {
                let example = "2030-05-01T09:00:00+02:00 or seconds since 1970";
                return Err(self.refuse(
                    line,
                    format!("time «{}» is not understood; write it as {example}", excerpt(cell, 2 * QUOTED)),
                ));
            }
            _ => self.value(cell, line, "time")?,
        };
        if time_s.abs() > LATEST_UNIX_S {
            return Err(self.refuse(line, format!("time {time_s} is beyond the year 9999; milliseconds for seconds?")));
        }
        Ok(Some(time_s))
    }

    fn row(&self, cells: &StringRecord, line: usize) -> Result<Row, Error> {
        let mut row = Row::empty();
        for (cell, column) in cells.iter().zip(&self.columns) {
            if let Column::Value { channel, unit } = *column
                && !is_missing(cell)
            {
                let value = unit.convert(self.value(cell, line, channel.name())?);
                let limit = match channel {
                    Channel::Latitude => 90.0,
                    Channel::Longitude => 180.0,
                    _ => f64::INFINITY,
                };
                if value.abs() > limit {
                    let name = channel.name();
                    return Err(self.refuse(line, format!("{name} {value} is outside -{limit} to {limit} degrees")));
                }
                row.set(channel, value);
            }
        }
        Ok(row)
    }

    fn lap(&self, cells: &StringRecord, line: usize) -> Result<Option<f64>, Error> {
        let cell = self.lap_at.and_then(|at| cells.get(at)).unwrap_or("");
        if is_missing(cell) { Ok(None) } else { self.value(cell, line, "lap").map(Some) }
    }

    fn value(&self, cell: &str, line: usize, name: &str) -> Result<f64, Error> {
        self.number(cell).ok_or_else(|| {
            let shown = excerpt(cell, 2 * QUOTED);
            let hint = if cell.contains(',') { "; write a decimal point, or part the columns by ;" } else { "" };
            self.refuse(line, format!("{name} «{shown}» is not a finite number{hint}"))
        })
    }

    fn number(&self, cell: &str) -> Option<f64> {
        let parsed = if self.decimal_comma { cell.replacen(',', ".", 1).parse() } else { cell.parse() };
        parsed.ok().filter(|x: &f64| x.is_finite())
    }
}

fn is_missing(cell: &str) -> bool {
    cell.is_empty() || cell.eq_ignore_ascii_case("nan")
}
