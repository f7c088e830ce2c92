//! What a ride file holds, in words and tables for the terminal.
//!
//! Given an inspection and a width; gives plain text that fits it. It judges nothing that the inspection did not.

use super::number::{UNKNOWN, counted, fixed, significant};
use super::sparkline::sparkline;
use super::table::{Grid, paragraph};
use super::text::{LEAST_WIDTH, MOST_WIDTH, section};
use super::units::Units;
use crate::analysis::inspection::{ChannelHeld, Inspection, LapsHeld, Obstacle};
use crate::wording::harmless;

/// More laps than this are summed up instead of listed.
const LISTED_LAPS: usize = 40;

/// See the module.
pub fn inspection(held: &Inspection, width: usize, units: Units) -> String {
    let width = width.clamp(LEAST_WIDTH, MOST_WIDTH);
    let mut text = paragraph(&held.file, width, "");
    text.push_str(&paragraph(&extent(held), width, "  "));
    text.push_str(&paragraph(&judgement(held), width, "  "));
    section(&mut text, width, "Channels", &channels(held, units).text(width));
    section(&mut text, width, "Speed and power over time", &lines(held, width, units));
    section(&mut text, width, "Laps", &laps(held, width, units));
    section(&mut text, width, "What would spoil a test, and what to do", &obstacles(&held.obstacles, width, units));
    // What is an obstacle has been told above.
    let is_obstacle = |code: &str| held.obstacles.iter().any(|o| o.code == code);
    let told = |code: &str| is_obstacle(code) || (code == "speed-from-distance" && is_obstacle("no-speed"));
    let noted: Vec<String> = held
        .findings
        .iter()
        .filter(|f| !told(f.code))
        .map(|f| format!("{} [{}]", units.in_words(&f.message, &[]), f.code))
        .collect();
    section(&mut text, width, "Noticed while reading", &list(&noted, width));
    harmless(&text)
}

/// "5048 records over 1 h 24 min, every 1 s; begun 2024-11-08T11:33:20Z".
fn extent(held: &Inspection) -> String {
    let mut text = format!("{} over {}", counted(held.records, "record"), duration(held.duration_s));
    if let Some(usual) = held.sampling.intervals.first() {
        let share = if usual.share > 0.995 { String::new() } else { format!(" ({} of them)", share_text(usual.share)) };
        text.push_str(&format!(", every {} s{share}", significant(usual.interval_s, 3)));
    }
    let broken = |count: usize, longest_s: f64, one: &str| {
        format!("; {}, the longest {}", counted(count, one), duration(longest_s))
    };
    let longest = |spans: &[crate::analysis::inspection::Span]| spans.iter().map(|s| s.length_s()).fold(0.0, f64::max);
    if !held.gaps.is_empty() {
        text.push_str(&broken(held.gaps.len(), longest(&held.gaps), "break"));
    }
    if !held.pauses.is_empty() {
        text.push_str(&broken(held.pauses.len(), longest(&held.pauses), "pause"));
    }
    match &held.started {
        Some(started) => text.push_str(&format!("; begun {started}")),
        None => text.push_str("; the time of day is not known"),
    }
    text
}

fn judgement(held: &Inspection) -> String {
    let prevent = held.obstacles.iter().filter(|o| o.prevents).count();
    let weaken = held.obstacles.len() - prevent;
    match (prevent, weaken) {
        (0, 0) => "Can be solved; nothing in the file speaks against it.".into(),
        (0, _) => format!("Can be solved, but {} would weaken the result.", counted(weaken, "thing")),
        (_, 0) => format!("Cannot be solved as it is: {}, see below.", counted(prevent, "obstacle")),
        _ => format!(
            "Cannot be solved as it is: {}, see below; {} would weaken the result.",
            counted(prevent, "obstacle"),
            counted(weaken, "more thing")
        ),
    }
}

fn channels(held: &Inspection, units: Units) -> Grid {
    let mut grid = Grid::new(&["Channel", "Records", "Least", "Mean", "Most"]);
    for channel in &held.channels {
        let there = if channel.records == 0 { "none".into() } else { share_text(channel.coverage) };
        let cell = |x: Option<f64>| x.map_or(String::new(), |x| value(channel, x, units));
        grid.rows.push(vec![name(channel, units), there, cell(channel.min), cell(channel.mean), cell(channel.max)]);
    }
    grid
}

fn name(channel: &ChannelHeld, units: Units) -> String {
    match channel.channel {
        "position" => "position".into(),
        "speed" => format!("speed, {}", units.speed_unit()),
        "distance" | "altitude" => format!("{}, {}", channel.channel, units.length_unit()),
        "temperature" => format!("temperature, {}", units.temperature_unit()),
        other => format!("{other}, {}", channel.unit),
    }
}

fn value(channel: &ChannelHeld, value: f64, units: Units) -> String {
    match channel.channel {
        "speed" => fixed(Some(units.speed_value(value)), 1),
        "distance" | "altitude" => fixed(Some(units.length_value(value)), 0),
        "temperature" => fixed(Some(units.temperature_value(value)), 1),
        _ => fixed(Some(value), 0),
    }
}

fn lines(held: &Inspection, width: usize, units: Units) -> String {
    let run = &held.drawn.run;
    let speeds: Vec<f64> = run.speed_m_s.iter().map(|v| units.speed_value(*v)).collect();
    let mut text = String::new();
    for (name, values, unit) in [("speed", &speeds, units.speed_unit()), ("power", &run.power_w, "W")] {
        let room = width.saturating_sub("speed ".len());
        if let Some(line) = sparkline(&run.time_s, values, room) {
            text.push_str(&format!("{name} {}\n", line.text.trim_end()));
            let (low, high) = (fixed(Some(line.low), 0), fixed(Some(line.high), 0));
            let range =
                if low == high { format!("{low} {unit} throughout") } else { format!("{low} to {high} {unit}") };
            let means = format!("{range} (means of {})", duration(held.duration_s / room as f64));
            text.push_str(&paragraph(&means, width, "      "));
        }
    }
    text
}

fn laps(held: &Inspection, width: usize, units: Units) -> String {
    let laps = &held.laps;
    if held.moves == Some(false) {
        return paragraph("Positions stand still, so laps are not looked for.", width, "");
    }
    let mut text = paragraph(&how_found(laps, units), width, "");
    if !(1..=LISTED_LAPS).contains(&laps.count) {
        return text;
    }
    let speed = format!("Mean, {}", units.speed_unit());
    let mut grid =
        Grid::new(&["Lap", "From", "Time", &format!("Length, {}", units.length_unit()), &speed, "Mean, W", "Left out"]);
    for lap in &laps.laps {
        grid.rows.push(vec![
            lap.lap.to_string(),
            clock(lap.start_s),
            clock(lap.duration_s),
            fixed(Some(units.length_value(lap.distance_m)), 1),
            fixed(lap.mean_speed_m_s.map(|v| units.speed_value(v)), 1),
            fixed(lap.mean_power_w, 0),
            lap.reason.clone().unwrap_or_else(|| UNKNOWN.into()),
        ]);
    }
    text.push_str(&grid.without_empty(UNKNOWN).text(width));
    text
}

fn how_found(laps: &LapsHeld, units: Units) -> String {
    let marks = match (laps.device_marks, laps.device_lap_length_m) {
        (0, _) => "no lap marks".to_string(),
        (n, Some(length)) => format!("{}, repeating every {}", counted(n, "lap mark"), units.length(length)),
        (n, None) => format!("{} at no regular distance", counted(n, "lap mark")),
    };
    let (Some(by), Some(length)) = (laps.found_by, laps.length_m) else {
        return format!("None found; the file has {marks}.");
    };
    let how = match by {
        "positions" => "where positions pass one place again",
        "lap marks" => "at the lap marks of the device",
        _ => "by distance",
    };
    let mut text = format!(
        "{} of {}{}, cut {how}; {} usable. The file has {marks}.",
        counted(laps.count, "lap"),
        units.length(length),
        if laps.by_wheel { " by the speed channel" } else { "" },
        laps.usable
    );
    if let (Some(low), Some(high), true) = (laps.speed_min_m_s, laps.speed_max_m_s, laps.usable > 1) {
        text.push_str(&format!(
            " Lap speeds {} to {}, spread of their squares {}.",
            fixed(Some(units.speed_value(low)), 1),
            units.speed(high),
            laps.spread.map_or(UNKNOWN.into(), share_text)
        ));
    }
    text
}

fn obstacles(obstacles: &[Obstacle], width: usize, units: Units) -> String {
    let words = |o: &Obstacle| {
        let weight = if o.prevents { "Prevents: " } else { "" };
        format!("{weight}{} [{}]", units.in_words(&format!("{} {}", o.what, o.remedy), &[]), o.code)
    };
    list(&obstacles.iter().map(words).collect::<Vec<_>>(), width)
}

fn list(items: &[String], width: usize) -> String {
    items.iter().map(|item| paragraph(item, width, "  ").replacen("  ", "- ", 1)).collect()
}

fn share_text(share: f64) -> String {
    // What is not quite all or nothing never reads as all or nothing.
    match 100.0 * share {
        percent if share < 1.0 && percent >= 99.95 => "99.9 %".into(),
        percent if share > 0.0 && percent < 0.1 => "< 0.1 %".into(),
        percent => format!("{} %", significant((10.0 * percent).round() / 10.0, 4)),
    }
}

/// "1 h 24 min", "3 min 20 s", "42 s".
fn duration(seconds: f64) -> String {
    let whole = seconds.max(0.0).round() as u64;
    match (whole / 3600, whole % 3600 / 60, whole % 60) {
        (0, 0, _) => format!("{} s", significant(seconds.max(0.0), 2)),
        (0, minutes, seconds) => format!("{minutes} min {seconds} s"),
        (hours, minutes, _) => format!("{hours} h {minutes} min"),
    }
}

/// "1:24:07" or "24:07".
fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0).round() as u64;
    match (whole / 3600, whole % 3600 / 60, whole % 60) {
        (0, minutes, seconds) => format!("{minutes}:{seconds:02}"),
        (hours, minutes, seconds) => format!("{hours}:{minutes:02}:{seconds:02}"),
    }
}
