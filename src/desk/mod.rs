//! A page in the browser for people who do not write TOML, served by the program on their own machine.
//!
//! Given a folder of rides; serves pages through which its session is written, solved and planned. The session file is the only
//! truth: every page is made from it anew, and pages and command line can be used in turn. What it does is done by the
//! functions that the commands use. It listens on the loopback address only, sends nothing anywhere, and reads and
//! writes nothing outside the folder.
//!
//! ```text
//! http ─► gate ─► route ─┬─► rides ──┐                            folder: files, whole or not at all
//!                        ├─► edit ───┼─► sheet ─► document ─►     job: what the program is asked
//!                        ├─► result ─┤   form over  text with     shelf: what was read and solved before
//!                        └─► plan ───┘   a schema   comments      work: long work, progress, cancel
//! ```

mod refusal;
mod http;
mod form;
mod gate;
mod answer;
mod folder;
mod document;
mod field;
mod outline;
mod sheet;
mod strip;
mod choice;
mod job;
mod shelf;
mod work;
mod page;
mod desk;
mod rides;
mod edit;
mod result;
mod lap;
mod plan;
mod long;
mod route;
mod server;

pub use desk::Desk;
pub use server::serve;
