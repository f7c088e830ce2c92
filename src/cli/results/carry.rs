//! Files of the user that lie among results: brought into the new folder before it takes the place of the old one, and
//! kept when the old one goes.
//!
//! Given folders; links, copies and removes. It removes nothing but what the mark vouches for or what stands at the new
//! place too.

use super::holdings::{Entry, walk};
use super::mark::{MARK, Mark};
use std::fs::File;
use std::io::{Error, ErrorKind};
use std::path::{Path, PathBuf};

/// Puts each of the user's files into the new folder as well: the same file under a second name, where the file system
/// can, so that whoever writes to it meanwhile writes to both.
///
/// Errors: [`ErrorKind::AlreadyExists`] with the name where a result stands already.
pub fn bring(from: &Path, theirs: &[Entry], to: &Path) -> Result<(), Error> {
    for entry in theirs {
        let (old, new) = (from.join(&entry.name), to.join(&entry.name));
        if let Some(parent) = new.parent() {
            std::fs::create_dir_all(parent).map_err(|_| taken(&entry.name))?;
        }
        let done = if entry.is_folder { folder(&new) } else { link_or_copy(&old, &new) };
        match done {
            // The user has taken it away meanwhile.
            Err(e) if e.kind() == ErrorKind::NotFound && !old.is_symlink() => {}
            Err(e) if e.kind() == ErrorKind::AlreadyExists => return Err(taken(&entry.name)),
            other => other?,
        }
    }
    // Last, because a folder that may not be written to could not be filled.
    for entry in theirs.iter().filter(|e| e.is_folder).rev() {
        if let Ok(found) = std::fs::metadata(from.join(&entry.name)) {
            std::fs::set_permissions(to.join(&entry.name), found.permissions())?;
        }
    }
    Ok(())
}

fn taken(name: &Path) -> Error {
    Error::new(ErrorKind::AlreadyExists, name.display().to_string())
}

fn folder(new: &Path) -> Result<(), Error> {
    if new.is_dir() { Ok(()) } else { std::fs::create_dir(new) }
}

fn link_or_copy(old: &Path, new: &Path) -> Result<(), Error> {
    match std::fs::hard_link(old, new) {
        Ok(()) => return Ok(()),
        Err(e) if matches!(e.kind(), ErrorKind::AlreadyExists | ErrorKind::NotFound) => return Err(e),
        Err(_) => {}
    }
    let found = std::fs::symlink_metadata(old)?;
    #[cfg(unix)]
    if found.is_symlink() {
        return std::os::unix::fs::symlink(std::fs::read_link(old)?, new);
    }
    if !found.is_file() {
        return Err(Error::new(ErrorKind::Unsupported, format!("{} is no regular file", old.display())));
    }
    let mut copy = File::create_new(new)?;
    std::io::copy(&mut File::open(old)?, &mut copy)?;
    copy.set_permissions(found.permissions())?;
    copy.sync_all()
}

/// Clears a folder whose place a new one has taken. What came or changed in the last moment goes to the new place where
/// its name is free there; gives what could not, which stays where it is.
pub fn clear_replaced(old: &Path, place: &Path) -> Vec<PathBuf> {
    let free = |path: &Path, name: &Path| {
        let new = place.join(name);
        let _ = new.parent().map(std::fs::create_dir_all);
        // Linking never replaces what stands there.
        std::fs::hard_link(path, new).and_then(|()| std::fs::remove_file(path)).is_ok()
    };
    clear(old, &|path, name| {
        (is_same(path, &place.join(name)) && std::fs::remove_file(path).is_ok()) || free(path, name)
    })
}

/// Clears what a killed run has left of a folder whose place a new one had taken, as far as nothing can be lost.
pub fn clear_left(old: &Path) -> Vec<PathBuf> {
    clear(old, &|path, _| has_another_name(path) && std::fs::remove_file(path).is_ok())
}

/// Removes all files of ours, and the others as far as `rid` does; then the folders that are empty. Gives what is left.
fn clear(old: &Path, rid: &dyn Fn(&Path, &Path) -> bool) -> Vec<PathBuf> {
    let Ok(entries) = walk(old) else { return vec![old.to_path_buf()] };
    let marks: Vec<(PathBuf, Mark)> = entries.iter().filter_map(|entry| mark(old, entry)).collect();
    let (folders, files): (Vec<&Entry>, Vec<&Entry>) = entries.iter().partition(|e| e.is_folder);
    let mut left = Vec::new();
    let mut lists = Vec::new();
    for entry in files {
        let path = old.join(&entry.name);
        if marks.iter().any(|(folder, _)| folder.join(MARK) == entry.name) {
            lists.push(path);
        } else if !(is_ours(&path, entry, &marks) && std::fs::remove_file(&path).is_ok() || rid(&path, &entry.name)) {
            left.push(path);
        }
    }
    // The lists go last, so that a clearing that is itself killed can be taken up again.
    if left.is_empty() {
        left.extend(lists.into_iter().filter(|path| std::fs::remove_file(path).is_err()));
    }
    if left.is_empty() {
        for folder in folders.into_iter().rev().map(|e| old.join(&e.name)).chain([old.to_path_buf()]) {
            let _ = std::fs::remove_dir(folder);
        }
    }
    left
}

/// The mark that an entry is, with the folder that it is of.
fn mark(old: &Path, entry: &Entry) -> Option<(PathBuf, Mark)> {
    if entry.is_folder || entry.name.file_name()? != MARK {
        return None;
    }
    let path = old.join(&entry.name);
    let text = if is_file(&path) { std::fs::read_to_string(path).ok()? } else { return None };
    Some((entry.name.parent()?.to_path_buf(), Mark::read(&text).ok()?))
}

fn is_ours(path: &Path, entry: &Entry, marks: &[(PathBuf, Mark)]) -> bool {
    if !is_file(path) {
        return false;
    }
    std::fs::read(path).is_ok_and(|bytes| {
        marks.iter().any(|(folder, mark)| {
            let below = entry.name.strip_prefix(folder).ok().map(|name| Entry { name: name.into(), is_folder: false });
            below.and_then(|e| e.listed_name()).is_some_and(|name| mark.vouches_for(&name, &bytes))
        })
    })
}

/// Whether a path is a regular file itself, not a link to one.
fn is_file(path: &Path) -> bool {
    std::fs::symlink_metadata(path).is_ok_and(|found| found.is_file())
}

/// Whether two names are of one file, or of two with the same bytes.
fn is_same(one: &Path, other: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        let number = |path: &Path| std::fs::symlink_metadata(path).map(|m| (m.dev(), m.ino())).ok();
        if number(one).is_some() && number(one) == number(other) {
            return true;
        }
    }
    if one.is_symlink() {
        return other.is_symlink() && std::fs::read_link(one).ok() == std::fs::read_link(other).ok();
    }
    let bytes = |path: &Path| if path.is_file() { std::fs::read(path).ok() } else { None };
    bytes(one).is_some_and(|b| bytes(other) == Some(b))
}

#[cfg(unix)]
fn has_another_name(path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    std::fs::symlink_metadata(path).is_ok_and(|m| m.nlink() > 1)
}

#[cfg(not(unix))]
fn has_another_name(_: &Path) -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::super::mark::{Kind, listed};
    use super::*;
    use loopwright::report::files::ResultFile;

    /// A folder that was written, with files beside it that were not.
    fn written(desk: &Path, name: &str, ours: &[(&str, &str)], theirs: &[(&str, &str)]) -> PathBuf {
        let file = |(name, text): &(&str, &str)| ResultFile { name: name.to_string(), bytes: text.as_bytes().to_vec() };
        let ours: Vec<ResultFile> = ours.iter().map(file).collect();
        let folder = desk.join(name);
        for file in ours.iter().cloned().chain([listed(Kind::Solve, &ours)]).chain(theirs.iter().map(file)) {
            let path = folder.join(file.name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, file.bytes).unwrap();
        }
        folder
    }

    fn text(folder: &Path, name: &str) -> String {
        std::fs::read_to_string(folder.join(name)).unwrap_or_default()
    }

    #[test]
    fn what_came_or_changed_in_the_last_moment_is_brought_over_or_left_and_told() {
        let desk = tempfile::tempdir().unwrap();
        let ours = [("report.html", "old"), ("figures/1.svg", "old")];
        let old =
            written(desk.path(), "old", &ours, &[("note.txt", "kept"), ("figures/late.svg", "late"), ("new/a", "b")]);
        let new = written(desk.path(), "place", &[("report.html", "new")], &[]);
        std::fs::hard_link(old.join("note.txt"), new.join("note.txt")).unwrap();
        std::fs::write(old.join("report.html"), "edited").unwrap();
        assert_eq!(clear_replaced(&old, &new), [old.join("report.html")]);
        assert_eq!((text(&old, "report.html"), text(&new, "report.html")), ("edited".into(), "new".into()));
        for (name, wanted) in [("note.txt", "kept"), ("figures/late.svg", "late"), ("new/a", "b")] {
            assert_eq!(text(&new, name), wanted);
        }
        assert!(!old.join("figures/1.svg").exists());
    }

    #[test]
    fn a_folder_of_ours_alone_goes_whole() {
        let desk = tempfile::tempdir().unwrap();
        let old = written(desk.path(), "old", &[("report.html", "old"), ("figures/1.svg", "old")], &[]);
        assert_eq!(clear_replaced(&old, &desk.path().join("place")), Vec::<PathBuf>::new());
        assert!(!old.exists());
    }

    #[test]
    #[cfg(unix)]
    fn of_what_a_killed_run_has_left_the_only_copy_stays() {
        let desk = tempfile::tempdir().unwrap();
        let old =
            written(desk.path(), "old", &[("report.html", "old")], &[("note.txt", "linked"), ("late.txt", "only")]);
        std::fs::hard_link(old.join("note.txt"), desk.path().join("note.txt")).unwrap();
        assert_eq!(clear_left(&old), [old.join("late.txt")]);
        assert!(!old.join("note.txt").exists() && !old.join("report.html").exists());
        std::fs::remove_file(old.join("late.txt")).unwrap();
        assert_eq!(clear_left(&old), Vec::<PathBuf>::new());
        assert!(!old.exists());
    }
}
