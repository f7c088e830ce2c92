//! The hidden folder in which results are built, and the clearing of those that killed runs have left.
//!
//! Given the folder in which results will stand. A lock on a file inside tells a live run from a dead one: the system
//! releases it when a process ends in whatever way, so neither a process number nor a clock is asked. It never removes
//! a folder that is locked, that has no lock file of ours and is not empty, or that holds anything a run does not put there, nor what may
//! be the only copy of anything.

use super::carry::clear_left;
use std::fs::{File, TryLockError};
use std::io::{Error, ErrorKind};
use std::path::Path;
use tempfile::TempDir;

const PREFIX: &str = ".loopwright-";
const LOCK: &str = "loopwright.lock";
/// Where results are built inside the hidden folder; nothing that stood at their place ever comes here.
pub const FRESH: &str = "new";
/// Where finished results wait to change places; what they replace stands there for a moment afterwards.
pub const READY: &str = "ready";
/// Where replaced results stand where two folders cannot change places in one step.
pub const OLD: &str = "old";
/// How often another folder is tried when the one just made is taken for a dead one before it is locked.
const TRIES: usize = 20;

/// A hidden folder that is locked for as long as the value lives, and removed with it as far as nothing can be lost.
pub struct Building {
    _lock: Option<File>,
    folder: TempDir,
}

impl Drop for Building {
    fn drop(&mut self) {
        // What cannot be removed stays: it harms nobody.
        let _ = clear(self.folder.path());
    }
}

impl Building {
    /// Makes and locks a folder. Where the file system knows no locks it is made without; nobody clears it then.
    pub fn in_folder(parent: &Path) -> Result<Building, Error> {
        for _ in 0..TRIES {
            // It goes by our own hand, which looks what is in it.
            let folder = tempfile::Builder::new().prefix(PREFIX).disable_cleanup(true).tempdir_in(parent)?;
            let path = folder.path().join(LOCK);
            let lock = match File::create_new(&path) {
                Ok(lock) => lock,
                // Another run took the empty folder for a dead one.
                Err(e) if e.kind() == ErrorKind::NotFound => continue,
                Err(e) => {
                    let _ = std::fs::remove_dir(folder.path());
                    return Err(e);
                }
            };
            match lock.try_lock() {
                // Another run may have locked, removed and released it in between.
                Ok(()) if path.exists() => return Ok(Building { _lock: Some(lock), folder }),
                Ok(()) | Err(TryLockError::WouldBlock) => {}
                Err(TryLockError::Error(_)) => {
                    std::fs::remove_file(&path)?;
                    return Ok(Building { _lock: None, folder });
                }
            }
        }
        Err(Error::new(ErrorKind::ResourceBusy, "other runs keep the folder busy"))
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }
}

/// Removes what dead runs have left in a folder. Whatever cannot be removed stays: it harms nobody.
pub fn clear_dead(parent: &Path) {
    for entry in std::fs::read_dir(parent).into_iter().flatten().flatten() {
        let ours = entry.file_name().to_string_lossy().starts_with(PREFIX);
        // A link is not a folder here.
        if ours && entry.file_type().is_ok_and(|t| t.is_dir()) {
            let _ = clear_if_dead(&entry.path());
        }
    }
}

fn clear_if_dead(folder: &Path) -> Result<(), Error> {
    let lock = folder.join(LOCK);
    match std::fs::symlink_metadata(&lock) {
        Ok(there) if there.is_file() => {}
        // A run that was killed before it had its lock leaves an empty folder, and only an empty one goes.
        Err(e) if e.kind() == ErrorKind::NotFound => return std::fs::remove_dir(folder),
        Ok(_) | Err(_) => return Ok(()),
    }
    let held = File::open(&lock)?;
    if held.try_lock().is_err() {
        return Ok(());
    }
    clear(folder)
}

/// Removes a hidden folder of ours, unless it holds what may be wanted.
fn clear(folder: &Path) -> Result<(), Error> {
    // «old» may be the only copy of results whose run was killed between two renames; it stays, as do foreign files.
    for entry in std::fs::read_dir(folder)? {
        let name = entry?.file_name();
        if ![LOCK, FRESH, READY].iter().any(|ours| name == *ours) {
            return Ok(());
        }
    }
    let is_folder = |path: &Path| std::fs::symlink_metadata(path).is_ok_and(|m| m.is_dir());
    let (fresh, ready) = (folder.join(FRESH), folder.join(READY));
    if is_folder(&fresh) {
        std::fs::remove_dir_all(&fresh)?;
    }
    if is_folder(&ready) && !clear_left(&ready).is_empty() {
        return Ok(());
    }
    // The lock file goes last, so that a clearing that is itself killed can be taken up again.
    match std::fs::remove_file(folder.join(LOCK)) {
        Err(e) if e.kind() != ErrorKind::NotFound => return Err(e),
        Ok(()) | Err(_) => {}
    }
    std::fs::remove_dir(folder)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_living_folder_stays_and_a_dead_one_goes() {
        let desk = tempfile::tempdir().unwrap();
        let living = Building::in_folder(desk.path()).unwrap();
        let dead = desk.path().join(".loopwright-dead");
        std::fs::create_dir_all(dead.join(FRESH).join("figures")).unwrap();
        std::fs::write(dead.join(LOCK), "").unwrap();
        clear_dead(desk.path());
        assert!(living.path().join(LOCK).exists());
        assert!(!dead.exists());
        let killed_early = desk.path().join(".loopwright-early");
        std::fs::create_dir(&killed_early).unwrap();
        clear_dead(desk.path());
        assert!(!killed_early.exists());
    }

    #[test]
    fn folders_without_our_lock_or_with_anything_else_inside_stay() {
        let desk = tempfile::tempdir().unwrap();
        for (name, inside) in [
            (".loopwright-a", &[FRESH][..]),
            (".loopwright-b", &[LOCK, OLD]),
            (".loopwright-c", &[LOCK, "diary"]),
            ("d", &[LOCK]),
        ] {
            std::fs::create_dir(desk.path().join(name)).unwrap();
            for file in inside {
                std::fs::write(desk.path().join(name).join(file), "kept").unwrap();
            }
        }
        clear_dead(desk.path());
        assert_eq!(std::fs::read_dir(desk.path()).unwrap().count(), 4);
        for path in [".loopwright-a/new", ".loopwright-b/old", ".loopwright-c/diary", "d/loopwright.lock"] {
            assert!(desk.path().join(path).exists(), "{path}");
        }
    }
}
