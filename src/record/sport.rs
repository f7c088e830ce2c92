//! Which records of a mixed activity are cycling.
//!
//! Given session and sport messages and the time of each record; gives a choice of records. It never guesses a
//! sport from speeds.

use std::collections::HashMap;

use fitparser::Value;
use fitparser::profile::field_types::Sport;

use super::message::count;
use super::timing::unix_s;
use crate::finding::What;

/// Sport codes of the FIT profile that are riding a bicycle: cycling and e-biking.
const CYCLING: [u8; 2] = [2, 21];
/// Codes that say nothing about the sport: generic and all.
const UNSPECIFIC: [u8; 2] = [0, 254];

/// More sessions than any day has; what a broken file adds beyond is passed over, so that matching stays quick.
const MOST_SESSIONS: usize = 100;

/// A stretch of time spent on one sport, Unix time in s.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Session {
    sport: u8,
    from_s: f64,
    to_s: f64,
}

/// What the file says about sports.
#[derive(Debug, Default)]
pub(super) struct Sports {
    sessions: Vec<Session>,
    /// The sport announced last.
    current: Option<u8>,
    /// For each record the sport that had been announced before it.
    announced: Vec<Option<u8>>,
}

impl Sports {
    /// A sport message (12): what follows is this sport.
    pub fn announce(&mut self, fields: &HashMap<u8, Value>) {
        self.current = sport(fields, 0).or(self.current);
    }

    /// A session message (18), written after its records.
    pub fn session(&mut self, fields: &HashMap<u8, Value>, time: Option<u32>) {
        let (Some(sport), Some(start)) = (sport(fields, 5), count(fields, 2)) else { return };
        let from_s = unix_s(start);
        let elapsed_s = count(fields, 7).map(|ms| from_s + f64::from(ms) / 1000.0);
        // The stamp may be that of writing, minutes later, so the elapsed time comes first.
        if let Some(to_s) = elapsed_s.or(time.map(unix_s))
            && self.sessions.len() < MOST_SESSIONS
        {
            self.sessions.push(Session { sport, from_s, to_s });
        }
    }

    /// A record was kept.
    pub fn record(&mut self) {
        self.announced.push(self.current);
    }

    /// A new file section begins; what was announced in the last one does not hold.
    pub fn new_section(&mut self) {
        self.current = None;
    }

    /// Which of the records to use, and what to say about it. Records of no known sport are always used.
    ///
    /// Where there is cycling, other sports are left out; where there is none, everything is used and said so:
    /// a device set to the wrong sport is likelier than somebody testing tyres in the water.
    pub fn choose(&self, times_s: &[f64]) -> Choice {
        let sports: Vec<Option<u8>> =
            times_s.iter().zip(&self.announced).map(|(&time_s, &announced)| self.at(time_s).or(announced)).collect();
        let is_other = |sport: &Option<u8>| sport.is_some_and(|s| !CYCLING.contains(&s));
        let Some(&first_other) = sports.iter().flatten().find(|s| !CYCLING.contains(s)) else {
            return Choice { used: None, finding: None };
        };
        if sports.iter().flatten().any(|s| CYCLING.contains(s)) {
            let used: Vec<bool> = sports.iter().map(|s| !is_other(s)).collect();
            let records = used.iter().filter(|&&used| !used).count();
            return Choice { used: Some(used), finding: Some(What::OtherSportsLeftOut { records }) };
        }
        Choice { used: None, finding: Some(What::NotCycling { sport: Sport::from(first_other).to_string() }) }
    }

    /// The sport of the session a moment lies in; cycling where two touch.
    fn at(&self, time_s: f64) -> Option<u8> {
        let here = || self.sessions.iter().filter(|s| s.from_s <= time_s && time_s <= s.to_s).map(|s| s.sport);
        here().find(|s| CYCLING.contains(s)).or_else(|| here().next())
    }
}

/// The records to use; `used` is `None` for all of them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Choice {
    pub used: Option<Vec<bool>>,
    pub finding: Option<What>,
}

fn sport(fields: &HashMap<u8, Value>, field: u8) -> Option<u8> {
    let sport = u8::try_from(count(fields, field)?).ok()?;
    (!UNSPECIFIC.contains(&sport)).then_some(sport)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn session(sport: u8, start: u32, elapsed_ms: u32) -> HashMap<u8, Value> {
        HashMap::from([(5, Value::Enum(sport)), (2, Value::UInt32(start)), (7, Value::UInt32(elapsed_ms))])
    }

    fn times_s(range: std::ops::Range<u32>) -> Vec<f64> {
        range.map(unix_s).collect()
    }

    #[test]
    fn only_the_cycling_session_is_used() {
        let mut sports = Sports::default();
        (0..30).for_each(|_| sports.record());
        sports.session(&session(5, 0, 9_000), None);
        sports.session(&session(2, 10, 9_000), None);
        sports.session(&session(1, 20, 9_000), None);
        let choice = sports.choose(&times_s(0..30));
        assert_eq!(choice.finding, Some(What::OtherSportsLeftOut { records: 20 }));
        let used = choice.used.unwrap_or_default();
        assert!(used.iter().enumerate().all(|(i, &used)| used == (10..20).contains(&i)));
    }

    #[test]
    fn announced_sports_stand_in_for_sessions_that_were_never_written() {
        let mut sports = Sports::default();
        for sport in [5, 2] {
            sports.announce(&HashMap::from([(0, Value::Enum(sport))]));
            (0..5).for_each(|_| sports.record());
        }
        let used = sports.choose(&times_s(0..10)).used.unwrap_or_default();
        assert_eq!(used, [[false; 5], [true; 5]].concat());
    }

    #[test]
    fn without_a_word_about_sports_everything_is_used() {
        let mut sports = Sports::default();
        (0..3).for_each(|_| sports.record());
        assert_eq!(sports.choose(&times_s(0..3)), Choice { used: None, finding: None });
    }

    #[test]
    fn a_run_is_read_and_named() {
        let mut sports = Sports::default();
        (0..3).for_each(|_| sports.record());
        sports.session(&session(1, 0, 9_000), None);
        let choice = sports.choose(&times_s(0..3));
        assert_eq!(choice, Choice { used: None, finding: Some(What::NotCycling { sport: "running".into() }) });
    }
}
