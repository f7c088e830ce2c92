//! Results that must not be pooled as they are: one day twice, one set-up under two ids.
//!
//! Given days; refuses them with the file and what to do. It pools nothing.

use super::day::{Day, SetupName};
use crate::error::Error;
use std::collections::BTreeMap;

/// The same day must not count twice: neither the same result nor two results of the same rides.
pub(super) fn check_twice(days: &[Day]) -> Result<(), Error> {
    let mut results: BTreeMap<(&str, &str), &Day> = BTreeMap::new();
    let mut rides: BTreeMap<&str, &Day> = BTreeMap::new();
    for day in days {
        let refusal = |message: String| Err(Error::NotPoolable { file: day.file.clone(), message });
        if let Some(other) = results.insert((&day.sha256, &day.venue), day) {
            return refusal(format!(
                "it is the same result as {} (SHA-256 {}), so the same day would count twice; give each day once",
                other.file,
                day.sha256.chars().take(12).collect::<String>()
            ));
        }
        for ride in day.rides.iter().filter(|r| !r.sha256.is_empty()) {
            let before = rides.entry(&ride.sha256).or_insert(day);
            if before.sha256 != day.sha256 {
                return refusal(format!(
                    "its ride {} is also in {} (the same SHA-256), so the same ride would count twice; give one result \
                     of each ride",
                    ride.file, before.file
                ));
            }
        }
    }
    Ok(())
}

/// One set-up must not stand under two ids, which would be two set-ups of which nothing is pooled.
pub(super) fn check_one_id_each(days: &[Day], setups: &[SetupName]) -> Result<(), Error> {
    let name = |s: &SetupName| if s.label.trim().is_empty() { s.id.clone() } else { s.label.trim().to_string() };
    let is_one = |a: &SetupName, b: &SetupName| a.id.to_lowercase() == b.id.to_lowercase() || name(a) == name(b);
    for (i, one) in setups.iter().enumerate() {
        let Some(other) = setups[i + 1..].iter().find(|other| is_one(one, other)) else { continue };
        let has = |d: &&Day, id: &str| d.setups.iter().any(|s| s.id == id);
        // In one session two ids are two set-ups, whatever they are called.
        if days.iter().any(|d| has(&d, &one.id) && has(&d, &other.id)) {
            continue;
        }
        let file = days.iter().find(|d| has(d, &other.id)).map_or(String::new(), |d| d.file.clone());
        return Err(Error::NotPoolable {
            file,
            message: format!(
                "its set-up {:?} ({}) is {:?} in another result; ids join set-ups, so give it one id in all sessions and solve anew",
                other.id,
                name(other),
                one.id
            ),
        });
    }
    Ok(())
}
