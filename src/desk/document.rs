//! The text of a session or plan, changed value by value with its comments and order kept.
//!
//! Given TOML text and values by their place, such as `run.0.mass_kg`; gives the text after the change. What is not
//! changed keeps its bytes. It checks nothing beyond the grammar and touches no file.

use super::refusal::Refusal;
use loopwright::session::BLANK_MARK;
use toml_edit::{DocumentMut, InlineTable, Item, Table, Value};

/// See the module.
pub struct Document {
    pub(super) inner: DocumentMut,
    /// Lines end as in the file.
    carriage_returns: bool,
}

impl Document {
    /// Errors: the text is no TOML; the words of the parser.
    pub fn parse(text: &str, file: &str) -> Result<Document, Refusal> {
        let inner = text.parse::<DocumentMut>().map_err(|e| {
            let span = e.span().unwrap_or(0..0);
            Refusal::from(loopwright::session::syntax_error(text, file, span, e.message()))
        })?;
        Ok(Document { inner, carriage_returns: text.contains("\r\n") })
    }

    /// The whole text.
    pub fn text(&self) -> String {
        let text = self.inner.to_string();
        if self.carriage_returns { text.replace("\r\n", "\n").replace('\n', "\r\n") } else { text }
    }

    /// A value as a person types it; empty where there is none.
    pub fn shown(&self, path: &str) -> String {
        self.value(path).map(plain).unwrap_or_default()
    }

    /// Whether a value is stated, be it an empty text.
    pub fn states(&self, path: &str) -> bool {
        self.value(path).is_some()
    }

    fn value(&self, path: &str) -> Option<&Value> {
        let mut item = self.inner.as_item();
        for key in path.split('.') {
            item = child(item, key)?;
        }
        item.as_value()
    }

    /// Keys of a table in their order; none where there is no table.
    pub fn keys(&self, path: &str) -> Vec<String> {
        let mut item = self.inner.as_item();
        for key in path.split('.') {
            match child(item, key) {
                Some(next) => item = next,
                None => return Vec::new(),
            }
        }
        item.as_table_like().map_or(Vec::new(), |table| table.iter().map(|(key, _)| key.to_string()).collect())
    }

    /// Number of tables under a name, such as `run`.
    pub fn count(&self, name: &str) -> usize {
        match self.inner.get(name) {
            Some(Item::ArrayOfTables(tables)) => tables.len(),
            Some(Item::Value(Value::Array(tables))) => tables.len(),
            _ => 0,
        }
    }

    /// Puts a value in its place; a comment behind it stays. Tables that are missing are made.
    pub fn set(&mut self, path: &str, value: Value) -> Result<(), Refusal> {
        let position = self.last_position();
        let (parents, key) = path.rsplit_once('.').unwrap_or(("", path));
        let mut item = self.inner.as_item_mut();
        for (depth, name) in parents.split('.').filter(|p| !p.is_empty()).enumerate() {
            if child(item, name).is_none() {
                let table = item.as_table_like_mut().ok_or_else(|| no_place(path))?;
                let made = if depth == 0 {
                    let mut made = Table::new();
                    made.set_position(position);
                    made.decor_mut().set_prefix("\n");
                    Item::Table(made)
                } else {
                    Item::Value(Value::InlineTable(InlineTable::new()))
                };
                table.insert(name, made);
            }
            item = child_mut(item, name).ok_or_else(|| no_place(path))?;
        }
        match child_mut(item, key) {
            Some(there) => {
                let old = there.as_value_mut().ok_or_else(|| no_place(path))?;
                let mut decor = old.decor().clone();
                // A blank of a first draft is one no longer.
                if let Some(behind) = decor.suffix().and_then(|s| s.as_str()).filter(|s| s.contains(BLANK_MARK)) {
                    decor.set_suffix(behind.replacen(&format!("{BLANK_MARK}: "), "", 1));
                }
                *old = value;
                *old.decor_mut() = decor;
            }
            None => {
                item.as_table_like_mut().ok_or_else(|| no_place(path))?.insert(key, Item::Value(value));
            }
        }
        Ok(())
    }

    /// Takes a value out; comments above and behind it move to what follows.
    pub fn remove(&mut self, path: &str) {
        let (parents, key) = path.rsplit_once('.').unwrap_or(("", path));
        let mut item = self.inner.as_item_mut();
        for name in parents.split('.').filter(|p| !p.is_empty()) {
            match child_mut(item, name) {
                Some(next) => item = next,
                None => return,
            }
        }
        let Some(table) = item.as_table_like_mut() else { return };
        let comments = comments_of(table, key);
        let next = table.iter().map(|(k, _)| k.to_string()).skip_while(|k| k != key).nth(1);
        table.remove(key);
        let emptied = table.is_empty() && item.is_inline_table();
        if !comments.is_empty() {
            self.keep(parents, next.as_deref(), &comments);
        }
        if emptied && !parents.is_empty() {
            self.remove(parents);
        }
    }

    /// Puts comment lines in front of a key of a table, or at the end of the text where there is none.
    fn keep(&mut self, parents: &str, next: Option<&str>, comments: &str) {
        let mut item = self.inner.as_item_mut();
        for name in parents.split('.').filter(|p| !p.is_empty()) {
            match child_mut(item, name) {
                Some(next) => item = next,
                None => return,
            }
        }
        let key = next.and_then(|next| item.as_table_like_mut()?.key_mut(next));
        match key {
            Some(mut key) => {
                let decor = key.leaf_decor_mut();
                let before = decor.prefix().and_then(|p| p.as_str()).unwrap_or_default().to_string();
                decor.set_prefix(format!("{comments}{before}"));
            }
            None => self.add_at_end(comments),
        }
    }

    /// Adds lines at the end of the text.
    pub fn add_at_end(&mut self, lines: &str) {
        let before = self.inner.trailing().as_str().unwrap_or_default().to_string();
        let gap = if before.is_empty() || before.ends_with('\n') { "" } else { "\n" };
        self.inner.set_trailing(format!("{before}{gap}{lines}"));
    }

    /// Position of the last plain table, behind which a new one is put so that it stands before the lists.
    fn last_position(&self) -> Option<isize> {
        fn deepest(table: &Table) -> Option<isize> {
            let below = table.iter().filter_map(|(_, item)| item.as_table().and_then(deepest)).max();
            table.position().max(below)
        }
        self.inner.as_table().iter().filter_map(|(_, item)| item.as_table().and_then(deepest)).max()
    }
}

pub(super) fn no_place(path: &str) -> Refusal {
    Refusal::new(422, format!("{path}: the file holds something else in this place; change it there by hand"))
}

fn child<'a>(item: &'a Item, key: &str) -> Option<&'a Item> {
    match key.parse::<usize>() {
        Ok(index) if !item.is_table_like() => item.get(index),
        _ => item.get(key),
    }
}

pub(super) fn child_mut<'a>(item: &'a mut Item, key: &str) -> Option<&'a mut Item> {
    match key.parse::<usize>() {
        Ok(index) if !item.is_table_like() => item.get_mut(index),
        // Asked as an item, a table makes room for what it does not hold.
        _ => item.as_table_like_mut()?.get_mut(key),
    }
}

/// Comment lines above a key and behind its value.
fn comments_of(table: &mut dyn toml_edit::TableLike, key: &str) -> String {
    let above = table.key(key).and_then(|k| k.leaf_decor().prefix()).and_then(|p| p.as_str()).unwrap_or_default();
    let behind = table
        .get(key)
        .and_then(Item::as_value)
        .and_then(|v| v.decor().suffix())
        .and_then(|s| s.as_str())
        .unwrap_or_default();
    let lines = above.lines().chain(behind.lines()).filter(|line| line.trim_start().starts_with('#'));
    lines.map(|line| format!("{}\n", line.trim())).collect()
}

/// A value without quotes and brackets.
fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.value().clone(),
        Value::Array(list) => list.iter().map(plain).collect::<Vec<_>>().join(", "),
        other => {
            let mut bare = other.clone();
            bare.decor_mut().clear();
            bare.to_string()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# A quiet day.\ntitle = \"x\"   # keep me\n\n[rider_and_bike]\n# on the platform scale\nmass_kg = 86.0 # at noon\nwheel_radius_m = 0.334\n\n\
                        [[setup]]\nid = \"a\"\n\n# First run.\n[[run]]\nfile = \"1.fit\"\nsetup = \"a\"\n\n[[run]]\nfile = \"2.fit\" # wet\nsetup = \"a\"\n";

    fn document() -> Document {
        Document::parse(TEXT, "session.toml").unwrap()
    }

    #[test]
    fn a_text_that_is_only_read_keeps_every_byte() {
        assert_eq!(document().text(), TEXT);
        let windows = TEXT.replace('\n', "\r\n");
        assert_eq!(Document::parse(&windows, "f").unwrap().text(), windows);
    }

    #[test]
    fn one_value_changes_and_nothing_else() {
        let mut document = document();
        document.set("rider_and_bike.mass_kg", "86.45".parse().unwrap()).unwrap();
        assert_eq!(document.text(), TEXT.replace("86.0 # at noon", "86.45 # at noon"));
        document.set("title", Value::from("y")).unwrap();
        assert!(document.text().contains("title = \"y\"   # keep me\n"));
        let mut draft = Document::parse("mass_kg = 0.0   # FILL IN: as weighed\n", "f").unwrap();
        draft.set("mass_kg", "86".parse().unwrap()).unwrap();
        assert_eq!(draft.text(), "mass_kg = 86   # as weighed\n");
        document.set("run.1.mass_kg", "85.9".parse().unwrap()).unwrap();
        assert!(
            document.text().ends_with("file = \"2.fit\" # wet\nsetup = \"a\"\nmass_kg = 85.9\n"),
            "{}",
            document.text()
        );
        assert_eq!((document.shown("run.1.mass_kg"), document.shown("run.0.mass_kg")), ("85.9".into(), String::new()));
    }

    #[test]
    fn a_new_table_stands_before_the_lists_and_a_nested_one_on_a_line() {
        let mut document = document();
        document.set("loop.gate.lat_deg", "1.5".parse().unwrap()).unwrap();
        document.set("loop.gate.lon_deg", "2.5".parse().unwrap()).unwrap();
        let text = document.text();
        assert!(text.contains("\n[loop]\ngate = { lat_deg = 1.5, lon_deg = 2.5 }\n"), "{text}");
        assert!(text.find("[loop]") < text.find("[[setup]]"), "{text}");
        document.remove("loop.gate.lat_deg");
        document.remove("loop.gate.lon_deg");
        assert!(!document.text().contains("gate"), "{}", document.text());
    }

    #[test]
    fn a_value_goes_and_its_comments_stay() {
        let mut document = document();
        document.remove("rider_and_bike.mass_kg");
        let text = document.text();
        assert!(!text.contains("mass_kg"), "{text}");
        assert!(text.contains("# on the platform scale\n# at noon\nwheel_radius_m"), "{text}");
    }

    #[test]
    fn a_run_put_aside_is_a_comment_and_another_stands_with_its_kind() {
        let mut document = document();
        document.push("setup", &[("id", Value::from("b"))]).unwrap();
        document.put_aside("run", 0, "rain");
        let text = document.text();
        assert_eq!(document.count("run"), 1);
        assert!(text.contains("# Left out: rain\n# # First run.\n# [[run]]\n# file = \"1.fit\"\n"), "{text}");
        assert!(text.find("id = \"b\"") < text.find("file = \"2.fit\""), "{text}");
        assert!(text.parse::<DocumentMut>().is_ok());
    }
}
