//! A form over a file: what it shows, what was typed into it, and what the program says of that.
//!
//! Given the groups of a schema, the text of the file and a posted form; gives sections to show, the changes, and the text
//! with them. Every error is the program's own, placed beside the field whose line it names. It reads and writes nothing.

use super::document::Document;
use super::factors;
use super::field::{Field, Kind};
use super::form::Form;
use super::outline::Group;
use super::refusal::Refusal;
use super::typed::{on_gauge, value};
use loopwright::error::Error;
use loopwright::session::locate;
use serde::Serialize;
use std::borrow::Cow;
use std::collections::BTreeMap;

/// So many wrong fields are told of at once.
const MOST_ERRORS: usize = 20;

/// One field as it is shown.
#[derive(Debug, Clone, Serialize)]
pub struct Cell {
    #[serde(flatten)]
    field: Field,
    /// In the form, such as `run.0.mass_kg`.
    name: String,
    value: String,
    /// In the file.
    was: String,
    /// Typed and not saved.
    changed: bool,
    error: String,
    /// The same as a gauge shows it.
    also: String,
}

/// A table, or one of a list of tables.
#[derive(Debug, Clone, Serialize)]
pub struct Entry {
    title: String,
    first: Vec<Cell>,
    more: Vec<Cell>,
    /// Something in `more` is stated or wrong.
    open: bool,
}

/// A group.
#[derive(Debug, Clone, Serialize)]
pub struct Section {
    id: String,
    heading: String,
    is_list: bool,
    /// Nothing of it is stated, and hardly any day needs it.
    folded: bool,
    entries: Vec<Entry>,
    factors: Option<Named>,
}

impl Section {
    /// The fields with something wrong, each with its name in the form and where it stands.
    pub fn wrong(&self) -> impl Iterator<Item = [String; 2]> {
        let cells = |entry: &Entry| -> Vec<[String; 2]> {
            let place = if entry.title.is_empty() { &self.heading } else { &entry.title };
            let wrong = entry.first.iter().chain(&entry.more).filter(|cell| !cell.error.is_empty());
            wrong.map(|cell| [cell.name.clone(), format!("{place}: {}", cell.field.label)]).collect()
        };
        self.entries.iter().flat_map(cells)
    }
}

/// The factors of a group.
#[derive(Debug, Clone, Serialize)]
struct Named {
    help: String,
    /// Name and words of each.
    there: Vec<[String; 2]>,
}

/// A value that was typed and differs from that of the file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    pub name: String,
    pub label: String,
    pub was: String,
    pub typed: String,
    #[serde(skip)]
    kind: Kind,
}

impl Change {
    pub fn new(name: String, was: String, typed: String, kind: Kind) -> Change {
        Change { label: name.clone(), name, was, typed, kind }
    }
}

/// What the program says of a text with changes.
#[derive(Debug, Default)]
pub struct Judged {
    pub text: String,
    /// Beside fields, by name.
    pub errors: BTreeMap<String, String>,
    /// Whether one of them is about something that was typed just now.
    pub of_typed: bool,
    /// What concerns no field.
    pub elsewhere: Option<String>,
    /// See [`Sheet::factors`].
    pub factors: Vec<String>,
}

/// See the module.
pub struct Sheet<'a> {
    pub groups: &'a [Group],
    pub file: &'a str,
    /// Names of factors for which a form has fields, whether the text states them or not.
    pub factors: &'a [String],
    /// The program's check of a whole text.
    pub check: &'a dyn Fn(&str) -> Option<Error>,
}

impl Sheet<'_> {
    /// Every field of the file with its name in the form.
    fn names<'b>(&'b self, document: &Document) -> Vec<(String, Cow<'b, Field>)> {
        let mut out = Vec::new();
        for group in self.groups {
            let own = self.own(group, document);
            for before in places(group, document) {
                let all = group.first.iter().chain(&group.more).map(Cow::Borrowed);
                let all = all.chain(own.iter().cloned().map(Cow::Owned));
                out.extend(all.map(|field| (format!("{before}{}", field.key), field)));
            }
        }
        out
    }

    /// Fields of every entry of a group that are named by the tester.
    fn own(&self, group: &Group, document: &Document) -> Vec<Field> {
        match group.factors {
            Some(_) => factors::named(document, self.factors).iter().map(|name| factors::field(name)).collect(),
            None => Vec::new(),
        }
    }

    /// What was typed and differs from the text.
    pub fn changes(&self, document: &Document, form: &Form) -> Result<Vec<Change>, Refusal> {
        let mut out = Vec::new();
        for (name, field) in self.names(document) {
            if !form.has(&name) {
                continue;
            }
            let (typed, was) = (form.line(&name)?, document.shown(&name));
            if typed != was {
                out.push(Change { name, label: field.label.clone(), was, typed, kind: field.kind.clone() });
            }
        }
        Ok(out)
    }

    /// The text with the changes, and what is wrong with it. A change that is wrong is set aside to see the next error.
    pub fn judge(&self, base: &str, changes: &[Change]) -> Result<Judged, Refusal> {
        let mut judged = Judged { factors: self.factors.to_vec(), ..Judged::default() };
        let mut kept: Vec<&Change> = Vec::new();
        for change in changes {
            match value(&change.name, &change.kind, &change.typed) {
                Ok(_) => kept.push(change),
                Err(message) => {
                    judged.errors.insert(change.name.clone(), message);
                }
            }
        }
        judged.of_typed = !judged.errors.is_empty();
        // What was wrong before anything was typed would hide what is wrong with that, so it is passed over.
        let mut passed_over: Vec<Change> = Vec::new();
        for _ in 0..MOST_ERRORS {
            let text = applied(base, self.file, kept.iter().copied().chain(&passed_over))?;
            let Some(error) = (self.check)(&text) else { break };
            let Some(name) = self.place(&text, &error)? else {
                judged.elsewhere = Some(error.to_string());
                break;
            };
            // A factor is wrong as a whole: what was typed for one set-up may not go with what another states.
            let about = |c: &Change| c.name == name || (factors::same_factor(&c.name, &name) && states(&text, &name));
            if kept.iter().any(|c| about(c)) {
                judged.of_typed = true;
                kept.retain(|c| !about(c));
            } else if passed_over.iter().any(|c| c.name == name) {
                break;
            } else {
                passed_over.extend(self.as_default(base, &name)?);
            }
            judged.errors.entry(name).or_insert(beside_field(&error));
        }
        judged.text = applied(base, self.file, kept.iter().copied())?;
        Ok(judged)
    }

    /// A value put back to its default, on the line where it stands if there is one, so that lines are counted as in the file; a
    /// factor taken out of every set-up.
    fn as_default(&self, base: &str, name: &str) -> Result<Vec<Change>, Refusal> {
        let document = Document::parse(base, self.file)?;
        let same: Vec<String> =
            self.names(&document).into_iter().map(|(n, _)| n).filter(|n| factors::same_factor(n, name)).collect();
        if !same.is_empty() {
            let out = |n: String| Change::new(n.clone(), document.shown(&n), String::new(), Kind::NumberOrText);
            return Ok(same.into_iter().map(out).collect());
        }
        let field = self.names(&document).into_iter().find(|(n, _)| n == name).map(|(_, field)| field);
        let (typed, kind) = field.map_or((String::new(), Kind::Text), |f| (f.default.clone(), f.kind.clone()));
        Ok(vec![Change::new(name.to_string(), document.shown(name), typed, kind)])
    }

    /// The field on the line that an error names, or the one that it says is missing.
    fn place(&self, text: &str, error: &Error) -> Result<Option<String>, Refusal> {
        let document = Document::parse(text, self.file)?;
        let names: Vec<String> = self.names(&document).into_iter().map(|(name, _)| name).collect();
        if let Some(name) = factors::place(text, error).filter(|name| names.contains(name)) {
            return Ok(Some(name));
        }
        let (line, key, missing) = match error {
            Error::OutOfRange { line: Some(line), key, .. } => (*line, key.as_str(), None),
            Error::Inconsistent { line: Some(line), .. } => (*line, "", None),
            Error::Syntax { line, message, .. } => (*line, "", missing_key(message)),
            _ => return Ok(None),
        };
        if let Some(key) = missing {
            let is_it = |name: &&String| name.rsplit('.').next() == Some(key) && !document.states(name);
            return Ok(names.iter().find(is_it).cloned());
        }
        // Locating a value reads the whole text, so only keys that stand on the line are looked for.
        let shown = text.lines().nth(line.saturating_sub(1)).unwrap_or_default();
        let on_line = |name: &&String| {
            name.rsplit('.').next().is_some_and(|key| shown.contains(key))
                && document.states(name)
                && locate(text, &name.split('.').collect::<Vec<_>>()) == Some(line)
        };
        let there: Vec<&String> = names.iter().filter(on_line).collect();
        let named = |name: &&&String| {
            let plain: Vec<&str> = name.split('.').filter(|p| p.parse::<usize>().is_err()).collect();
            plain.join(".") == key
        };
        // Of several values on one line, the one that the message speaks of.
        let said = error.to_string();
        let spoken_of =
            |name: &&&String| name.rsplit('.').next().is_some_and(|key| said.contains(&format!(" {key} = ")));
        let found = there.iter().find(named).or_else(|| there.iter().find(spoken_of)).or(there.first());
        Ok(found.map(|name| name.to_string()))
    }

    /// The form as it is shown, with what was typed and what is wrong.
    pub fn sections(&self, document: &Document, changes: &[Change], errors: &BTreeMap<String, String>) -> Vec<Section> {
        let cell = |before: &str, field: &Field| {
            let name = format!("{before}{}", field.key);
            let change = changes.iter().find(|c| c.name == name);
            let value = change.map_or_else(|| document.shown(&name), |c| c.typed.clone());
            Cell {
                also: on_gauge(field.unit, &value),
                value,
                was: document.shown(&name),
                changed: change.is_some(),
                error: errors.get(&name).cloned().unwrap_or_default(),
                field: field.clone(),
                name,
            }
        };
        let section = |group: &Group| {
            let own = self.own(group, document);
            let entries = places(group, document).into_iter().enumerate().map(|(i, before)| {
                let cells = |all: &[Field]| all.iter().map(|f| cell(&before, f)).collect::<Vec<_>>();
                let (mut first, more) = (cells(&group.first), cells(&group.more));
                first.extend(cells(&own));
                let title = if group.is_list { title(&group.name, i, &first) } else { String::new() };
                Entry { open: more.iter().any(|c| c.changed || !c.error.is_empty()), title, first, more }
            });
            let id = if group.name.is_empty() { "top".into() } else { group.name.clone() };
            let there = || factors::named(document, self.factors).into_iter().map(|n| [n.clone(), factors::label(&n)]);
            let factors = group.factors.clone().map(|help| Named { help, there: there().collect() });
            let (heading, is_list, entries) = (group.heading.clone(), group.is_list, entries.collect::<Vec<_>>());
            let is_used = |c: &Cell| !c.value.is_empty() || c.changed || !c.error.is_empty();
            let folded = group.seldom
                && !(group.name == "rollers" && has_rollers(document))
                && !entries.iter().any(|e| e.first.iter().chain(&e.more).any(is_used));
            Section { id, heading, is_list, folded, entries, factors }
        };
        self.groups.iter().map(section).filter(|s| !s.entries.is_empty()).collect()
    }
}

/// What is said beside the field that an error is about, which needs no file, line and key.
fn beside_field(error: &Error) -> String {
    match error {
        Error::Syntax { message, .. } | Error::Inconsistent { message, .. } => message.clone(),
        Error::OutOfRange { value, low, high, hint, .. } => {
            let hint = if hint.is_empty() { String::new() } else { format!("; {hint}") };
            format!("{value} is outside {low} to {high}{hint}")
        }
        other => other.to_string(),
    }
}

/// The key that a message of the parser says is missing.
fn missing_key(message: &str) -> Option<&str> {
    message.strip_prefix("the key «")?.split_once("» is missing").map(|(key, _)| key)
}

/// What stands before the keys of a group in their names: one place for a table, one for each of a list.
fn places(group: &Group, document: &Document) -> Vec<String> {
    match (group.name.as_str(), group.is_list) {
        ("", _) => vec![String::new()],
        (name, false) => vec![format!("{name}.")],
        (name, true) => (0..document.count(name)).map(|i| format!("{name}.{i}.")).collect(),
    }
}

fn title(name: &str, index: usize, first: &[Cell]) -> String {
    let said = first.first().map(|c| c.value.as_str()).unwrap_or_default();
    let kind = if name == "setup" { "Set-up" } else { &format!("{}{}", name[..1].to_uppercase(), &name[1..]) };
    if said.is_empty() { format!("{kind} {}", index + 1) } else { format!("{kind} {}: {said}", index + 1) }
}

/// Whether anything is ridden on rollers.
fn has_rollers(document: &Document) -> bool {
    let runs = (0..document.count("run")).map(|i| document.shown(&format!("run.{i}.on")));
    let plan = [document.shown("loop.kind"), document.shown("on")];
    runs.chain(plan).any(|on| on.contains("rollers"))
}

/// Whether a text states a value.
fn states(text: &str, name: &str) -> bool {
    Document::parse(text, "").is_ok_and(|document| document.states(name))
}

/// The text with changes.
fn applied<'a>(base: &str, file: &str, changes: impl Iterator<Item = &'a Change>) -> Result<String, Refusal> {
    let mut document = Document::parse(base, file)?;
    for change in changes {
        match value(&change.name, &change.kind, &change.typed) {
            Ok(Some(value)) => document.set(&change.name, value)?,
            Ok(None) => document.remove(&change.name),
            Err(_) => {}
        }
    }
    Ok(document.text())
}

#[cfg(test)]
mod tests {
    use super::super::outline::of_session;
    use super::*;
    use loopwright::session::Session;

    const TEXT: &str = "[rider_and_bike]\nmass_kg = 86.0 # weighed\n\n[[setup]]\nid = \"a\"\n\n[[run]]\nfile = \"1.fit\"\nsetup = \"a\"\n";

    fn judged(typed: &[(&str, &str)]) -> Judged {
        judged_over(TEXT, typed)
    }

    fn judged_over(text: &str, typed: &[(&str, &str)]) -> Judged {
        let groups = of_session();
        let check = |text: &str| Session::from_toml(text, "session.toml").err();
        let query: String = typed.iter().map(|(n, v)| format!("{n}={}&", super::super::form::encoded(v))).collect();
        let form = Form::parse(query.as_bytes()).unwrap();
        let factors = factors::brought(&form);
        let sheet = Sheet { groups: &groups, file: "session.toml", factors: &factors, check: &check };
        let changes = sheet.changes(&Document::parse(text, "session.toml").unwrap(), &form).unwrap();
        sheet.judge(text, &changes).unwrap()
    }

    #[test]
    fn what_is_sound_is_put_in_and_the_rest_keeps_its_bytes() {
        let out = judged(&[("rider_and_bike.mass_kg", "85.5"), ("wind.mode", "none"), ("run.0.setup", "a")]);
        assert!(out.errors.is_empty() && out.elsewhere.is_none(), "{out:?}");
        assert!(out.text.contains("mass_kg = 85.5 # weighed") && out.text.contains("[wind]\nmode = \"none\"\n"));
        assert_eq!(judged(&[("rider_and_bike.mass_kg", "86.0")]).text, TEXT);
    }

    #[test]
    fn several_mistakes_stand_beside_their_fields_in_the_words_of_the_command_line() {
        let out = judged(&[
            ("rider_and_bike.mass_kg", "86000"),
            ("air.humidity_pct", "0.6"),
            ("air.temperature_c", "18,5"),
            ("run.0.mass_kg", "9"),
            ("solve.cda", "shared"),
        ]);
        let said = |name: &str| out.errors.get(name).cloned().unwrap_or_default();
        let whole = TEXT.replace("86.0", "86000");
        let told = Session::from_toml(&whole, "session.toml").unwrap_err().to_string();
        // Beside its field a value needs no file, line and key.
        let beside = said("rider_and_bike.mass_kg");
        assert!(beside.starts_with("86000 is outside 25 to 250; ") && told.ends_with(&beside), "{beside} {told}");
        assert!(said("air.humidity_pct").contains("looks like a fraction"), "{out:?}");
        assert!(said("air.temperature_c").contains("decimal comma"), "{out:?}");
        assert!(said("run.0.mass_kg").contains("outside 25 to 250"), "{out:?}");
        assert!(said("solve.cda").contains("common"), "{out:?}");
        assert!(out.of_typed);
    }

    #[test]
    fn a_blank_does_not_hide_what_is_wrong_with_what_was_typed() {
        let text = format!("solve = {{ cda = \"\" }}\n{TEXT}");
        let out = judged_over(&text, &[("air.temperature_c", "182")]);
        assert!(out.errors["solve.cda"].contains("common"), "{out:?}");
        assert!(out.errors["air.temperature_c"].contains("outside"), "{out:?}");
        assert_eq!(out.text, text, "the blank stays for the tester to fill in");
    }

    /// Two set-ups with two factors in one line each.
    const SWEEP: &str = "rider_and_bike.mass_kg = 86.0\n\n[[setup]]\nid = \"a\"\nfactors = { tyre = \"amber\", pressure_kpa = 500.0 } # as pumped\n\n\
                         [[setup]]\nid = \"b\"\nfactors = { tyre = \"basalt\", pressure_kpa = 600.0 }\n\n\
                         [[run]]\nfile = \"1.fit\"\nsetup = \"a\"\n\n[[run]]\nfile = \"2.fit\"\nsetup = \"b\"\n";

    #[test]
    fn a_level_of_a_factor_changes_as_a_number_or_a_name_and_the_line_keeps_its_comment() {
        let out = judged_over(SWEEP, &[("setup.0.factors.pressure_kpa", "520"), ("setup.1.factors.tyre", "cedar")]);
        assert!(out.errors.is_empty() && out.elsewhere.is_none(), "{out:?}");
        let wanted = SWEEP.replace("500.0 }", "520 }").replace("basalt", "cedar");
        assert_eq!(out.text, wanted);
        // Taken out of both it is gone, and the other stays in its place.
        let out = judged_over(SWEEP, &[("setup.0.factors.tyre", ""), ("setup.1.factors.tyre", "")]);
        assert!(out.errors.is_empty(), "{out:?}");
        assert_eq!(out.text, SWEEP.replace("tyre = \"amber\", ", "").replace("tyre = \"basalt\", ", ""));
    }

    #[test]
    fn what_the_program_says_of_a_factor_stands_beside_it() {
        let said = |typed: &[(&str, &str)], name: &str| {
            let out = judged_over(SWEEP, typed);
            let words = out.errors.get(name).cloned().unwrap_or_else(|| panic!("nothing beside {name}: {out:?}"));
            (words, out.of_typed)
        };
        let (words, of_typed) =
            said(&[("setup.1.factors.tyre", "amber"), ("air.temperature_c", "182")], "setup.0.factors.tyre");
        assert!(words.contains("one level on all") && of_typed, "{words}");
        let (words, of_typed) = said(&[("setup.1.factors.pressure_kpa", "6000")], "setup.1.factors.pressure_kpa");
        assert!(words.contains("1 bar is 100 kPa") && of_typed, "{words}");
        let (words, _) = said(&[("setup.0.factors.pressure_kpa", "520,5")], "setup.0.factors.pressure_kpa");
        assert!(words.contains("decimal comma"), "{words}");
        let (words, of_typed) = said(&[("setup.0.factors.sealant", "yes")], "setup.1.factors.sealant");
        assert!(words.contains("does not state the factor «sealant»") && !of_typed, "{words}");
        let (words, _) = said(&[("solve.curve", "pressure_kpa")], "solve.curve");
        assert!(words.contains("a curve takes 3 or more"), "{words}");
        let stated = [("run.0.tyre_pressure_kpa.front", "700"), ("run.0.tyre_pressure_kpa.rear", "700")];
        assert!(said(&stated, "setup.0.factors.pressure_kpa").0.contains("one of them is a slip"));
        // A mistake elsewhere is told as well.
        let out = judged_over(SWEEP, &[("setup.1.factors.tyre", "amber"), ("air.temperature_c", "182")]);
        assert!(out.errors.contains_key("air.temperature_c") && out.text == SWEEP, "{out:?}");
    }

    #[test]
    fn no_text_becomes_anything_but_a_value() {
        for typed in ["1\n[x]\ny = 2", "1 # c", "{a=1}", "\"x\"", "1, 2", "[1]"] {
            let out = judged(&[("rider_and_bike.mass_kg", typed)]);
            assert!(out.errors.contains_key("rider_and_bike.mass_kg"), "{typed}: {out:?}");
            assert_eq!(out.text, TEXT, "{typed}");
        }
        let out = judged(&[("title", "\"]\nx = 1 # \\")]);
        let read = Session::from_toml(&out.text, "f").unwrap();
        assert_eq!(read.title, "\"] x = 1 # \\");
    }
}
