//! What already stands where results will go: nothing, files of ours, files of the user among them.
//!
//! Given a folder; tells ours from theirs by the mark alone, and refuses where that cannot be told. It changes nothing.

use super::mark::{Kind, MARK, Mark};
use loopwright::error::Error;
use std::collections::BTreeMap;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// Where solving a rehearsed day puts its results: they go with the rides they are of.
const NESTED_RESULTS: &str = "session-results";
/// How often a folder is looked at that another run replaces meanwhile.
const TRIES: usize = 20;

/// Something in a folder, by its path from there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    pub name: PathBuf,
    pub is_folder: bool,
}

impl Entry {
    /// The name as the mark has it; none where it is not text, which ours always are.
    pub fn listed_name(&self) -> Option<String> {
        let parts: Option<Vec<&str>> = self.name.iter().map(|part| part.to_str()).collect();
        Some(parts?.join("/"))
    }
}

/// What a folder holds that will not be replaced.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Holdings {
    /// What the user has put there, each folder before what is in it.
    pub theirs: Vec<Entry>,
    /// Whether results of an earlier rehearsed day lie inside, which go with it.
    pub spent_results: bool,
}

/// Looks at a folder in which a command will write.
///
/// Errors: [`Error::ForeignFolder`] where the folder is not one that this command wrote, [`Error::ChangedFile`] where one
/// of our files was changed since, [`Error::Unreadable`].
pub fn look(folder: &Path, kind: Kind) -> Result<Holdings, Error> {
    let mut looked = look_once(folder, kind);
    for _ in 0..TRIES {
        let before = identity(folder);
        looked = look_once(folder, kind);
        // What was found is true of one folder only where no other took its place meanwhile.
        if identity(folder) == before {
            break;
        }
    }
    looked
}

/// What tells a folder from another that took its place.
fn identity(folder: &Path) -> Option<(u64, Vec<u8>)> {
    #[cfg(unix)]
    let number = std::os::unix::fs::MetadataExt::ino(&std::fs::metadata(folder).ok()?);
    #[cfg(not(unix))]
    let number = 0;
    Some((number, std::fs::read(folder.join(MARK)).unwrap_or_default()))
}

fn look_once(folder: &Path, kind: Kind) -> Result<Holdings, Error> {
    let foreign = |reason: String| Error::ForeignFolder { path: folder.to_path_buf(), reason, flag: kind.flag() };
    let unreadable = |e: std::io::Error| Error::Unreadable { path: folder.to_path_buf(), reason: e.to_string() };
    match std::fs::metadata(folder) {
        Ok(found) if found.is_dir() => {}
        Ok(_) => return Err(foreign("it is a file, not a folder".into())),
        Err(e) if e.kind() == ErrorKind::NotFound && folder.is_symlink() => {
            return Err(foreign("it is a link that leads nowhere".into()));
        }
        // Where it cannot come to be, writing says why.
        Err(_) => return Ok(Holdings::default()),
    }
    if std::fs::read_dir(folder).map_err(unreadable)?.next().is_none() {
        return Ok(Holdings::default());
    }
    let mark = read_mark(folder, kind)?.ok_or_else(|| {
        foreign(format!(
            "it holds files but not {MARK}, the list by which loopwright knows what it wrote itself; if it is an old \
             result, move it away"
        ))
    })?;
    if mark.kind != kind {
        let (found, wanted) = (mark.kind.command(), kind.command());
        return Err(foreign(format!(
            "it holds what «loopwright {found}» wrote and not what «loopwright {wanted}» writes"
        )));
    }
    let nested = folder.join(NESTED_RESULTS);
    let spent_results = kind == Kind::Rehearse && nested.is_dir() && read_mark(&nested, kind)?.is_some();
    if spent_results {
        only_ours(&nested, kind)?;
    }
    let mut theirs = Vec::new();
    for entry in walk(folder).map_err(unreadable)? {
        if !(spent_results && entry.name.starts_with(NESTED_RESULTS)) && is_theirs(folder, &entry, &mark, kind)? {
            theirs.push(entry);
        }
    }
    Ok(Holdings { theirs, spent_results })
}

/// Results that are to go with their rides must be nothing but what was written.
fn only_ours(nested: &Path, kind: Kind) -> Result<(), Error> {
    let mut holdings = look_once(nested, Kind::Solve).map_err(|e| match e {
        Error::ForeignFolder { path, reason, .. } => Error::ForeignFolder { path, reason, flag: kind.flag() },
        other => other,
    })?;
    match holdings.theirs.pop() {
        None => Ok(()),
        Some(entry) => Err(Error::ForeignFolder {
            path: nested.to_path_buf(),
            reason: format!(
                "these results belong to the day that is to be replaced, and {} was added to them; move it to keep it",
                entry.name.display()
            ),
            flag: kind.flag(),
        }),
    }
}

fn is_theirs(folder: &Path, entry: &Entry, mark: &Mark, kind: Kind) -> Result<bool, Error> {
    let Some(name) = entry.listed_name() else { return Ok(true) };
    if entry.is_folder {
        let ours = |listed: &String| listed.strip_prefix(&name).is_some_and(|rest| rest.starts_with('/'));
        return Ok(!mark.sums.keys().any(ours));
    }
    if name == MARK {
        return Ok(false);
    }
    if !mark.sums.contains_key(&name) {
        return Ok(true);
    }
    let path = folder.join(&entry.name);
    // A link or a pipe under that name is not what we wrote, and reading a pipe would wait.
    let is_file = std::fs::symlink_metadata(&path).is_ok_and(|found| found.is_file());
    let unchanged = is_file && std::fs::read(&path).is_ok_and(|bytes| mark.vouches_for(&name, &bytes));
    if unchanged { Ok(false) } else { Err(Error::ChangedFile { path, flag: kind.flag() }) }
}

/// The mark of a folder, where it has one.
pub fn read_mark(folder: &Path, kind: Kind) -> Result<Option<Mark>, Error> {
    let path = folder.join(MARK);
    // A link or a pipe under that name is not what we wrote.
    if !std::fs::symlink_metadata(&path).is_ok_and(|found| found.is_file()) {
        return Ok(None);
    }
    let bytes = std::fs::read(&path).map_err(|e| Error::Unreadable { path, reason: e.to_string() })?;
    Mark::read(&String::from_utf8_lossy(&bytes)).map(Some).map_err(|line| Error::ForeignFolder {
        path: folder.to_path_buf(),
        reason: format!("line {line} of its {MARK} is not as loopwright wrote it"),
        flag: kind.flag(),
    })
}

/// Everything in a folder, deep, each folder before what is in it; links are not followed.
pub fn walk(folder: &Path) -> Result<Vec<Entry>, std::io::Error> {
    let mut found = BTreeMap::new();
    let mut open = vec![PathBuf::new()];
    while let Some(inside) = open.pop() {
        for entry in std::fs::read_dir(folder.join(&inside))? {
            let entry = entry?;
            let (name, is_folder) = (inside.join(entry.file_name()), entry.file_type()?.is_dir());
            if is_folder {
                open.push(name.clone());
            }
            found.insert(name, is_folder);
        }
    }
    Ok(found.into_iter().map(|(name, is_folder)| Entry { name, is_folder }).collect())
}
