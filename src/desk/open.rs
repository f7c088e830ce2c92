//! What all pages share: the folder, the gate, what was read before, and which session and plan are meant.
//!
//! Given a folder and a port; holds it all. It answers nothing itself.

use super::folder::Folder;
use super::form::Form;
use super::gate::Gate;
use super::outline::{Group, of_plan, of_session};
use super::page::{Frame, Place};
use super::refusal::Refusal;
use super::shelf::Shelf;
use super::two_answers::Compared;
use super::work::Works;
use loopwright::error::Error;
use loopwright::report::Units;
use std::path::Path;
use std::sync::{Arc, Mutex};

/// Name of a first session.
pub const FIRST_SESSION: &str = "session.toml";
/// Name of a first plan.
pub const FIRST_PLAN: &str = "plan.toml";

/// What the last choice of a lap did to the answer.
#[derive(Clone)]
pub struct LastChange {
    /// State of the session that it led to.
    pub state: String,
    pub words: String,
    pub rows: Vec<Compared>,
}

/// See the module.
pub struct Desk {
    pub folder: Arc<Folder>,
    pub gate: Gate,
    pub units: Units,
    pub shelf: Arc<Shelf>,
    pub works: Works,
    pub session_groups: Vec<Group>,
    pub plan_groups: Vec<Group>,
    pub last_change: Mutex<Option<LastChange>>,
    /// Of the results written last.
    pub remarks: Mutex<Vec<String>>,
}

/// Names of the TOML files of the folder by what they are.
#[derive(Default)]
pub struct Tables {
    pub sessions: Vec<String>,
    pub plans: Vec<String>,
}

impl Desk {
    /// Errors: the folder cannot be read, or the system gives no random key.
    pub fn new(folder: &Path, port: u16, units: Units) -> Result<Desk, Error> {
        let no_key = |e: getrandom::Error| Error::Usage {
            flag: "desk".into(),
            message: format!("no random key to be had ({e})"),
        };
        Ok(Desk {
            folder: Arc::new(Folder::open(folder)?),
            gate: Gate::new(port).map_err(no_key)?,
            units,
            shelf: Arc::default(),
            works: Works::default(),
            session_groups: of_session(),
            plan_groups: of_plan(),
            last_change: Mutex::default(),
            remarks: Mutex::default(),
        })
    }

    /// Sessions and plans among the TOML files of the folder.
    pub fn tables(&self) -> Result<Tables, Refusal> {
        let mut tables = Tables::default();
        for name in self.folder.tables()? {
            // One that cannot be read is no table of ours.
            let Ok(text) = self.folder.text(&name) else { continue };
            let has = |key: &str| match toml::from_str::<toml::Table>(&text) {
                Ok(table) => table.contains_key(key),
                // A slip of the pen does not make a session something else.
                Err(_) => {
                    text.lines().any(|l| l.starts_with(&format!("[[{key}]]")) || l.starts_with(&format!("{key} =")))
                }
            };
            if has("order") || has("laps_per_run") {
                tables.plans.push(name);
            } else if has("run") {
                tables.sessions.push(name);
            }
        }
        Ok(tables)
    }

    /// The session that is asked for, else the first there is; empty where there is none.
    pub fn session(&self, query: &Form) -> Result<String, Refusal> {
        chosen(query.line("session")?, || Ok(self.tables()?.sessions), FIRST_SESSION)
    }

    /// The plan that is asked for, else the first there is; empty where there is none.
    pub fn plan(&self, query: &Form) -> Result<String, Refusal> {
        chosen(query.line("plan")?, || Ok(self.tables()?.plans), FIRST_PLAN)
    }

    /// What stands around a page.
    pub fn frame(&self, place: Place, title: &str, query: &Form) -> Frame {
        let session = query.line("session").unwrap_or_default();
        let plan = query.line("plan").unwrap_or_default();
        let running = self.works.running().map(|work| (work.id, work.title.clone()));
        let mut frame = Frame::new(self.gate.path(), place, title, self.folder.name(), &session, &plan);
        frame.running = running;
        frame
    }
}

fn chosen(asked: String, there: impl Fn() -> Result<Vec<String>, Refusal>, usual: &str) -> Result<String, Refusal> {
    if !asked.is_empty() {
        return Ok(asked);
    }
    let there = there()?;
    Ok(there.iter().find(|name| *name == usual).or(there.first()).cloned().unwrap_or_default())
}
