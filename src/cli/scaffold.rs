//! `loopwright scaffold`.

use super::failure::Failure;
use super::{Format, load, output};
use clap::{Args, ValueEnum};
use loopwright::air::WeatherLog;
use loopwright::analysis::scaffold::{Beside, Differs, PassedOver, Proposal, scaffold};
use loopwright::circuit::Survey;
use loopwright::error::Error;
use loopwright::record::{self, Recording};
use rayon::prelude::*;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Most files of a folder that are looked at.
const MOST_FILES: usize = 200;
/// Name of the session in the folder.
const SESSION: &str = "session.toml";

/// Arguments of `scaffold`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright scaffold rides
  loopwright scaffold rides --differs tyres
  loopwright scaffold rides --differs position --out rides/morning.toml

Rides are the FIT and CSV files of the folder, put in the order of riding. Names such as a-1.fit and b-1.fit show the
set-ups. What differs between set-ups decides what they share, and no ride shows it: say --differs, or fill it in. Fill in
the lines marked FILL IN, then run «loopwright solve rides/session.toml». A file that is there already is never overwritten.")]
pub struct ScaffoldArguments {
    /// A folder with ride files
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// The session file to write, beside the rides; by default session.toml in the folder
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// What differs between the set-ups, which decides whether they share CdA or Crr
    #[arg(long, value_name = "WHAT")]
    differs: Option<DiffersWord>,
}

/// [`Differs`] as it is typed.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum DiffersWord {
    /// Only the tyres or their pressure: one CdA for all
    Tyres,
    /// Only the rider's position or clothes: one Crr for all
    Position,
    /// The wheels, perhaps with their tyres: nothing shared
    Wheels,
    /// Several of these: nothing shared
    Several,
}

impl From<DiffersWord> for Differs {
    fn from(word: DiffersWord) -> Differs {
        match word {
            DiffersWord::Tyres => Differs::Tyres,
            DiffersWord::Position => Differs::Position,
            DiffersWord::Wheels => Differs::Wheels,
            DiffersWord::Several => Differs::Several,
        }
    }
}

pub fn run(arguments: &ScaffoldArguments, format: Format) -> Result<(), Failure> {
    let folder = &arguments.folder;
    let out = arguments.out.clone().unwrap_or_else(|| folder.join(SESSION));
    beside_the_rides(&out, folder)?;
    if out.exists() {
        return Err(Error::AlreadyThere { path: out }.into());
    }
    let (rides, beside) = read(folder)?;
    if rides.is_empty() {
        let reason = "no FIT or CSV file in it is a ride; name the folder of the rides".to_string();
        return Err(Error::Unreadable { path: folder.clone(), reason }.into());
    }
    let title = folder.canonicalize().ok().and_then(|p| p.file_name().map(|n| n.to_string_lossy().into_owned()));
    let differs = arguments.differs.map(Differs::from);
    let proposal = scaffold(&title.unwrap_or_default(), &rides, &beside, differs);
    let Proposal { text, passed_over, setups, runs } = &proposal;
    let passed_over: Vec<&PassedOver> = beside.passed_over.iter().chain(passed_over).collect();
    for file in &passed_over {
        output::note(format, &format!("{}: not used, {}", file.file, file.reason));
    }
    write_new(&out, text)?;
    match format {
        Format::Text => output::text(&format!("{}\n", out.display()))?,
        Format::Json => {
            let passed_over: Vec<_> =
                passed_over.iter().map(|p| serde_json::json!({ "file": p.file, "reason": p.reason })).collect();
            output::json(&serde_json::json!({
                "session": out.display().to_string(), "rides": rides.len(), "runs": runs, "setups": setups,
                "differs": differs.map(Differs::word), "passed_over": passed_over
            }))?
        }
    }
    if differs.is_none() {
        output::note(
            format,
            "What differs between the set-ups: tyres, position, wheels or several? The session asks for it under [solve]; --differs writes it",
        );
    }
    output::note(format, &format!("Fill in the lines marked FILL IN, then: loopwright solve {}", out.display()));
    Ok(())
}

/// Paths in a session are relative to it, so it has to lie with the rides.
fn beside_the_rides(out: &Path, folder: &Path) -> Result<(), Error> {
    let unreadable = |e: std::io::Error| Error::Unreadable { path: folder.to_path_buf(), reason: e.to_string() };
    let here = folder.canonicalize().map_err(unreadable)?;
    if !here.is_dir() {
        return Err(Error::Unreadable {
            path: folder.to_path_buf(),
            reason: "it is not a folder; name the folder of the rides".into(),
        });
    }
    let parent = match out.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    if parent.canonicalize().is_ok_and(|p| p == here) {
        return Ok(());
    }
    Err(Error::Usage {
        flag: "--out".into(),
        message: format!(
            "{} is not in the folder of the rides; a session lies beside its rides, such as {}",
            out.display(),
            folder.join(SESSION).display()
        ),
    })
}

/// All rides, and what else was found.
fn read(folder: &Path) -> Result<(Vec<Recording>, Beside), Error> {
    let unreadable = |e: std::io::Error| Error::Unreadable { path: folder.to_path_buf(), reason: e.to_string() };
    let mut paths: Vec<PathBuf> = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        let kind = path.extension().map(|e| e.to_string_lossy().to_lowercase());
        if path.is_file() && matches!(kind.as_deref(), Some("fit" | "csv")) {
            paths.push(path);
        }
    }
    paths.sort();
    if paths.len() > MOST_FILES {
        return Err(Error::TooLarge {
            file: folder.display().to_string(),
            what: "the number of ride files",
            value: paths.len() as u64,
            limit: MOST_FILES as u64,
        });
    }
    let read: Vec<Result<Recording, Error>> = paths.par_iter().map(|p| record::read(p)).collect();
    let mut rides = Vec::new();
    let mut beside = Beside::default();
    for (path, result) in paths.iter().zip(read) {
        let file = record::shown_name(path);
        match result {
            Ok(ride) => rides.push(ride),
            Err(error) => match table(path, &file) {
                Some(Table::Weather) if beside.weather.is_none() => beside.weather = Some(file),
                Some(Table::Survey) if beside.survey.is_none() => beside.survey = Some(file),
                _ => beside.passed_over.push(PassedOver { file, reason: error.to_string() }),
            },
        }
    }
    Ok((rides, beside))
}

/// Another table of a session.
pub(crate) enum Table {
    Weather,
    Survey,
}

/// Whether a CSV file that is no ride is one of the other tables of a session.
pub(crate) fn table(path: &Path, file: &str) -> Option<Table> {
    let text = load::text(path).ok()?;
    if WeatherLog::parse(&text, file).is_ok() {
        return Some(Table::Weather);
    }
    Survey::parse(&text, file, 0.02).is_ok().then_some(Table::Survey)
}

/// Writes a file that must not be there yet, whole or not at all.
fn write_new(path: &Path, text: &str) -> Result<(), Error> {
    let failed = |reason: String| Error::Unwritable { path: path.to_path_buf(), reason };
    let parent = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(".loopwright-");
    // A temporary file is private by nature; a session is an ordinary file, as far as the umask lets it be one.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut building = builder.tempfile_in(parent).map_err(|e| failed(e.to_string()))?;
    building.write_all(text.as_bytes()).map_err(|e| failed(e.to_string()))?;
    building.as_file().sync_all().map_err(|e| failed(e.to_string()))?;
    building.persist_noclobber(path).map_err(|e| match e.error.kind() {
        std::io::ErrorKind::AlreadyExists => Error::AlreadyThere { path: path.to_path_buf() },
        _ => failed(e.error.to_string()),
    })?;
    Ok(())
}
