//! The bytes of a file that the user names.
//!
//! Given a path and the largest size; reads regular files and no other, so that a pipe or device cannot hold the program
//! up. It looks at the size, and at the first bytes of a ride, before it reads the rest.

use std::fs::{File, FileType};
use std::io::Read;
use std::path::Path;

use super::refuse_large_above;
use crate::error::Error;
use crate::printable::one_line;

/// Bytes by which a ride file is told from others.
const HEAD_BYTES: u64 = 64 * 1024;

/// The name of a file without its folders, as it is shown.
pub fn shown_name(path: &Path) -> String {
    let name = path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
    one_line(&name).into_owned()
}

/// All bytes of a regular file.
///
/// Errors: [`Error::Unreadable`], [`Error::TooLarge`] above `limit` bytes.
pub fn read_regular(path: &Path, limit: u64) -> Result<Vec<u8>, Error> {
    read_accepted(path, limit, |_| Ok(()))
}

/// The same, unless the first bytes are refused.
pub(super) fn read_accepted(
    path: &Path,
    limit: u64,
    accepted: impl Fn(&[u8]) -> Result<(), Error>,
) -> Result<Vec<u8>, Error> {
    let unreadable = |reason: String| Error::Unreadable { path: path.into(), reason };
    let failed = |e: std::io::Error| unreadable(e.to_string());
    // Before it is opened, since opening a pipe waits for whoever writes into it.
    let before = std::fs::metadata(path).map_err(failed)?;
    refuse_other_kinds(before.file_type()).map_err(|reason| unreadable(reason.into()))?;
    let mut opened = File::open(path).map_err(failed)?;
    let metadata = opened.metadata().map_err(failed)?;
    refuse_other_kinds(metadata.file_type()).map_err(|reason| unreadable(reason.into()))?;
    refuse_large_above(limit, metadata.len(), &shown_name(path))?;
    let mut bytes = Vec::new();
    opened.by_ref().take(HEAD_BYTES).read_to_end(&mut bytes).map_err(failed)?;
    accepted(&bytes)?;
    // A file that grows meanwhile, or has no size of its own, is cut one byte above the limit and seen to be too large.
    opened.take((limit + 1).saturating_sub(bytes.len() as u64)).read_to_end(&mut bytes).map_err(failed)?;
    refuse_large_above(limit, bytes.len() as u64, &shown_name(path))?;
    Ok(bytes)
}

fn refuse_other_kinds(kind: FileType) -> Result<(), &'static str> {
    if kind.is_dir() {
        return Err("it is a folder; name a file in it");
    }
    if kind.is_file() {
        return Ok(());
    }
    Err("it is a pipe or a device, and only regular files are read; save what it gives into a file first")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_regular_file_is_refused_before_it_is_opened() {
        let folder = tempfile::tempdir().unwrap();
        let refused = read_regular(folder.path(), 10).unwrap_err();
        assert!(refused.to_string().contains("it is a folder"), "{refused}");
        #[cfg(unix)]
        {
            let device = read_regular(Path::new("/dev/zero"), 10).unwrap_err();
            assert!(device.to_string().contains("a pipe or a device"), "{device}");
        }
    }

    #[test]
    fn a_file_without_a_size_of_its_own_keeps_to_the_limit_too() {
        let path = Path::new("/proc/self/maps");
        if path.exists() {
            assert_eq!(std::fs::metadata(path).unwrap().len(), 0);
            assert_eq!(read_regular(path, 100).unwrap_err().code(), "too-large");
        }
    }

    #[test]
    fn a_file_is_judged_by_its_head_before_the_rest_is_read() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("long");
        // A sparse file: more than would be read in the time of a test.
        File::create(&path).and_then(|f| f.set_len(1 << 40)).unwrap();
        let refused = |head: &[u8]| Err(Error::NotARide { file: "long".into(), reason: head.len().to_string() });
        let error = read_accepted(&path, u64::MAX - 1, refused).unwrap_err();
        assert!(error.to_string().contains("65536"), "{error}");
    }
}
