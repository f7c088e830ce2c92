//! Which records of a mixed activity are cycling.
//!
//! Given session and sport messages and the time of each record; gives a choice of records. It never guesses a
//! sport from speeds.

use std::collections::HashMap;

use fitparser::Value;
use fitparser::profile::field_types::Sport;

use super::message::count;
use super::timing::unix_s;
use crate::finding::{RiddenAs, Slip, What};

/// Sport codes of the FIT profile that are riding a bicycle: cycling and e-biking.
const CYCLING: [u8; 2] = [2, 21];
/// E-biking among them, and the sub-sports of the FIT profile that say how a bicycle was ridden.
const E_BIKING: u8 = 21;
const INDOORS: [u8; 2] = [5, 6];
const WITH_MOTOR: [u8; 3] = [28, 47, 127];
const VIRTUAL: u8 = 58;
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
    /// Sports and sub-sports named anywhere, as pairs.
    named: Vec<(Option<u8>, Option<u8>)>,
    /// For each record the sport that had been announced before it.
    announced: Vec<Option<u8>>,
}

impl Sports {
    /// A sport message (12): what follows is this sport.
    pub fn announce(&mut self, fields: &HashMap<u8, Value>) {
        self.current = sport(fields, 0).or(self.current);
        self.name(sport(fields, 0), sport(fields, 1));
    }

    /// A session message (18), written after its records.
    pub fn session(&mut self, fields: &HashMap<u8, Value>, time: Option<u32>) {
        self.name(sport(fields, 5), sport(fields, 6));
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

    /// A broken file may name thousands.
    fn name(&mut self, sport: Option<u8>, sub_sport: Option<u8>) {
        if self.named.len() < MOST_SESSIONS {
            self.named.push((sport, sub_sport));
        }
    }

    /// How the cycling of the file was ridden, where it says so.
    pub fn ridden_as(&self) -> Vec<What> {
        let cycling = |sport: &Option<u8>| sport.is_none_or(|s| CYCLING.contains(&s));
        let said = |is: &dyn Fn(Option<u8>, u8) -> bool| {
            self.named.iter().any(|(sport, sub)| cycling(sport) && is(*sport, sub.unwrap_or(0)))
        };
        let all = [
            (RiddenAs::EBike, said(&|sport, sub| sport == Some(E_BIKING) || WITH_MOTOR.contains(&sub))),
            (RiddenAs::Virtual, said(&|_, sub| sub == VIRTUAL)),
            (RiddenAs::Indoor, said(&|_, sub| INDOORS.contains(&sub))),
        ];
        all.into_iter().filter(|(_, said)| *said).map(|(how, _)| What::Slip(Slip::RiddenAs(how))).collect()
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
    fn a_file_says_how_it_was_ridden_and_a_plain_one_says_nothing() {
        let said = |sport: u8, sub_sport: u8| {
            let mut sports = Sports::default();
            sports.announce(&HashMap::from([(0, Value::Enum(sport)), (1, Value::Enum(sub_sport))]));
            let mut more = session(sport, 0, 9_000);
            more.insert(6, Value::Enum(sub_sport));
            sports.session(&more, None);
            sports.ridden_as()
        };
        let only = |how| vec![What::Slip(Slip::RiddenAs(how))];
        // Numbers of the FIT profile 21.218: road 7, track 13, spin 5, indoor 6, virtual 58, e-bikes 28, 47 and 127.
        assert_eq!((said(2, 0), said(2, 7), said(2, 13), said(1, 6)), (vec![], vec![], vec![], vec![]));
        assert_eq!((said(2, 5), said(2, 6)), (only(RiddenAs::Indoor), only(RiddenAs::Indoor)));
        assert_eq!((said(2, 58), said(21, 0)), (only(RiddenAs::Virtual), only(RiddenAs::EBike)));
        assert!([28, 47, 127].into_iter().all(|sub_sport| said(2, sub_sport) == only(RiddenAs::EBike)));
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
