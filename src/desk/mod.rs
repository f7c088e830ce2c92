//! A page in the browser for people who do not write TOML, served by the program on their own machine.
//!
//! Given a folder of rides; serves pages through which its session is written, solved and planned. The session file is the only
//! truth: every page is made from it anew, and pages and command line can be used in turn. What it does is done by the
//! functions that the commands use. It listens on the loopback address only, sends nothing anywhere, and reads and
//! writes nothing outside the folder.
//!
//! ```text
//! http ─► gate ─► route ─┬─► rides ─────┐                            folder: files, whole or not at all
//!                        ├─► day, save ─┼─► sheet ─► document        job: what the program is asked
//!                        ├─► result, lap┤   form over  text with     shelf: what was read and solved before
//!                        └─► plan ──────┘   a schema   comments      work: long work, progress, cancel
//! ```

mod refusal;
mod http;
mod form;
mod gate;
mod answer;
mod folder;
mod document;
mod document_lists;
mod key_in_words;
mod field;
mod factors;
mod outline;
mod typed;
mod sheet;
mod section;
mod judged;
mod strip;
mod choice;
mod job;
mod two_answers;
mod shelf;
mod work;
mod page;
mod open;
mod edit;
mod day;
mod plan;
mod save;
mod arrange;
mod rides;
mod lap_links;
mod result;
mod lap;
mod long;
mod route;
mod server;

use crate::cli::Failure;
use loopwright::report::Units;
use open::Desk;
use std::net::TcpListener;
use std::path::Path;
use std::sync::Arc;

/// Serves a folder on a listener that is bound to the loopback address, after its link was announced. It does not come back.
///
/// Errors: the folder cannot be read, or the link cannot be announced.
pub fn host(
    folder: &Path,
    listener: &TcpListener,
    units: Units,
    announce: &dyn Fn(&str) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let port = listener.local_addr().map_err(|e| Failure::unwritable("the loopback address", &e))?.port();
    let desk = Arc::new(Desk::new(folder, port, units)?);
    announce(&desk.gate.link())?;
    server::serve(listener, &desk);
    Ok(())
}
