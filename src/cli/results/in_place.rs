//! A finished folder put where another may stand, so that whoever looks sees the old or the new one whole.
//!
//! Given two folders beside each other; moves them. It never looks into them.

use super::building::OLD;
use std::io::{Error, ErrorKind};
use std::path::Path;

/// How often a place is tried that another process fills or empties meanwhile.
const TRIES: usize = 20;

/// Puts `fresh` at `place`. What stood there is afterwards at `fresh`, or in `old` beside it, for the caller to remove.
///
/// On Linux the two change places in one step, so that a process killed at any moment leaves one of them whole at
/// `place`. Elsewhere, and on file systems that cannot do so, there is a moment between two renames at which `place`
/// is empty; what stood there is then in the hidden folder beside it.
pub fn put_in_place(fresh: &Path, place: &Path) -> Result<(), Error> {
    let mut last = Error::from(ErrorKind::Other);
    for _ in 0..TRIES {
        if !place.exists() {
            match std::fs::rename(fresh, place) {
                Ok(()) => return Ok(()),
                Err(e) => last = e,
            }
            // Nothing to change places with: the reason stands, unless another process was quicker.
            if !place.exists() {
                return Err(last);
            }
        }
        match exchange(fresh, place) {
            Ok(()) => return Ok(()),
            Err(e) if e.kind() == ErrorKind::NotFound => last = e,
            Err(e) if cannot_exchange(&e) => match rename_twice(fresh, place) {
                Ok(()) => return Ok(()),
                Err(e) => last = e,
            },
            Err(e) => return Err(e),
        }
    }
    Err(last)
}

/// Two names change places in one step.
#[cfg(target_os = "linux")]
fn exchange(fresh: &Path, place: &Path) -> Result<(), Error> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, fresh, CWD, place, RenameFlags::EXCHANGE)?)
}

#[cfg(not(target_os = "linux"))]
fn exchange(_: &Path, _: &Path) -> Result<(), Error> {
    Err(ErrorKind::Unsupported.into())
}

/// Whether the system or the file system does not know how to exchange.
fn cannot_exchange(error: &Error) -> bool {
    matches!(error.kind(), ErrorKind::Unsupported | ErrorKind::InvalidInput)
}

fn rename_twice(fresh: &Path, place: &Path) -> Result<(), Error> {
    let old = fresh.with_file_name(OLD);
    std::fs::rename(place, &old)?;
    std::fs::rename(fresh, place).inspect_err(|_| {
        // Put the old folder back before saying what went wrong.
        let _ = std::fs::rename(&old, place);
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folders() -> tempfile::TempDir {
        let desk = tempfile::tempdir().unwrap();
        for name in ["fresh", "place"] {
            std::fs::create_dir(desk.path().join(name)).unwrap();
            std::fs::write(desk.path().join(name).join("what"), name).unwrap();
        }
        desk
    }

    fn what(desk: &Path, name: &str) -> String {
        std::fs::read_to_string(desk.join(name).join("what")).unwrap_or_default()
    }

    #[test]
    fn the_fresh_folder_stands_at_the_place_and_the_old_one_is_kept_for_removal() {
        let desk = folders();
        put_in_place(&desk.path().join("fresh"), &desk.path().join("place")).unwrap();
        assert_eq!(what(desk.path(), "place"), "fresh");
        assert_eq!(what(desk.path(), "fresh") + &what(desk.path(), "old"), "place");
    }

    #[test]
    fn two_renames_do_the_same_where_folders_cannot_be_exchanged() {
        let desk = folders();
        rename_twice(&desk.path().join("fresh"), &desk.path().join("place")).unwrap();
        assert_eq!((what(desk.path(), "place"), what(desk.path(), "old")), ("fresh".into(), "place".into()));
    }

    #[test]
    fn a_folder_that_cannot_come_leaves_the_old_one_in_place() {
        let desk = folders();
        assert!(rename_twice(&desk.path().join("nothing"), &desk.path().join("place")).is_err());
        assert!(put_in_place(&desk.path().join("nothing"), &desk.path().join("place")).is_err());
        assert_eq!(what(desk.path(), "place"), "place");
    }
}
