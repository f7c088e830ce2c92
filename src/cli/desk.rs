//! `loopwright desk`.

use super::failure::Failure;
use super::{Format, Units, output};
use clap::Args;
use loopwright::error::Error;
use std::net::{Ipv4Addr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// What opens a link on this system.
const OPENER: &[&str] = if cfg!(target_os = "macos") {
    &["open"]
} else if cfg!(windows) {
    &["rundll32", "url.dll,FileProtocolHandler"]
} else {
    &["xdg-open"]
};

/// Arguments of `desk`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright desk rides --open
  loopwright desk rides --port 8137

The page is served to this machine only and nothing is sent anywhere. It reads and writes the session files of the folder
and its results, and nothing outside it; page and command line can be used in turn. Ctrl-C ends it.")]
pub struct DeskArguments {
    /// The folder of the rides
    #[arg(value_name = "FOLDER", default_value = ".")]
    folder: PathBuf,
    /// Port to listen on; 0 for any that is free
    #[arg(long, value_name = "N", default_value_t = 0)]
    port: u16,
    /// Open the link in the browser
    #[arg(long)]
    open: bool,
}

/// Serves a folder on a listener after the link was announced; the desk itself, which stands above the command line.
pub type Host =
    fn(&Path, &TcpListener, loopwright::report::Units, &dyn Fn(&str) -> Result<(), Failure>) -> Result<(), Failure>;

pub fn run(arguments: &DeskArguments, format: Format, units: Units, host: Host) -> Result<(), Failure> {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, arguments.port)).map_err(|e| Error::Usage {
        flag: "--port".into(),
        message: format!("{} cannot be listened on ({e}); give another, or 0 for any that is free", arguments.port),
    })?;
    host(&arguments.folder, &listener, units.into(), &|link| announce(arguments, format, link))
}

fn announce(arguments: &DeskArguments, format: Format, link: &str) -> Result<(), Failure> {
    match format {
        Format::Text => output::text(&format!("{link}\n"))?,
        Format::Json => output::json(&serde_json::json!({ "link": link }))?,
    }
    output::note(format, "The link holds the key to this desk: keep it to yourself. Ctrl-C ends it");
    if arguments.open && !opened(link) {
        output::note(format, "The browser could not be started; open the link in it");
    }
    Ok(())
}

fn opened(link: &str) -> bool {
    let Some((program, before)) = OPENER.split_first() else { return false };
    let mut command = Command::new(program);
    command.args(before).arg(link).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command.spawn().is_ok()
}
