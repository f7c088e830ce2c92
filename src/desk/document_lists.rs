//! Lists in the text of a session or plan: numbers such as laps to leave out, and tables such as `[[run]]`.
//!
//! Given a document; a number or a table is put into a list, taken out, or kept as a comment.

use super::document::{Document, child_mut, no_place};
use super::refusal::Refusal;
use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, Value};

impl Document {
    /// Adds a number to a list where it is not there yet; the list is made where there is none.
    pub fn include(&mut self, path: &str, number: usize) -> Result<(), Refusal> {
        let wanted = number.to_string();
        if self.shown(path).split(", ").any(|n| n == wanted) {
            return Ok(());
        }
        let number = i64::try_from(number).map_err(|_| no_place(path))?;
        match self.list(path) {
            Some(list) => list.push(number),
            None => self.set(path, Value::Array(Array::from_iter([number])))?,
        }
        Ok(())
    }

    /// Takes a number out of a list, and the list away when nothing is left in it.
    pub fn exclude(&mut self, path: &str, number: usize) {
        let Some(list) = self.list(path) else { return };
        let wanted = i64::try_from(number).ok();
        loop {
            let at = list.iter().position(|value| value.as_integer() == wanted);
            let Some(at) = at else { break };
            let gone = list.remove(at);
            // What stands before it may be a comment on the lap before it.
            let before = gone.decor().prefix().and_then(|p| p.as_str()).filter(|p| p.contains('#')).map(str::to_string);
            let Some(before) = before else { continue };
            match list.get_mut(at) {
                Some(next) => {
                    let own = next.decor().prefix().and_then(|p| p.as_str()).unwrap_or_default().to_string();
                    next.decor_mut().set_prefix(format!("{}{own}", before.trim_end_matches([' ', '\n', '\r'])));
                }
                None => {
                    let own = list.trailing().as_str().unwrap_or_default().to_string();
                    list.set_trailing(format!("{}{own}", before.trim_end_matches([' ', '\n', '\r'])));
                }
            }
        }
        if list.is_empty() {
            self.remove(path);
        }
    }

    fn list(&mut self, path: &str) -> Option<&mut Array> {
        let mut item = self.inner.as_item_mut();
        for key in path.split('.') {
            item = child_mut(item, key)?;
        }
        item.as_array_mut()
    }

    /// Adds a table to a list of tables, such as a `[[run]]`.
    pub fn push(&mut self, name: &str, values: &[(&str, Value)]) -> Result<(), Refusal> {
        let entry = self.inner.entry(name).or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
        let tables = entry.as_array_of_tables_mut().ok_or_else(|| {
            Refusal::new(422, format!("{name}: written as a list in one line; write every one as [[{name}]]"))
        })?;
        let mut table = Table::new();
        // Behind the last of its kind, not behind whatever stands last in the file.
        table.set_position(tables.iter().filter_map(Table::position).max());
        table.decor_mut().set_prefix("\n");
        for (key, value) in values {
            table.insert(key, Item::Value(value.clone()));
        }
        tables.push(table);
        Ok(())
    }

    /// Takes a table out of a list.
    pub fn drop(&mut self, name: &str, index: usize) {
        if let Some(tables) = self.inner.get_mut(name).and_then(Item::as_array_of_tables_mut)
            && index < tables.len()
        {
            tables.remove(index);
        }
    }

    /// Takes a table out of a list and keeps it as a comment at the end, with a reason.
    pub fn put_aside(&mut self, name: &str, index: usize, reason: &str) {
        let Some(tables) = self.inner.get_mut(name).and_then(Item::as_array_of_tables_mut) else { return };
        if index >= tables.len() {
            return;
        }
        let mut table = tables.remove(index);
        table.set_position(None);
        let mut alone = DocumentMut::new();
        let mut list = ArrayOfTables::new();
        list.push(table);
        alone.insert(name, Item::ArrayOfTables(list));
        let mut lines = format!("\n# Left out: {reason}\n");
        for line in alone.to_string().lines().filter(|l| !l.trim().is_empty()) {
            lines.push_str(&format!("# {line}\n"));
        }
        self.add_at_end(&lines);
    }
}
