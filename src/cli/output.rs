//! Standard output: a closed pipe ends the program's output quietly, not its work.

use super::Format;
use super::failure::Failure;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use loopwright::printable;
use loopwright::report::text::{Emphasis, MARKS};
use serde::Serialize;
use std::io::{ErrorKind, IsTerminal, Write};

/// Width taken where there is no terminal to ask.
const USUAL_WIDTH: usize = 80;

/// Prints text; whatever names and files have put into it, nothing of it steers the terminal.
pub fn text(text: &str) -> Result<(), Failure> {
    verbatim(&harmless_but_for(text, &MARKS))
}

/// Bold letters and colours are our own.
fn harmless_but_for(text: &str, marks: &[&str]) -> String {
    match marks {
        [] => printable::lines(text).into_owned(),
        [mark, others @ ..] => {
            text.split(mark).map(|part| harmless_but_for(part, others)).collect::<Vec<_>>().join(mark)
        }
    }
}

/// Prints what this program made itself, to the byte.
pub fn verbatim(text: &str) -> Result<(), Failure> {
    let mut stdout = std::io::stdout().lock();
    match stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()) {
        // A reader that has seen enough, such as a pager that was left, is no fault of ours.
        Err(e) if e.kind() == ErrorKind::BrokenPipe => Ok(()),
        Err(e) => Err(Failure::unwritable("standard output", &e)),
        Ok(()) => Ok(()),
    }
}

/// Prints a value as JSON.
pub fn json(value: &impl Serialize) -> Result<(), Failure> {
    match serde_json::to_string_pretty(value) {
        Ok(json) => verbatim(&format!("{}\n", printable::json(&json))),
        Err(e) => Err(Failure::unwritable("standard output", &e.into())),
    }
}

/// Prints a remark for a person; a script that asked for JSON gets none, so that all it reads is JSON.
pub fn note(format: Format, line: &str) {
    if format == Format::Text {
        remark(line);
    }
}

/// Prints a remark that is no result.
pub fn remark(line: &str) {
    // Where standard error is closed there is nobody to tell.
    let _ = writeln!(std::io::stderr().lock(), "{}", printable::lines(line));
}

/// A bar on standard error, shown on a terminal only.
pub fn progress_bar(length: u64, template: &str) -> ProgressBar {
    let shown = std::io::stderr().is_terminal();
    let target = if shown { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
    let bar = ProgressBar::with_draw_target(Some(length), target);
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    bar
}

/// Whether a person reads the output as it comes.
pub fn is_terminal() -> bool {
    std::io::stdout().is_terminal()
}

/// Bold letters and colours on a terminal alone, and none where `NO_COLOR` is set or the terminal is dumb.
pub fn emphasis() -> Emphasis {
    let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    if is_terminal() && !set("NO_COLOR") && !dumb { Emphasis::Bold } else { Emphasis::Plain }
}

/// Columns that `COLUMNS` states (POSIX.1-2017, XBD 8.3: the user's preference), else those of the terminal, else 80.
pub fn width() -> usize {
    let stated = std::env::var("COLUMNS").ok().and_then(|text| text.trim().parse::<usize>().ok()).filter(|w| *w > 0);
    stated.or_else(of_terminal).unwrap_or(USUAL_WIDTH)
}

/// A terminal may know its columns and not its rows (`stty cols 40`), of which `terminal_size` makes nothing.
#[cfg(target_os = "linux")]
fn of_terminal() -> Option<usize> {
    let size = rustix::termios::tcgetwinsize(std::io::stdout()).ok()?;
    Some(usize::from(size.ws_col)).filter(|columns| *columns > 0)
}

#[cfg(not(target_os = "linux"))]
fn of_terminal() -> Option<usize> {
    let (columns, _) = terminal_size::terminal_size_of(std::io::stdout())?;
    Some(usize::from(columns.0)).filter(|columns| *columns > 0)
}
