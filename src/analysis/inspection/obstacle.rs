//! What would spoil a test, and what to do about it.
//!
//! Given what a file holds; gives obstacles, those that prevent a solution first. Thresholds are those of the solver
//! where it has one.

use super::channel::ChannelHeld;
use super::held::{Inspection, Obstacle};
use super::obstacle_list::List;
use crate::analysis::loop_findings::ENOUGH_LAPS;
use crate::error::Error;
use crate::finding::{Slip, What};
use crate::quantity::km_h_from_m_s;
use crate::solve::separation;
use crate::solve::speed_class::classify;
use crate::wording::{capitalised, counted};
use std::collections::BTreeMap;

/// Share of records with power from which the few that miss are bridged without harm (common practice, no source).
const POWER_COVERAGE: f64 = 0.99;
/// Share of records with a position from which chainage rests on enough of them (common practice, no source).
const POSITION_COVERAGE: f64 = 0.9;
/// Longest usual interval that still shows how speed and power change, s (common practice, no source).
const LONGEST_INTERVAL_S: f64 = 1.5;
/// Difference of speed and distance from which the importer says so.
const MISMATCH: f64 = 0.005;
/// Laps without which nothing closes.
const NEEDED_LAPS: usize = 2;

/// What only the recording or a trial solution can tell.
#[derive(Default)]
pub(super) struct Told {
    /// Speed had to be taken from distance.
    pub speed_from_distance: bool,
    /// Why a ride that stands still has no steady window.
    pub no_window: Option<Error>,
    /// Share of pedalled records in which power dropped out.
    pub drop_outs: Option<f64>,
    /// Why a trial solution failed.
    pub not_solved: Option<Error>,
    /// What a trial solution says.
    pub not_separable: Option<String>,
    pub implausible: Option<String>,
}

pub(super) fn obstacles(held: &Inspection, told: &Told) -> Vec<Obstacle> {
    let mut list = List::default();
    power(&mut list, held);
    speed(&mut list, held, told.speed_from_distance);
    if held.moves == Some(false) {
        list.weakens(
            "not-moving",
            "Positions stand still: this was ridden on rollers or a trainer, so there are no laps to find.",
            "For rollers say on = \"rollers\" in the run, or --kind rollers; a trainer tells nothing of tyres.",
        );
        if let Some(refusal) = &told.no_window {
            let (what, remedy) = parted(&refusal.to_string(), &held.file);
            list.prevents("no-steady-window", what, remedy);
        }
    } else {
        laps(&mut list, held);
        speeds(&mut list, held);
    }
    sampling(&mut list, held);
    tried(&mut list, held, told);
    list.preventing_first()
}

fn tried(list: &mut List, held: &Inspection, told: &Told) {
    if let Some(share) = told.drop_outs {
        list.weakens(
            What::Slip(Slip::PowerDropOuts { bridged: 0, lost: 0, share }).code(),
            format!(
                "Power drops to zero for single seconds while the rider pedals, in {:.1} % of the records; they are bridged.",
                100.0 * share
            ),
            "Look at battery and distance of the meter; above some per cent ride again.",
        );
    }
    if let Some(error) = &told.not_solved {
        let (what, remedy) = parted(&error.to_string(), &held.file);
        list.prevents("not-solved", what, remedy);
    }
    if let Some(why) = told.not_separable.as_ref().filter(|_| !list.has("one-speed")) {
        list.weakens("not-separable", why, "Ride more laps at two clearly different speeds.");
    }
    if let Some(what) = &told.implausible {
        list.weakens("implausible", what, "Tried with a rider of 85 kg: state the mass, and check what is named.");
    }
}

fn channel<'a>(held: &'a Inspection, name: &str) -> Option<&'a ChannelHeld> {
    held.channels.iter().find(|c| c.channel == name)
}

fn coverage(held: &Inspection, name: &str) -> f64 {
    channel(held, name).map_or(0.0, |c| c.coverage)
}

fn power(list: &mut List, held: &Inspection) {
    let pair = "Pair the power meter with this device, or give its own file as second_file.";
    let covered = coverage(held, "power");
    if covered == 0.0 {
        list.prevents("no-power", "There is no power.", pair);
    } else if channel(held, "power").and_then(|c| c.max).is_none_or(|w| w <= 0.0) {
        list.prevents(
            "power-all-zero",
            "Power is zero in every record.",
            "Wake the meter, set its zero and pair it anew.",
        );
    } else if covered < POWER_COVERAGE {
        list.weakens(
            "power-gaps",
            format!("Power is missing in {:.1} % of the records.", 100.0 * (1.0 - covered)),
            "Look at battery and distance of the meter; laps with a hole in power are not used.",
        );
    }
}

fn speed(list: &mut List, held: &Inspection, from_distance: bool) {
    let wheel = "Use a wheel sensor with a measured roll-out.";
    if coverage(held, "speed") == 0.0 && coverage(held, "distance") == 0.0 {
        list.prevents(
            "no-speed",
            "There is neither speed nor distance.",
            format!("{wheel} Its file may be the second_file."),
        );
    } else if !held.drawn.run.speed_m_s.iter().any(|v| *v > 0.0) {
        list.prevents(
            "no-speed",
            "Speed is zero or missing in every record, and distance does not grow.",
            format!("{wheel} Check that it is paired."),
        );
    } else if from_distance {
        list.weakens(
            "speed-from-distance",
            "There is no speed channel; speed has to be taken from distance, which is noisier.",
            wheel,
        );
    }
    if let Some(ratio) = held.speed_over_distance.filter(|r| (r - 1.0).abs() > MISMATCH) {
        list.weakens(
            "speed-distance-mismatch",
            format!(
                "Speed adds up to {:.2} % {} than the distance channel; CdA moves by about three times that.",
                100.0 * (ratio - 1.0).abs(),
                if ratio < 1.0 { "less" } else { "more" }
            ),
            "Find out which of the two comes from the wheel, measure the roll-out and correct the other.",
        );
    }
}

fn laps(list: &mut List, held: &Inspection) {
    let laps = &held.laps;
    if let Some(refusal) = &laps.refusal {
        let (what, remedy) = parted(refusal, &held.file);
        let rollers = match coverage(held, "position") {
            0.0 => " If it was ridden on rollers nothing is wrong: say on = \"rollers\" in the run, or --kind rollers.",
            _ => "",
        };
        list.prevents("no-laps", what, format!("{remedy}{rollers}"));
        return;
    }
    let whole =
        if laps.count == 1 { "One lap was found".to_string() } else { format!("{} laps were found", laps.count) };
    let reasons = left_out(held);
    let because = if reasons.is_empty() { String::new() } else { format!(" ({reasons})") };
    if laps.count < NEEDED_LAPS {
        list.prevents(
            "too-few-laps",
            format!("{whole}, two or more are needed."),
            "Ride more laps past one point, without stopping.",
        );
    } else if laps.usable < NEEDED_LAPS {
        list.prevents(
            "too-few-laps",
            match laps.usable {
                0 => format!("{whole}, but none can be used{because}; two or more are needed."),
                n => format!("{whole}, but only {n} can be used{because}; two or more are needed."),
            },
            "Ride more laps and keep them whole: no stops, no pauses, no lost sensor.",
        );
    } else {
        if laps.usable < laps.count {
            list.weakens(
                "laps-left-out",
                format!("{} of {} laps cannot be used{because}.", laps.count - laps.usable, laps.count),
                "Ride without stops and pauses, and keep to one line.",
            );
        }
        if laps.usable < ENOUGH_LAPS {
            list.weakens(
                "few-laps",
                format!("{} usable laps give wide intervals.", laps.usable),
                "Ride at least eight laps for each set-up.",
            );
        }
    }
    let positions = coverage(held, "position");
    if laps.found_by == Some("positions") && positions < POSITION_COVERAGE {
        list.weakens(
            "position-gaps",
            format!("Positions are missing in {:.0} % of the records.", 100.0 * (1.0 - positions)),
            "Wait for a fix before starting and carry the device where it sees the sky.",
        );
    }
    if laps.found_by == Some("distance") {
        list.weakens(
            "laps-by-distance",
            "Laps can only be cut by distance, which drifts with the line ridden.",
            "Press the lap button at the line, or record positions.",
        );
    }
}

fn left_out(held: &Inspection) -> String {
    let mut reasons: BTreeMap<&str, usize> = BTreeMap::new();
    for reason in held.laps.laps.iter().filter_map(|l| l.reason.as_deref()) {
        *reasons.entry(reason).or_default() += 1;
    }
    let counted: Vec<String> = reasons.iter().map(|(reason, n)| format!("{n} × {reason}")).collect();
    counted.join(", ")
}

fn speeds(list: &mut List, held: &Inspection) {
    let usable: Vec<f64> =
        held.laps.laps.iter().filter(|l| l.reason.is_none()).filter_map(|l| l.mean_speed_m_s).collect();
    let (Some(low), Some(high), Some(spread)) = (held.laps.speed_min_m_s, held.laps.speed_max_m_s, held.laps.spread)
    else {
        return;
    };
    // The solver's own rule, with an interval that does not count.
    let evidence = separation::Evidence {
        crr_half_width: 0.0,
        expected_share: 0.0,
        spread,
        speed_min_m_s: low,
        speed_max_m_s: high,
    };
    if separation::not_separable(&evidence, &classify(&usable, &vec![None; usable.len()])).is_some() {
        list.weakens(
            "one-speed",
            format!(
                "Lap speeds are nearly the same ({:.1} to {:.1} km/h), so CdA and Crr cannot be told apart.",
                km_h_from_m_s(low),
                km_h_from_m_s(high)
            ),
            "Ride alternate laps at two clearly different speeds, such as 28 and 40 km/h.",
        );
    }
}

fn sampling(list: &mut List, held: &Inspection) {
    if let Some(usual) = held.sampling.usual_interval_s.filter(|s| *s > LONGEST_INTERVAL_S) {
        list.weakens(
            "slow-recording",
            format!("Most records are {usual:.0} s apart."),
            "Set the device to record every second.",
        );
    } else if let Some(share) = held.sampling.intervals.first().map(|i| i.share).filter(|s| *s < 0.9) {
        list.weakens(
            "irregular-recording",
            format!("Only {:.0} % of the records follow at the usual interval.", 100.0 * share),
            "Set the device to record every second, not only when something changes.",
        );
    }
    if !held.gaps.is_empty() {
        let longest = held.gaps.iter().map(|g| g.length_s()).fold(0.0, f64::max);
        list.weakens(
            "gaps",
            format!("The record is broken in {}, the longest for {longest:.0} s.", counted(held.gaps.len(), "place")),
            "Switch automatic pausing off and do not stop within a lap; a lap with a break is not used.",
        );
    }
}

/// What and remedy of an error message; the place in front is the heading already.
fn parted(message: &str, file: &str) -> (String, String) {
    let message = message.strip_prefix(&format!("{file}: ")).unwrap_or(message);
    let (what, remedy) = message.split_once("; ").unwrap_or((message, "see above"));
    (sentence(what), sentence(remedy))
}

/// A part of an error message as a sentence.
fn sentence(part: &str) -> String {
    format!("{}.", capitalised(part.trim_end_matches('.')))
}
