//! Rides: the files of the folder, what they hold, and which set-up each was ridden with.
//!
//! Given the folder; shows its rides. Given the form; writes a first session or changes the set-ups and runs of one. What
//! would spoil a test is said in the words of `inspect`.

use super::answer::Answer;
use super::arrange::{Asked, arrange, first_draft};
use super::document::Document;
use super::edit;
use super::folder::NotReplaced;
use super::form::{Form, encoded};
use super::job;
use super::open::{Desk, FIRST_SESSION};
use super::page::{Place, page};
use super::refusal::Refusal;
use super::sheet::Sheet;
use super::shelf::Looked;
use super::strip::{Frame, Strip, strip};
use loopwright::analysis::inspection::{Inspection, Obstacle};
use loopwright::analysis::scaffold::{Differs, setups_from_names};
use loopwright::report::Units;
use serde::Serialize;
use std::time::Duration;

/// How long a page waits for rides that are being read.
const WAIT: Duration = Duration::from_millis(600);
/// Shares of a strip, and its size.
const SHARES: usize = 90;
const SIZE: [f64; 2] = [180.0, 28.0];
/// Reasons in words that are shown for one ride; the rest are counted.
const MOST_LISTED: usize = 200;

/// What a ride file holds, in words.
#[derive(Debug, Default, Serialize)]
struct Held {
    date: String,
    length: String,
    laps: String,
    prevents: bool,
    obstacles: Vec<Obstacle>,
    speed: Option<Strip>,
    power: Option<Strip>,
    speed_words: String,
    power_words: String,
}

/// One ride of the page.
#[derive(Debug, Serialize)]
struct Row {
    index: usize,
    file: String,
    /// `None` while it is being read.
    held: Option<Held>,
    unreadable: String,
    /// The run to which this is the other device, if it is.
    lent_to: String,
    setup: String,
    mass: String,
    on: String,
    why: String,
}

#[derive(Serialize)]
struct Filling<'a> {
    rows: Vec<Row>,
    sessions: Vec<String>,
    session: &'a str,
    new_name: String,
    /// What may differ between set-ups, as `scaffold` has it, and what was chosen.
    kinds_of_difference: [&'static str; 4],
    differs: String,
    base: String,
    mass: String,
    kind: String,
    length_m: String,
    setups: Vec<[String; 2]>,
    errors: Vec<String>,
    reading: usize,
}

/// A session as far as this page shows it.
struct Stated {
    document: Option<Document>,
    base: String,
}

impl Stated {
    fn read(desk: &Desk, session: &str) -> Result<Stated, Refusal> {
        if session.is_empty() {
            return Ok(Stated { document: None, base: String::new() });
        }
        let base = desk.folder.text(session)?;
        Ok(Stated { document: Some(Document::parse(&base, session)?), base })
    }

    fn of(&self, path: &str) -> String {
        self.document.as_ref().map_or(String::new(), |d| d.shown(path))
    }

    fn count(&self, name: &str) -> usize {
        self.document.as_ref().map_or(0, |d| d.count(name))
    }
}

pub fn show(desk: &Desk, query: &Form) -> Result<Answer, Refusal> {
    // A new session is begun with its name left empty on purpose.
    let session = if query.get("session") == Some("") { String::new() } else { desk.session(query)? };
    shown(desk, &session, &Form::default(), Vec::new())
}

/// The page, with what was typed and what is wrong with it.
fn shown(desk: &Desk, session: &str, typed: &Form, errors: Vec<String>) -> Result<Answer, Refusal> {
    let names = desk.folder.rides()?;
    let looked = desk.shelf.rides(&desk.folder, &names, WAIT);
    let looked = in_time(names.into_iter().zip(looked).collect());
    let stated = Stated::read(desk, session)?;
    let tables = desk.tables()?;
    let mut rows: Vec<Row> = looked
        .into_iter()
        .enumerate()
        .map(|(i, (file, looked))| row(i, &file, looked, &stated, typed, desk.units))
        .collect();
    let reading = rows.iter().filter(|r| r.held.is_none() && r.unreadable.is_empty()).count();
    if session.is_empty() && reading == 0 && !typed.has("session") {
        set_ups_from_names(&mut rows);
    }
    let first = |path: &str, field: &str| typed.get(field).map_or_else(|| stated.of(path), str::to_string);
    let filling = Filling {
        reading,
        session,
        new_name: typed.get("name").map_or_else(|| free_name(&tables.sessions), str::to_string),
        kinds_of_difference: Differs::ALL.map(Differs::word),
        differs: typed.get("differs").unwrap_or_default().to_string(),
        sessions: tables.sessions,
        base: serde_json::Value::from(stated.base.as_str()).to_string(),
        mass: first("rider_and_bike.mass_kg", "mass"),
        kind: first("loop.kind", "kind"),
        length_m: first("loop.length_m", "length"),
        setups: (0..stated.count("setup"))
            .map(|i| [stated.of(&format!("setup.{i}.id")), stated.of(&format!("setup.{i}.label"))])
            .filter(|[id, _]| !id.is_empty())
            .collect(),
        errors,
        rows,
    };
    let mut frame =
        desk.frame(Place::Rides, "Rides", &Form::parse(format!("session={}", encoded(session)).as_bytes())?);
    // Whoever has typed something is not interrupted.
    frame.again_s = if reading > 0 && !typed.has("session") { 1 } else { 0 };
    let status = if filling.errors.is_empty() { 200 } else { 422 };
    Ok(page(&frame, "rides", &filling)?.with_status(status))
}

/// In the order of riding; those without a clock, and what is no ride or not read yet, come after in the order of their names.
fn in_time(mut looked: Vec<(String, Option<Looked>)>) -> Vec<(String, Option<Looked>)> {
    let started = |looked: &Option<Looked>| match looked.as_deref() {
        Some(Ok(held)) => held.started.clone(),
        _ => None,
    };
    looked.sort_by_cached_key(|(file, looked)| {
        let started = started(looked);
        (started.is_none(), started, file.clone())
    });
    looked
}

/// What the names of the files show is put in, for the tester to look at.
fn set_ups_from_names(rows: &mut [Row]) {
    let mut rides: Vec<&mut Row> = rows.iter_mut().filter(|r| r.held.is_some()).collect();
    let files: Vec<String> = rides.iter().map(|r| r.file.clone()).collect();
    let names: Vec<&str> = files.iter().map(String::as_str).collect();
    for (ride, setup) in rides.iter_mut().zip(setups_from_names(&names).into_iter().flatten()) {
        ride.setup = setup;
    }
}

fn free_name(taken: &[String]) -> String {
    let numbered = (2..).map(|i| format!("session-{i}.toml"));
    let mut names = std::iter::once(FIRST_SESSION.to_string()).chain(numbered);
    names.find(|name| !taken.contains(name)).unwrap_or_default()
}

fn row(index: usize, file: &str, looked: Option<Looked>, stated: &Stated, typed: &Form, units: Units) -> Row {
    let run = (0..stated.count("run")).find(|i| stated.of(&format!("run.{i}.file")) == file);
    let lent_to = (0..stated.count("run"))
        .find(|i| stated.of(&format!("run.{i}.second_file")) == file)
        .map_or(String::new(), |i| stated.of(&format!("run.{i}.file")));
    // Rides may have changed places since the form was sent.
    let sent =
        (0..).take_while(|i| typed.has(&format!("file.{i}"))).find(|i| typed.get(&format!("file.{i}")) == Some(file));
    let typed_of = |field: &str| sent.and_then(|i| typed.get(&format!("{field}.{i}")));
    let of = |key: &str, field: &str| match typed_of(field) {
        Some(typed) => typed.to_string(),
        None => run.map_or(String::new(), |i| stated.of(&format!("run.{i}.{key}"))),
    };
    let (held, unreadable) = match looked.as_deref() {
        Some(Ok(held)) => (Some(words(held, units)), String::new()),
        Some(Err(reason)) => (None, reason.clone()),
        None => (None, String::new()),
    };
    Row {
        index,
        file: file.into(),
        held,
        unreadable,
        lent_to,
        setup: of("setup", "setup"),
        mass: of("mass_kg", "mass"),
        on: of("on", "on"),
        why: typed_of("why").unwrap_or_default().to_string(),
    }
}

fn words(held: &Inspection, units: Units) -> Held {
    let run = &held.drawn.run;
    let frame = Frame { width: SIZE[0], height: SIZE[1], from: 0.0, to: held.duration_s.max(1.0), range: None };
    let speed: Vec<f64> = run.speed_m_s.iter().map(|v| units.speed_value(*v)).collect();
    let speed = strip(&run.time_s, &speed, SHARES, &frame);
    let power = strip(&run.time_s, &run.power_w, SHARES, &frame);
    let range = |s: &Option<Strip>, unit: &str| {
        s.as_ref().map_or(String::new(), |s| format!("{:.0} to {:.0} {unit}", s.low, s.high))
    };
    let minutes = (held.duration_s / 60.0).round();
    let laps = &held.laps;
    let speeds = match (laps.speed_min_m_s, laps.speed_max_m_s) {
        (Some(low), Some(high)) => format!(", {:.1} to {}", units.speed_value(low), units.speed(high)),
        _ => String::new(),
    };
    Held {
        // The stamp is in UTC and says so.
        date: held.started.as_deref().map_or("clock not set".into(), |s| s.replace('T', " ").replace('Z', " UTC")),
        length: format!("{minutes:.0} min"),
        laps: match (laps.count, held.moves) {
            (0, Some(false)) => "stands still: rollers".into(),
            (0, _) => "no lap found".into(),
            (count, _) => {
                let length = laps.length_m.map_or(String::new(), |l| format!(" of {}", units.length(l)));
                format!("{} of {count} laps{length} usable{speeds}", laps.usable)
            }
        },
        prevents: held.obstacles.iter().any(|o| o.prevents),
        obstacles: held.obstacles.iter().take(MOST_LISTED).cloned().collect(),
        speed_words: range(&speed, units.speed_unit()),
        power_words: range(&power, "W"),
        speed,
        power,
    }
}

pub fn save(desk: &Desk, form: &Form) -> Result<Answer, Refusal> {
    let session = form.line("session")?;
    let mut asked = Vec::new();
    while form.has(&format!("file.{}", asked.len())) {
        let of = |field: &str| form.line(&format!("{field}.{}", asked.len()));
        asked.push(Asked { file: of("file")?, setup: of("setup")?, mass: of("mass")?, on: of("on")?, why: of("why")? });
    }
    let name = if session.is_empty() { form.line("name")? } else { session.clone() };
    if !name.ends_with(".toml") || name.contains('/') {
        return shown(
            desk,
            &session,
            form,
            vec![format!("«{name}»: give a name that ends in .toml, such as {FIRST_SESSION}")],
        );
    }
    if !asked.iter().any(|a| !a.setup.is_empty()) {
        let message = "Give at least one ride the name of the set-up it was ridden with";
        return shown(desk, &session, form, vec![message.into()]);
    }
    let base = if session.is_empty() { None } else { Some(form.text("base")?) };
    let text = match &base {
        Some(base) => base.clone(),
        None => first_draft(desk, &asked, &form.line("differs")?)?,
    };
    let mut document = Document::parse(&text, &name)?;
    let changes = arrange(&mut document, &asked, form, base.is_none())?;
    let check = |text: &str| job::wrong_session(text, &name);
    let sheet = Sheet { groups: &desk.session_groups, file: &name, factors: &[], check: &check };
    let judged = sheet.judge(&document.text(), &changes)?;
    if judged.of_typed {
        let errors = judged.errors.into_values().collect();
        return shown(desk, &session, form, errors);
    }
    match desk.folder.replace(&name, base.as_deref(), &judged.text) {
        Ok(()) => Ok(Answer::see(&format!("/day?session={}&saved=1", encoded(&name)))),
        Err(NotReplaced::Refused(refusal)) => Err(refusal),
        Err(NotReplaced::Changed(now)) => {
            edit::conflict(desk, edit::What::Session, &name, now.as_deref(), &judged.text, &[])
        }
    }
}
