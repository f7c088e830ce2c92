//! `loopwright man`.

use super::failure::Failure;
use super::{Arguments, output};
use clap::{Args, CommandFactory};
use std::path::{Path, PathBuf};

/// Arguments of `man`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright man | man -l -
  loopwright man ~/.local/share/man/man1")]
pub struct ManArguments {
    /// Folder for one page a command; without it the main page is printed
    folder: Option<PathBuf>,
}

pub fn run(arguments: &ManArguments) -> Result<(), Failure> {
    match &arguments.folder {
        Some(folder) => write(folder),
        None => {
            let mut page = Vec::new();
            clap_mangen::Man::new(Arguments::command())
                .render(&mut page)
                .map_err(|e| Failure::unwritable("manual page", &e))?;
            output::verbatim(&String::from_utf8_lossy(&page))
        }
    }
}

fn write(folder: &Path) -> Result<(), Failure> {
    let failed = |e: std::io::Error| Failure::unwritable(&folder.display().to_string(), &e);
    std::fs::create_dir_all(folder).map_err(failed)?;
    clap_mangen::generate_to(Arguments::command(), folder).map_err(failed)?;
    output::remark(&format!("The pages are in {}", folder.display()));
    Ok(())
}
