//! A form over a file: what it shows, what was typed into it, and what the program says of that.
//!
//! Given the groups of a schema, the text of the file and a posted form; gives sections to show, the changes, and the text
//! with them. Every error is the program's own, placed beside the field whose line it names. It reads and writes nothing.

use super::document::Document;
use super::field::{Field, Kind};
use super::form::Form;
use super::outline::Group;
use super::refusal::Refusal;
use loopwright::error::Error;
use loopwright::session::{locate, parse_checked};
use serde::Serialize;
use std::collections::BTreeMap;
use toml_edit::{Array, Value};

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
    /// Typed and not saved.
    changed: bool,
    error: String,
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
    entries: Vec<Entry>,
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
}

/// See the module.
pub struct Sheet<'a> {
    pub groups: &'a [Group],
    pub file: &'a str,
    /// The program's check of a whole text.
    pub check: &'a dyn Fn(&str) -> Option<Error>,
}

impl Sheet<'_> {
    /// Every field of the file with its name in the form.
    fn names<'b>(&'b self, document: &Document) -> Vec<(String, &'b Field)> {
        let mut out = Vec::new();
        for group in self.groups {
            for before in places(group, document) {
                let all = group.first.iter().chain(&group.more);
                out.extend(all.map(|field| (format!("{before}{}", field.key), field)));
            }
        }
        out
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
        let mut judged = Judged::default();
        let mut kept: Vec<&Change> = Vec::new();
        for change in changes {
            match value(change) {
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
            match kept.iter().position(|c| c.name == name) {
                Some(at) => {
                    judged.of_typed = true;
                    kept.remove(at);
                }
                None if passed_over.iter().any(|c| c.name == name) => break,
                None => passed_over.push(self.as_default(base, &name)?),
            }
            judged.errors.insert(name, error.to_string());
        }
        judged.text = applied(base, self.file, kept.iter().copied())?;
        Ok(judged)
    }

    /// A value put back to its default, on the line where it stands if there is one, so that lines are counted as in the file.
    fn as_default(&self, base: &str, name: &str) -> Result<Change, Refusal> {
        let document = Document::parse(base, self.file)?;
        let field = self.names(&document).into_iter().find(|(n, _)| n == name).map(|(_, field)| field.clone());
        let (typed, kind) = field.map_or((String::new(), Kind::Text), |f| (f.default, f.kind));
        Ok(Change::new(name.to_string(), document.shown(name), typed, kind))
    }

    /// The field on the line that an error names, or the one that it says is missing.
    fn place(&self, text: &str, error: &Error) -> Result<Option<String>, Refusal> {
        let (line, key, missing) = match error {
            Error::OutOfRange { line: Some(line), key, .. } => (*line, key.as_str(), None),
            Error::Inconsistent { line: Some(line), .. } => (*line, "", None),
            Error::Syntax { line, message, .. } => (*line, "", missing_key(message)),
            _ => return Ok(None),
        };
        let document = Document::parse(text, self.file)?;
        let names: Vec<String> = self.names(&document).into_iter().map(|(name, _)| name).collect();
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
        Ok(there.iter().find(named).or(there.first()).map(|name| name.to_string()))
    }

    /// The form as it is shown, with what was typed and what is wrong.
    pub fn sections(&self, document: &Document, changes: &[Change], errors: &BTreeMap<String, String>) -> Vec<Section> {
        let cell = |before: &str, field: &Field| {
            let name = format!("{before}{}", field.key);
            let change = changes.iter().find(|c| c.name == name);
            Cell {
                value: change.map_or_else(|| document.shown(&name), |c| c.typed.clone()),
                changed: change.is_some(),
                error: errors.get(&name).cloned().unwrap_or_default(),
                field: field.clone(),
                name,
            }
        };
        let section = |group: &Group| {
            let entries = places(group, document).into_iter().enumerate().map(|(i, before)| {
                let cells = |all: &[Field]| all.iter().map(|f| cell(&before, f)).collect::<Vec<_>>();
                let (first, more) = (cells(&group.first), cells(&group.more));
                let title = if group.is_list { title(&group.name, i, &first) } else { String::new() };
                Entry { open: more.iter().any(|c| c.changed || !c.error.is_empty()), title, first, more }
            });
            let id = if group.name.is_empty() { "top".into() } else { group.name.clone() };
            Section { id, heading: group.heading.clone(), is_list: group.is_list, entries: entries.collect() }
        };
        self.groups.iter().map(section).filter(|s| !s.entries.is_empty()).collect()
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

/// The text with changes.
fn applied<'a>(base: &str, file: &str, changes: impl Iterator<Item = &'a Change>) -> Result<String, Refusal> {
    let mut document = Document::parse(base, file)?;
    for change in changes {
        match value(change) {
            Ok(Some(value)) => document.set(&change.name, value)?,
            Ok(None) => document.remove(&change.name),
            Err(_) => {}
        }
    }
    Ok(document.text())
}

/// What was typed as a value of the file, `None` where it is to be left out; else what the parser says of it.
fn value(change: &Change) -> Result<Option<Value>, String> {
    let typed = change.typed.as_str();
    if typed.is_empty() {
        return Ok(None);
    }
    let key = change.name.rsplit('.').next().unwrap_or_default();
    let number = |typed: &str| match typed.parse::<Value>() {
        Ok(value) if value.is_float() || value.is_integer() => Ok(value),
        _ => Err(not_a_number(key, typed)),
    };
    let list = |of: &dyn Fn(&str) -> Result<Value, String>| {
        let parts = typed.split([',', ';', ' ']).map(str::trim).filter(|p| !p.is_empty());
        parts.map(of).collect::<Result<Vec<_>, _>>().map(|all| Some(Value::Array(Array::from_iter(all))))
    };
    match change.kind {
        Kind::Number => number(typed).map(Some),
        Kind::Text => Ok(Some(Value::from(typed))),
        Kind::Choice if typed == "true" || typed == "false" => Ok(Some(Value::from(typed == "true"))),
        Kind::Choice => Ok(Some(Value::from(typed))),
        Kind::NumberOrWord => Ok(Some(number(typed).unwrap_or_else(|_| Value::from(typed)))),
        Kind::Numbers => list(&number),
        Kind::Words => list(&|word| Ok(Value::from(word))),
    }
}

/// The parser's own words for something that is no number.
fn not_a_number(key: &str, typed: &str) -> String {
    let line = format!("{key} = {typed}");
    match parse_checked::<toml::Table>(&line, key) {
        Err(Error::Syntax { message, .. }) => format!("{line}: {message}"),
        _ => format!("{line}: expected a number without quotes"),
    }
}

#[cfg(test)]
mod tests {
    use super::super::outline::of_session;
    use super::*;
    use loopwright::session::Session;

    const TEXT: &str = "[rider_and_bike]\nmass_kg = 86.0 # weighed\n\n[[setup]]\nid = \"a\"\n\n[[run]]\nfile = \"1.fit\"\nsetup = \"a\"\n";

    fn judged(typed: &[(&str, &str)]) -> Judged {
        let groups = of_session();
        let check = |text: &str| Session::from_toml(text, "session.toml").err();
        let sheet = Sheet { groups: &groups, file: "session.toml", check: &check };
        let query: String = typed.iter().map(|(n, v)| format!("{n}={}&", super::super::form::encoded(v))).collect();
        let form = Form::parse(query.as_bytes()).unwrap();
        let changes = sheet.changes(&Document::parse(TEXT, "session.toml").unwrap(), &form).unwrap();
        sheet.judge(TEXT, &changes).unwrap()
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
        assert_eq!(said("rider_and_bike.mass_kg"), told);
        assert!(said("air.humidity_pct").contains("looks like a fraction"), "{out:?}");
        assert!(said("air.temperature_c").contains("decimal comma"), "{out:?}");
        assert!(said("run.0.mass_kg").contains("outside 25 to 250"), "{out:?}");
        assert!(said("solve.cda").contains("common"), "{out:?}");
        assert!(out.of_typed);
    }

    #[test]
    fn a_blank_does_not_hide_what_is_wrong_with_what_was_typed() {
        let text = format!("solve = {{ cda = \"\" }}\n{TEXT}");
        let groups = of_session();
        let check = |text: &str| Session::from_toml(text, "session.toml").err();
        let sheet = Sheet { groups: &groups, file: "session.toml", check: &check };
        let form = Form::parse(b"air.temperature_c=182").unwrap();
        let changes = sheet.changes(&Document::parse(&text, "session.toml").unwrap(), &form).unwrap();
        let out = sheet.judge(&text, &changes).unwrap();
        assert!(out.errors["solve.cda"].contains("common"), "{out:?}");
        assert!(out.errors["air.temperature_c"].contains("outside"), "{out:?}");
        assert_eq!(out.text, text, "the blank stays for the tester to fill in");
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
