//! Fields that applications add to a FIT file, and the one of them that may be used.
//!
//! Given field descriptions and the definitions that use them; gives the field that stands for power when the
//! file has no native power, and the names of those left aside. It never lets one replace a native value.

use std::collections::{BTreeSet, HashMap};

use fitparser::Value;

use super::definition::Definition;
use super::message::{ChosenField, count, text};
use crate::finding::What;
use crate::printable::one_line;

/// Message number of a record and the number of its power field, in the FIT profile.
const RECORD: u32 = 20;
const POWER_FIELD: u32 = 7;

/// What a field description (message 206) says.
#[derive(Debug, Clone, PartialEq)]
struct Description {
    name: String,
    base_type: u8,
    /// It declares itself to be the native power field.
    stands_for_power: bool,
    /// Its name and unit say that it is a power, whatever it declares.
    looks_like_power: bool,
}

/// The developer fields of a file.
#[derive(Debug, Default)]
pub(super) struct DeveloperFields {
    described: HashMap<(u8, u8), Description>,
    /// Names of fields in records that look like power; sorted, so that findings come in one order.
    power_names: BTreeSet<String>,
    chosen_name: Option<String>,
}

impl DeveloperFields {
    /// A field description.
    pub fn describe(&mut self, fields: &HashMap<u8, Value>) {
        let code = |field| count(fields, field).and_then(|v| u8::try_from(v).ok());
        let (Some(developer), Some(number), Some(base_type)) = (code(0), code(1), code(2)) else { return };
        let name = one_line(text(fields, 3).trim()).into_owned();
        let units = text(fields, 8).trim().to_lowercase();
        let stands_for_power = count(fields, 14) == Some(RECORD) && count(fields, 15) == Some(POWER_FIELD);
        let watts = matches!(units.as_str(), "w" | "watt" | "watts");
        let looks_like_power = stands_for_power || watts && name.to_lowercase().contains("power");
        let description = Description { name, base_type, stands_for_power, looks_like_power };
        self.described.insert((developer, number), description);
    }

    /// A definition of records; gives the field in it that stands for native power.
    pub fn in_records(&mut self, definition: &Definition) -> Option<ChosenField> {
        let mut chosen = None;
        for field in &definition.developer_fields {
            let Some(description) = self.described.get(&(field.developer, field.number)) else { continue };
            if description.looks_like_power {
                self.power_names.insert(description.name.clone());
            }
            if description.stands_for_power && chosen.is_none() {
                self.chosen_name = Some(description.name.clone());
                let base_type = description.base_type;
                chosen = Some(ChosenField { developer: field.developer, number: field.number, base_type });
            }
        }
        chosen
    }

    /// What to say about them, given whether the chosen one was used because no native power is there.
    pub fn findings(self, used: bool) -> Vec<What> {
        let chosen = self.chosen_name.filter(|_| used);
        let ignored = self.power_names.into_iter().filter(|name| Some(name) != chosen.as_ref());
        let mut findings: Vec<What> = ignored.map(|name| What::DeveloperFieldIgnored { name }).collect();
        findings.extend(chosen.map(|name| What::DeveloperFieldUsed { name }));
        findings
    }
}
