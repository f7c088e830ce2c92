//! A standing in words: who is fastest, the next best and the others, and what may be chance.
//!
//! Given a standing and how set-ups are called; gives sentences, the same for one day and for several together.

use super::super::number::significant;
use super::names::NAMED;
use super::pair::{in_words, judged, watts};
use crate::standing::{Ground, Pair, Shown, Standing};
use crate::wording::{counted, venue_name};

/// How things are called.
pub struct Voice<'a> {
    pub name: &'a dyn Fn(&str) -> String,
    /// "at 40 km/h".
    pub at: String,
    /// "loop" or "track".
    pub on: &'a str,
    /// Whether the venue is worth a word.
    pub mixed: bool,
    /// Whether something must be looked at before any number is believed, so that no difference is called real as it stands.
    pub doubted: bool,
}

impl Voice<'_> {
    fn is(&self) -> &'static str {
        if self.doubted { "would be" } else { "is" }
    }
}

/// "On the rollers: ".
pub fn place(standing: &Standing) -> String {
    match &standing.ground {
        Ground::Venue(venue) if venue == "rollers" => "On rollers: ".into(),
        Ground::Venue(venue) => format!("On the {}: ", venue_name(venue)),
        Ground::Only | Ground::Together => String::new(),
    }
}

/// The answer in one sentence.
pub fn headline(voice: &Voice, standing: &Standing) -> String {
    let at = &voice.at;
    let whole = match standing.ground {
        Ground::Together => format!("On {} and rollers together: ", voice.on),
        _ if voice.mixed => place(standing),
        _ => String::new(),
    };
    let name = voice.name;
    let Some(pair) = standing.leading() else {
        return format!("{whole}{} came out fastest {at}, but nothing says by how much.", name(&standing.order[0]));
    };
    let fastest = match (standing.order.len(), pair.faster == standing.baseline) {
        (2, _) => name(&pair.faster),
        (n, true) => format!("{}, the baseline, is the fastest of {n}", name(&pair.faster)),
        (n, false) => format!("{} is the fastest of {n}", name(&pair.faster)),
    };
    let baseline = |id: &str| {
        let is_next = standing.order.len() > 2 && standing.order[1] == id;
        let next = if is_next { ", the next best" } else { "" };
        format!("{}{next}", name(id))
    };
    let what = in_words(standing.watts);
    match pair.shown {
        Shown::Real if standing.order.len() == 2 => format!(
            "{whole}{fastest} is faster than {}: {at} it needs {} {what}less, and that {} real{}.",
            name(&pair.slower),
            watts(&pair.watts),
            voice.is(),
            judged(pair)
        ),
        Shown::Real => format!(
            "{whole}{fastest}: {at} it needs {} {what}less than {}, and that {} real{}.",
            watts(&pair.watts),
            baseline(&pair.slower),
            voice.is(),
            judged(pair)
        ),
        Shown::Equivalent => format!(
            "{whole}{} and {} are as fast as each other {at}: {} {what}between them is less than what was stated to matter.",
            name(&pair.faster),
            name(&pair.slower),
            watts(&pair.watts)
        ),
        Shown::Open if standing.with_baseline.iter().any(|p| p.shown == Shown::Real) => format!(
            "{whole}{} and {} lead {at} and cannot be told apart: {} {what}between them may be chance.",
            name(&pair.faster),
            name(&pair.slower),
            watts(&pair.watts)
        ),
        Shown::Open => format!(
            "{whole}No set-up is shown to be faster: {at} {} came out {} {what}below {}, which may be chance.",
            name(&pair.faster),
            watts(&pair.watts),
            name(&pair.slower)
        ),
    }
}

/// The next best, then what the headline has not named.
pub fn others(voice: &Voice, standing: &Standing) -> Vec<String> {
    let name = voice.name;
    let what = in_words(standing.watts);
    let mut said = Vec::new();
    let leading = standing.leading();
    if let Some(next) = standing.best_two.as_ref().filter(|next| Some(*next) != leading) {
        let other = if next.faster == standing.order[0] { &next.slower } else { &next.faster };
        said.push(match next.shown {
            Shown::Real => format!(
                "Against the next best, {}, it needs {} {what}less, which {} real too{}.",
                name(other),
                watts(&next.watts),
                voice.is(),
                judged(next)
            ),
            Shown::Equivalent => {
                format!("The next best, {}, is as fast ({} {what}between them).", name(other), watts(&next.watts))
            }
            Shown::Open => format!(
                "Against the next best, {}, it needs {} {what}less, which may be chance.",
                name(other),
                watts(&next.watts)
            ),
        });
    }
    let named = leading.map(|p| [p.faster.clone(), p.slower.clone()]).unwrap_or_default();
    let rest: Vec<&Pair> =
        standing.with_baseline.iter().filter(|p| !(named.contains(&p.faster) && named.contains(&p.slower))).collect();
    for pair in rest.iter().take(NAMED) {
        let faster = pair.slower == standing.baseline;
        let (other, direction) = if faster { (&pair.faster, "less") } else { (&pair.slower, "more") };
        let verdict = match pair.shown {
            Shown::Real => format!("which {} real{}", voice.is(), judged(pair)),
            Shown::Equivalent => "too little to matter".into(),
            Shown::Open => "which may be chance".into(),
        };
        let (other, baseline) = (name(other), name(&standing.baseline));
        said.push(format!("{other} needs {} {what}{direction} than {baseline}, {verdict}.", watts(&pair.watts)));
    }
    if rest.len() > NAMED {
        said.push(format!("{} more are in the table.", rest.len() - NAMED));
    }
    said
}

/// Pairs that may be chance, each with the smallest difference that would have shown.
pub fn not_shown(voice: &Voice, standing: &Standing) -> Vec<String> {
    let name = voice.name;
    let mut pairs: Vec<&Pair> = standing.with_baseline.iter().chain(&standing.best_two).collect();
    pairs.retain(|p| p.shown == Shown::Open);
    pairs.dedup_by(|a, b| a.faster == b.faster && a.slower == b.slower);
    let mut said: Vec<String> = pairs
        .iter()
        .take(NAMED)
        .map(|pair| {
            let least = match pair.detectable_w {
                Some(w) => format!("; such a test finds {} W or more in four of five repeats", significant(w, 2)),
                None => String::new(),
            };
            format!("{}Whether {} differs from {}{least}.", place(standing), name(&pair.faster), name(&pair.slower))
        })
        .collect();
    if pairs.len() > NAMED {
        said.push(format!("The same of {}.", counted(pairs.len() - NAMED, "more pair")));
    }
    said
}
