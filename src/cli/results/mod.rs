//! The folder that a command writes: whole to a temporary name, onto the disk, then put in place.
//!
//! Given files and a place. A folder is ours by its mark alone. Files of ours that are unchanged are replaced, those of the
//! user are kept where they lie; where one of ours was changed, or the folder is not ours, nothing is touched.

pub(crate) mod building;
mod carry;
mod disk;
mod holdings;
mod in_place;
mod mark;
mod read;

use building::{Building, FRESH, OLD, READY, clear_dead};
use holdings::{Holdings, look, walk};
use in_place::put_in_place;
use loopwright::error::Error;
use loopwright::plot::letters_without_form;
use loopwright::report::files::ResultFile;
pub use mark::Kind;
pub use read::{read_solution, solution_bytes};
use std::collections::BTreeSet;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// Most names of kept files that are told.
const MOST_TOLD: usize = 5;
/// Most letters that are told.
const MOST_LETTERS_TOLD: usize = 20;

/// What a person should know of a folder that was written.
#[derive(Debug, Default)]
pub struct Written {
    kept: Vec<PathBuf>,
    spent_results: bool,
    /// Files of the user that changed at the very moment and are not in the folder.
    left: Vec<PathBuf>,
    /// Letters that the font of PNG figures lacks.
    without_form: BTreeSet<char>,
}

impl Written {
    /// What is worth a line each.
    pub fn remarks(&self) -> Vec<String> {
        let mut lines = Vec::new();
        if !self.kept.is_empty() {
            let names: Vec<String> = self.kept.iter().take(MOST_TOLD).map(|p| p.display().to_string()).collect();
            let more = self.kept.len().saturating_sub(MOST_TOLD);
            let more = if more > 0 { format!(" and {more} more") } else { String::new() };
            lines.push(format!("Kept there, not from loopwright: {}{more}", names.join(", ")));
        }
        if self.spent_results {
            lines.push("The results of the day before, which lay inside, went with it".into());
        }
        if !self.left.is_empty() {
            let names: Vec<String> = self.left.iter().map(|p| p.display().to_string()).collect();
            lines.push(format!("Changed while the folder was replaced, and kept at: {}", names.join(", ")));
        }
        if !self.without_form.is_empty() {
            let letters: String = self.without_form.iter().take(MOST_LETTERS_TOLD).collect();
            let more = if self.without_form.len() > MOST_LETTERS_TOLD { " and others" } else { "" };
            lines.push(format!(
                "The PNG figures show boxes for the letters «{letters}»{more}, which their font lacks; the SVG figures have them"
            ));
        }
        lines
    }
}

/// Checks early that a command can write a folder.
///
/// Errors: [`Error::ForeignFolder`], [`Error::ChangedFile`], [`Error::Unreadable`].
pub fn check(folder: &Path, kind: Kind) -> Result<(), Error> {
    look(folder, kind).map(|_| ())
}

/// The command that wrote a folder, where it is one of ours.
pub fn written_by(folder: &Path) -> Option<&'static str> {
    holdings::read_mark(folder, Kind::Solve).ok().flatten().map(|mark| mark.kind.command())
}

/// Writes all files and their list, or none.
pub fn write(folder: &Path, kind: Kind, files: &[ResultFile]) -> Result<Written, Error> {
    let failed = |e: std::io::Error| Error::Unwritable { path: folder.to_path_buf(), reason: e.to_string() };
    // A link to a folder stays a link: what it leads to is replaced.
    let place = std::fs::canonicalize(folder).unwrap_or_else(|_| folder.to_path_buf());
    let parent: PathBuf = match place.parent() {
        Some(p) if !p.as_os_str().is_empty() => p.to_path_buf(),
        _ => PathBuf::from("."),
    };
    let Holdings { theirs, spent_results } = look(folder, kind)?;
    std::fs::create_dir_all(&parent).map_err(failed)?;
    clear_dead(&parent);
    let building = Building::in_folder(&parent).map_err(failed)?;
    let (fresh, ready) = (building.path().join(FRESH), building.path().join(READY));
    let list = mark::listed(kind, files);
    disk::write_all(&fresh, &files.iter().chain([&list]).collect::<Vec<_>>()).map_err(failed)?;
    carry::bring(&place, &theirs, &fresh).map_err(|e| match e.kind() {
        ErrorKind::AlreadyExists => Error::ForeignFolder {
            path: folder.to_path_buf(),
            reason: format!("{e} in it is not from loopwright and bears the name of a result; rename it to keep it"),
            flag: kind.flag(),
        },
        _ => failed(e),
    })?;
    let folders = walk(&fresh).map_err(failed)?.into_iter().filter(|e| e.is_folder).map(|e| fresh.join(e.name));
    disk::sync_folders(&fresh, folders).map_err(failed)?;
    std::fs::rename(&fresh, &ready).map_err(failed)?;
    if let Err(e) = put_in_place(&ready, &place) {
        // It never stood anywhere and may go like anything half built.
        let _ = std::fs::rename(&ready, &fresh);
        return Err(failed(e));
    }
    // Old files go only when the new ones are known to stand; a disk that cannot say so is no reason to keep both.
    let _ = disk::sync_folder(&parent);
    let old = [ready, building.path().join(OLD)];
    let left = old.iter().filter(|old| old.exists()).flat_map(|old| carry::clear_replaced(old, &place)).collect();
    let kept = theirs.into_iter().filter(|e| !e.is_folder).map(|e| e.name).collect();
    Ok(Written { kept, spent_results, left, without_form: without_form(files) })
}

/// Letters of the figures of which there is a picture too, and that it cannot show.
fn without_form(files: &[ResultFile]) -> BTreeSet<char> {
    let painted = |file: &&ResultFile| {
        let picture = file.name.strip_suffix(".svg").map(|stem| format!("{stem}.png"));
        picture.is_some_and(|name| files.iter().any(|f| f.name == name))
    };
    files.iter().filter(painted).flat_map(|f| letters_without_form(&String::from_utf8_lossy(&f.bytes))).collect()
}
