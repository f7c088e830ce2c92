//! Bytes that have reached the disk, not only its cache.
//!
//! Given files and a folder that is not there yet; returns when a power cut would leave them whole. It replaces nothing.

use loopwright::report::files::ResultFile;
use rayon::prelude::*;
use std::fs::File;
use std::io::{Error, Write};
use std::path::{Path, PathBuf};

/// Writes all files into a folder. They wait for the disk together, so that a journal is written once for many.
pub fn write_all(folder: &Path, files: &[&ResultFile]) -> Result<(), Error> {
    std::fs::create_dir_all(folder)?;
    let mut written = Vec::with_capacity(files.len());
    for file in files {
        let path = folder.join(&file.name);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent)?;
        }
        let mut new = File::create_new(path)?;
        new.write_all(&file.bytes)?;
        written.push(new);
    }
    written.par_iter().try_for_each(File::sync_all)
}

/// Waits until the names in a folder and in those inside it are on the disk.
pub fn sync_folders(folder: &Path, inside: impl Iterator<Item = PathBuf>) -> Result<(), Error> {
    inside.chain([folder.to_path_buf()]).try_for_each(|at| sync_folder(&at))
}

/// Waits until the names in a folder are on the disk, where the system and the file system know how.
#[cfg(unix)]
pub fn sync_folder(folder: &Path) -> Result<(), Error> {
    use std::io::ErrorKind;
    match File::open(folder)?.sync_all() {
        Err(e) if matches!(e.kind(), ErrorKind::InvalidInput | ErrorKind::Unsupported) => Ok(()),
        other => other,
    }
}

#[cfg(not(unix))]
pub fn sync_folder(_: &Path) -> Result<(), Error> {
    Ok(())
}
