//! The flags that stand for a session file when one ride is solved.
//!
//! Made from the schema of the session: names, words and kinds are those of its keys. Given nothing but a list of tables
//! and keys; it knows no default and no range, which are the session's own.

use super::flag_name::flag_of;
use super::number::number;
use super::ride_flag_kind::{Kind, kind_of};
use super::ride_flag_table::{SECTIONS, Section};
use super::schema_value::resolved;
use clap::builder::{BoolValueParser, PossibleValuesParser, StringValueParser, TypedValueParser};
use clap::parser::ValueSource;
use clap::{Arg, ArgMatches, Args, Command, FromArgMatches, value_parser};
use loopwright::session::Session;
use serde_json::{Map, Value, json};
use std::sync::LazyLock;

/// Units that names end on, longest first.
const UNITS: [&str; 16] =
    ["n_s_per_m", "kg_m2", "kg_m3", "per_c", "km_h", "m_s", "hpa", "pct", "deg", "kg", "w", "n", "m", "s", "c", "h"];

/// One flag.
#[derive(Debug)]
struct Flag {
    /// As it is typed, without the dashes.
    name: String,
    /// Table, key and, within a key of several parts, the part.
    path: Vec<&'static str>,
    heading: &'static str,
    help: String,
    value_name: String,
    kind: Kind,
    /// Other parts of the same key, without which this one means nothing.
    needs: Vec<String>,
}

static FLAGS: LazyLock<Vec<Flag>> = LazyLock::new(|| {
    let schema = schemars::schema_for!(Session).to_value();
    SECTIONS.iter().flat_map(|s| s.keys.iter().flat_map(|key| flags_of(&schema, s, key))).collect()
});

/// The flags of a key: one, or one for each part.
fn flags_of(schema: &Value, section: &Section, key: &'static str) -> Vec<Flag> {
    let root = &schema["properties"][section.table];
    let table = resolved(schema, if root["type"] == "array" { &root["items"] } else { root });
    let stated = &table["properties"][key];
    let definition = resolved(schema, stated);
    let Some(parts) = definition["properties"].as_object() else {
        let mut one = flag(schema, section, vec![section.table, key], stated, Vec::new());
        // The run's file and set-up, which are needed too, are no flags.
        if table["required"].as_array().is_some_and(|keys| keys.iter().any(|needed| needed == key)) {
            one.help.push_str(" (needed)");
        }
        return vec![one];
    };
    // A part is named by its key, so that it has to last as long as the flags.
    let parts: Vec<(&'static str, &Value)> = parts.iter().map(|(name, of)| (&*name.clone().leak(), of)).collect();
    let name = |part: &str| name_of(&[section.table, key, part]);
    let others = |part: &str| parts.iter().filter(|(p, _)| *p != part).map(|(p, _)| name(p)).collect();
    parts.iter().map(|(p, of)| flag(schema, section, vec![section.table, key, p], of, others(p))).collect()
}

fn flag(schema: &Value, section: &Section, path: Vec<&'static str>, stated: &Value, needs: Vec<String>) -> Flag {
    let key = path.last().copied().unwrap_or_default();
    let kind = kind_of(schema, stated);
    let words = stated["description"].as_str().or_else(|| resolved(schema, stated)["description"].as_str());
    let mut help = words.unwrap_or(key).trim_end_matches('.').replace('\n', " ");
    if matches!(kind, Kind::Numbers | Kind::Wholes) {
        help.push_str(" (parted by commas)");
    }
    Flag { name: name_of(&path), value_name: value_name(key, &kind), path, heading: section.heading, help, kind, needs }
}

fn name_of(path: &[&str]) -> String {
    flag_of(&path.join(".")).trim_start_matches('-').to_string()
}

fn value_name(key: &str, kind: &Kind) -> String {
    // In «power at a speed» the unit is that of the power.
    let key = key.split("_at_").next().unwrap_or(key);
    let unit = UNITS.iter().find(|unit| key.strip_suffix(**unit).is_some_and(|rest| rest.ends_with('_')));
    match kind {
        Kind::Text => "FILE".into(),
        Kind::Switch => "BOOL".into(),
        Kind::Whole => "N".into(),
        Kind::Wholes => "LAP".into(),
        Kind::Word(_) | Kind::NumberOr(_) => key.to_uppercase(),
        Kind::Number | Kind::Numbers => unit.map_or("FRACTION".into(), |unit| unit.to_uppercase()),
    }
}

impl Flag {
    fn argument(&'static self) -> Arg {
        let argument = Arg::new(self.name.as_str())
            .long(self.name.as_str())
            .value_name(self.value_name.as_str())
            .help(self.help.as_str())
            .help_heading(self.heading)
            .allow_negative_numbers(true)
            .requires_ifs(self.needs.iter().map(|other| (clap::builder::ArgPredicate::IsPresent, other.as_str())));
        match &self.kind {
            Kind::Number => argument.value_parser(|text: &str| number(text).map(Value::from)),
            Kind::Numbers => argument.value_delimiter(',').value_parser(|text: &str| number(text).map(Value::from)),
            Kind::Whole => argument.value_parser(value_parser!(u64).map(Value::from)),
            Kind::Wholes => argument.value_delimiter(',').value_parser(value_parser!(u64).map(Value::from)),
            Kind::Switch => argument.value_parser(BoolValueParser::new().map(Value::from)),
            Kind::Text => argument.value_parser(StringValueParser::new().map(Value::from)),
            Kind::Word(words) => {
                let words = PossibleValuesParser::new(words.iter().map(String::as_str));
                argument.value_parser(words.map(Value::from))
            }
            Kind::NumberOr(words) => argument.value_parser(|text: &str| {
                if words.iter().any(|word| word == text) {
                    return Ok(Value::from(text));
                }
                let known = words.join("\" or \"");
                number(text).map(Value::from).map_err(|_| format!("neither a number nor \"{known}\""))
            }),
        }
    }

    /// What was typed, as the key of a session holds it.
    fn value(&self, matches: &ArgMatches) -> Option<Value> {
        // A flag that was not typed has no value, since none has a default.
        if matches.value_source(&self.name) != Some(ValueSource::CommandLine) {
            return None;
        }
        let mut values: Vec<Value> = matches.get_many::<Value>(&self.name)?.cloned().collect();
        if matches!(self.kind, Kind::Numbers | Kind::Wholes) { Some(json!(values)) } else { values.pop() }
    }
}

/// What was typed: flags without their dashes, and the tables of the session that they make.
#[derive(Debug, Default, Clone)]
pub struct RideFlags {
    typed: Vec<&'static str>,
    pub(super) tables: Map<String, Value>,
}

impl RideFlags {
    /// Flags that were given, as they are typed.
    pub fn given(&self) -> Vec<String> {
        self.typed.iter().map(|name| format!("--{name}")).collect()
    }

    /// What was given under a key of a table.
    pub(super) fn stated(&self, table: &str, key: &str) -> Option<&Value> {
        self.tables.get(table)?.get(key)
    }
}

/// Puts a value under its path, making tables on the way.
fn put(tables: &mut Map<String, Value>, path: &[&str], value: Value) {
    match path {
        [] => {}
        [key] => {
            tables.insert(key.to_string(), value);
        }
        [key, rest @ ..] => {
            if let Value::Object(inner) = tables.entry(key.to_string()).or_insert_with(|| json!({})) {
                put(inner, rest, value);
            }
        }
    }
}

impl FromArgMatches for RideFlags {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let mut flags = RideFlags::default();
        for flag in FLAGS.iter() {
            if let Some(value) = flag.value(matches) {
                flags.typed.push(&flag.name);
                put(&mut flags.tables, &flag.path, value);
            }
        }
        Ok(flags)
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = RideFlags::from_arg_matches(matches)?;
        Ok(())
    }
}

impl Args for RideFlags {
    fn augment_args(command: Command) -> Command {
        command.args(FLAGS.iter().map(Flag::argument))
    }

    fn augment_args_for_update(command: Command) -> Command {
        RideFlags::augment_args(command)
    }
}
