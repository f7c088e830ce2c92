//! The one folder that the desk reads and writes, and nothing outside it.
//!
//! Given the folder's path; gives names of files in it, their text, and puts new text in their place, whole or not at
//! all. A name that is absolute, leads upwards, is hidden or passes through a link is refused, whatever the link leads to.

use super::refusal::Refusal;
use crate::cli::load;
use crate::cli::results::building::{Building, FRESH, clear_dead};
use loopwright::error::Error;
use std::io::Write;
use std::path::{Component, Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Longest name of a file, bytes.
const LONGEST_NAME: usize = 255;
/// Most ride files that are looked at, as in `scaffold`.
pub const MOST_RIDES: usize = 200;

/// See the module.
pub struct Folder {
    root: PathBuf,
    /// Held while a file is looked at and replaced, so that two tabs cannot do so at once.
    writing: Mutex<()>,
}

/// What stands in the way of a replacement.
pub enum NotReplaced {
    /// Somebody else has changed the file; its text now, or none where it is gone.
    Changed(Option<String>),
    Refused(Refusal),
}

impl From<Refusal> for NotReplaced {
    fn from(refusal: Refusal) -> Self {
        NotReplaced::Refused(refusal)
    }
}

impl Folder {
    /// Errors: [`Error::Unreadable`].
    pub fn open(path: &Path) -> Result<Folder, Error> {
        let unreadable = |reason: String| Error::Unreadable { path: path.to_path_buf(), reason };
        let root = path.canonicalize().map_err(|e| unreadable(e.to_string()))?;
        if !root.is_dir() {
            return Err(unreadable("it is not a folder; name the folder of the rides".into()));
        }
        Ok(Folder { root, writing: Mutex::new(()) })
    }

    pub fn root(&self) -> &Path {
        &self.root
    }

    /// The folder's own name.
    pub fn name(&self) -> String {
        self.root.file_name().map_or_else(|| "rides".into(), |n| n.to_string_lossy().into_owned())
    }

    /// Names of the ride files that lie in the folder itself, sorted.
    ///
    /// Errors: the folder cannot be read, or holds more of them than are looked at.
    pub fn rides(&self) -> Result<Vec<String>, Refusal> {
        let names = self.names(&["fit", "csv"])?;
        if names.len() > MOST_RIDES {
            let message =
                format!("The folder holds {} ride files, more than the limit of {MOST_RIDES}; part it", names.len());
            return Err(Refusal::new(422, message));
        }
        Ok(names)
    }

    /// Names of the TOML files that lie in the folder itself, sorted.
    pub fn tables(&self) -> Result<Vec<String>, Refusal> {
        self.names(&["toml"])
    }

    fn names(&self, endings: &[&str]) -> Result<Vec<String>, Refusal> {
        let unreadable = |e: std::io::Error| Error::Unreadable { path: self.name().into(), reason: e.to_string() };
        let mut names = Vec::new();
        for entry in std::fs::read_dir(&self.root).map_err(unreadable)? {
            let entry = entry.map_err(unreadable)?;
            let Some(name) = entry.file_name().to_str().map(str::to_string) else { continue };
            let ending = Path::new(&name).extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
            // A link has another type than a file.
            let is_file = entry.file_type().is_ok_and(|t| t.is_file());
            if is_file && endings.contains(&ending.as_str()) && self.inside(&name).is_ok() {
                names.push(name);
            }
        }
        names.sort();
        Ok(names)
    }

    /// The path of a name inside the folder. What is there is a plain file, or nothing is there yet.
    pub fn inside(&self, name: &str) -> Result<PathBuf, Refusal> {
        let refused = |why: &str| {
            let shown: String = name.chars().filter(|c| !c.is_control()).take(80).collect();
            Err(Refusal::new(
                403,
                format!(
                    "{shown}: {why}; the desk reads and writes only plain files in its folder. Copy the file there, or use the command line"
                ),
            ))
        };
        let relative = Path::new(name);
        let plain = relative.components().all(|c| match c {
            Component::Normal(part) => part.to_str().is_some_and(|p| !p.starts_with('.') && !p.contains(['\\', ':'])),
            _ => false,
        });
        if name.is_empty() || name.len() > LONGEST_NAME || name.chars().any(char::is_control) || !plain {
            return refused("not the name of a file in the folder");
        }
        let mut path = self.root.clone();
        let mut parts = relative.components().peekable();
        while let Some(part) = parts.next() {
            path.push(part);
            match std::fs::symlink_metadata(&path) {
                Ok(there) if there.file_type().is_symlink() => return refused("a link"),
                Ok(there) if parts.peek().is_some() && !there.is_dir() => return refused("not in a folder"),
                Ok(there) if parts.peek().is_none() && !there.is_file() => return refused("not a plain file"),
                Ok(_) => {}
                // Not there yet, or not to be looked at: reading or writing it tells.
                Err(_) => {}
            }
        }
        Ok(path)
    }

    /// Whether a folder of results may stand at a name: nothing is there, or a folder that is no link.
    pub fn place_for_results(&self, name: &str) -> Result<PathBuf, Refusal> {
        let path = self.root.join(name);
        let plain = Path::new(name).components().count() == 1 && !name.starts_with('.') && !name.contains(['/', '\\']);
        match std::fs::symlink_metadata(&path) {
            _ if !plain => Err(Refusal::odd("This is not the name of a folder of results")),
            Ok(there) if !there.is_dir() => Err(Refusal::new(
                403,
                format!(
                    "{name}: not a plain folder, so nothing is written there; move it away or solve on the command line"
                ),
            )),
            _ => Ok(path),
        }
    }

    /// The text of a small file.
    pub fn text(&self, name: &str) -> Result<String, Refusal> {
        let path = self.inside(name)?;
        load::text(&path).map_err(|e| match e {
            // The page shows names, not where the folder lies.
            Error::Unreadable { reason, .. } => Error::Unreadable { path: name.into(), reason }.into(),
            Error::TooLarge { what, value, limit, .. } => {
                Error::TooLarge { file: name.into(), what, value, limit }.into()
            }
            other => other.into(),
        })
    }

    /// Puts a text in place of another, whole or not at all, if the other is still what stands there (`None`: nothing).
    pub fn replace(&self, name: &str, was: Option<&str>, text: &str) -> Result<(), NotReplaced> {
        let path = self.inside(name)?;
        let _alone = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        self.still(name, &path, was)?;
        let failed = |e: std::io::Error| {
            Refusal::new(
                500,
                format!("{name}: cannot be written ({e}); nothing was changed, free some space and save again"),
            )
        };
        clear_dead(&self.root);
        let building = Building::in_folder(&self.root).map_err(failed)?;
        let fresh = building.path().join(FRESH);
        std::fs::create_dir(&fresh).map_err(failed)?;
        let fresh = fresh.join("session");
        let mut file = std::fs::File::create_new(&fresh).map_err(failed)?;
        file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(failed)?;
        if let Ok(there) = std::fs::metadata(&path) {
            std::fs::set_permissions(&fresh, there.permissions()).map_err(failed)?;
        }
        // Once more, as writing took its time.
        self.still(name, &path, was)?;
        std::fs::rename(&fresh, &path).map_err(failed)?;
        Ok(())
    }

    fn still(&self, name: &str, path: &Path, was: Option<&str>) -> Result<(), NotReplaced> {
        let now = if path.exists() { Some(self.text(name)?) } else { None };
        if now.as_deref() == was { Ok(()) } else { Err(NotReplaced::Changed(now)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn desk() -> (tempfile::TempDir, Folder) {
        let place = tempfile::tempdir().unwrap();
        std::fs::create_dir(place.path().join("rides")).unwrap();
        std::fs::write(place.path().join("secret.toml"), "secret = 1\n").unwrap();
        std::fs::write(place.path().join("rides/session.toml"), "a = 1\n").unwrap();
        let folder = Folder::open(&place.path().join("rides")).unwrap();
        (place, folder)
    }

    #[test]
    fn names_that_lead_out_of_the_folder_are_refused() {
        let (place, folder) = desk();
        let absolute = place.path().join("secret.toml");
        for name in
            ["../secret.toml", "a/../../secret.toml", absolute.to_str().unwrap(), "", ".", "..", ".hidden", "a\0b"]
        {
            assert_eq!(folder.text(name).unwrap_err().status, 403, "{name}");
        }
        assert_eq!(folder.text("session.toml").unwrap(), "a = 1\n");
    }

    #[cfg(unix)]
    #[test]
    fn links_are_neither_read_nor_listed_nor_written_through() {
        let (place, folder) = desk();
        let link = |from: &str, to: &str| {
            std::os::unix::fs::symlink(place.path().join(to), place.path().join("rides").join(from)).unwrap();
        };
        link("linked.toml", "secret.toml");
        link("dangling.toml", "nowhere.toml");
        link("out", "");
        assert_eq!(folder.tables().unwrap(), ["session.toml"]);
        for name in ["linked.toml", "dangling.toml", "out/secret.toml"] {
            assert!(folder.text(name).unwrap_err().message.contains("link"), "{name}");
            assert!(matches!(folder.replace(name, None, "x"), Err(NotReplaced::Refused(_))), "{name}");
        }
        assert!(folder.place_for_results("out").is_err());
        assert!(!place.path().join("nowhere.toml").exists());
        assert_eq!(std::fs::read_to_string(place.path().join("secret.toml")).unwrap(), "secret = 1\n");
    }

    #[test]
    fn a_file_that_changed_meanwhile_is_left_alone_and_shown() {
        let (_place, folder) = desk();
        assert!(folder.replace("session.toml", Some("a = 1\n"), "a = 2\n").is_ok());
        match folder.replace("session.toml", Some("a = 1\n"), "a = 3\n") {
            Err(NotReplaced::Changed(now)) => assert_eq!(now.as_deref(), Some("a = 2\n")),
            _ => panic!("it was replaced"),
        }
        assert_eq!(folder.text("session.toml").unwrap(), "a = 2\n");
        assert!(matches!(folder.replace("session.toml", None, "new"), Err(NotReplaced::Changed(Some(_)))));
        // Nothing is left lying about.
        assert_eq!(std::fs::read_dir(folder.root()).unwrap().count(), 1);
    }
}
