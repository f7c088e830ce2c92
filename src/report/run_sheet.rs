//! The run sheet: one printable page to take along, with the order, targets, checks and space to write.
//!
//! Given a plan and the powers its laps ask for; gives Markdown and HTML. It decides nothing: everything on it is in the
//! plan or is common practice of testing.

use super::cautions::CAUTIONS;
use super::units::Units;
use crate::error::Error;
use crate::forecast::LapTarget;
use crate::plan::Plan;
use crate::quantity::m_s_from_km_h;
use crate::session::Venue;
use crate::session::factors::{Stated, Unit, shown_name};
use minijinja::value::{Serde, Value};
use minijinja::{AutoEscape, Environment, UndefinedBehavior};
use serde::Serialize;

/// Before leaving home.
const PACK: [&str; 5] = [
    "Scale, pump with a gauge you trust, thermometer in the shade, a phone or barometer that shows station pressure",
    "All set-ups, fitted once and checked; the same bottles, helmet, clothes and bags for every run",
    "Recording every second, pauses by themselves switched off, wheel sensor paired, circumference entered",
    "Power meter warmed to the air outside for half an hour",
    "Leave to ride there, and somebody who knows where you are",
];
/// One row of the sheet: what the plan says and boxes to write in.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct SheetRun {
    cells: Vec<Cell>,
}

/// One cell, with the head of its column: on a narrow screen a run is a card of labelled boxes.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Cell {
    label: String,
    text: String,
    /// A box to write in, as wide as this many letters; 0 for what is printed.
    write: usize,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
struct SheetTarget {
    speed: String,
    power: String,
}

/// The words and numbers of the sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Sheet<'a> {
    title: String,
    runs: Vec<SheetRun>,
    targets: Vec<SheetTarget>,
    length: Option<String>,
    is_track: bool,
    weigh_to: String,
    /// What the box below the table is for.
    odd: &'static str,
    pack: &'a [&'static str],
    check: Vec<&'static str>,
    ride: Vec<&'static str>,
    cautions: &'a [&'static str],
}

/// The two forms of the run sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunSheet {
    pub markdown: String,
    /// One page that needs no other file.
    pub html: String,
}

/// Fills in the run sheet of a plan. The same plan gives the same bytes.
///
/// Errors: [`Error::Page`], a fault of the program.
pub fn run_sheet(plan: &Plan, targets: &[LapTarget], units: Units) -> Result<RunSheet, Error> {
    let sheet = sheet(plan, targets, units);
    Ok(RunSheet {
        markdown: filled(include_str!("run_sheet.md"), &sheet, AutoEscape::None)?,
        html: filled(include_str!("run_sheet.html"), &sheet, AutoEscape::Html)?,
    })
}

fn sheet<'a>(plan: &Plan, targets: &[LapTarget], units: Units) -> Sheet<'a> {
    let mut offset_s = 0.0;
    let runs = (0..plan.order.len())
        .map(|run| {
            let minutes = (offset_s / 60.0_f64).ceil() as u64;
            offset_s += plan.nominal_duration_s(run) + plan.pause_between_runs_s;
            SheetRun { cells: cells(plan, run, &format!("{}:{:02}", minutes / 60, minutes % 60), units) }
        })
        .collect();
    Sheet {
        title: if plan.title.trim().is_empty() { "Test day".into() } else { printable(&plan.title) },
        runs,
        targets: targets
            .iter()
            .map(|t| SheetTarget {
                speed: units.speed(m_s_from_km_h(t.speed_km_h)),
                power: format!("{:.0} W", t.power_w),
            })
            .collect(),
        length: plan.circuit.length_m.map(|l| units.length(l)),
        is_track: plan.circuit.kind == Venue::Track,
        weigh_to: units.mass(plan.uncertainty.mass_kg),
        odd: if on_rollers(plan) == plan.order.len() { "Anything odd" } else { "Spoiled laps and anything odd" },
        pack: &PACK,
        check: check(plan),
        ride: ride(plan),
        cautions: &CAUTIONS,
    }
}

fn on_rollers(plan: &Plan) -> usize {
    (0..plan.order.len()).filter(|run| plan.venue_of(*run) == Venue::Rollers).count()
}

/// Before each run.
fn check(plan: &Plan) -> Vec<&'static str> {
    let stated = |setup: &crate::plan::PlannedSetup| setup.factors.keys().any(|key| key.contains("pressure"));
    vec![
        "Set-up fitted as in the table; wheel turns freely, nothing rubs",
        match plan.setups.iter().all(stated) {
            true => "Front and rear tyre inflated to the pressure in the table, cold, in the shade",
            false => "Front and rear tyre inflated, cold, in the shade, and their pressures written down",
        },
        "Rider, bicycle, kit and bottles weighed together and written down",
        "Power meter set to zero",
        match on_rollers(plan) == plan.order.len() {
            true => "Air temperature, station pressure and humidity written down",
            false => "Air temperature, station pressure, humidity and wind written down",
        },
        match on_rollers(plan) == plan.order.len() {
            true => "Recording started before the drums turn and stopped after they stand",
            false => "Recording started before the first lap and stopped after the last",
        },
    ]
}

/// While riding: only what the plan asks for.
fn ride(plan: &Plan) -> Vec<&'static str> {
    let looking = "Look where you are going: read the device before and after the run";
    if on_rollers(plan) == plan.order.len() {
        return vec![
            "The same place on the drums and the same position, hands in one place, in every run",
            "No braking, no stop; a run that was broken off is ridden again",
            "One speed from begin to end: steady power matters more than steady speed",
            looking,
        ];
    }
    let aims = if plan.powers_w.is_empty() { &plan.speeds_km_h } else { &plan.powers_w };
    let one_aim = aims.iter().all(|aim| aims.first() == Some(aim));
    vec![
        "The same line and the same position, hands in one place, on every lap",
        "No braking, no stop, nobody to follow; a spoiled lap is ridden again",
        match one_aim {
            true => "One effort from the first gate to the last: steady power matters more than steady speed",
            false => "Change speed just after the gate, then hold it: steady power matters more than steady speed",
        },
        "Ride past the gate after the last lap before slowing down",
        looking,
    ]
}

/// The row of a run: what to do, then boxes for what only the day tells, the file last.
fn cells(plan: &Plan, run: usize, start: &str, units: Units) -> Vec<Cell> {
    let imperial = units == Units::Imperial;
    let said = |label: &str, text: String| Cell { label: label.into(), text, write: 0 };
    let write = |label: String, letters| Cell { label, text: String::new(), write: letters };
    let mut cells = vec![
        said("Run", (run + 1).to_string()),
        said("Start", start.into()),
        said("Set-up", name(plan, run, units)),
        said("Ride", task(plan, run, units)),
        write(format!("Mass, {}", if imperial { "lb" } else { "kg" }), 6),
    ];
    let of_tyres = if imperial { "psi" } else { "bar" };
    cells.extend(["Front", "Rear"].map(|tyre| write(format!("{tyre}, {of_tyres}"), 5)));
    cells.push(write(format!("Air, {}", units.temperature_unit()), 5));
    cells.push(write(format!("Pressure, {}", units.air_pressure_unit()), 6));
    cells.push(write("Humidity, %".into(), 4));
    let wind = format!("Wind, {} from", units.wind_unit());
    match (plan.venue_of(run) == Venue::Rollers, on_rollers(plan) == plan.order.len()) {
        (_, true) => {}
        // Indoors there is none.
        (true, false) => cells.push(said(&wind, "–".into())),
        (false, false) => cells.push(write(wind, 8)),
    }
    cells.push(said("File", format!("run-{}.fit", run + 1)));
    cells
}

/// Label of a run's set-up, or its id, with the level of every factor: what to set before the run.
fn name(plan: &Plan, run: usize, units: Units) -> String {
    let setup = plan.setup_of(run);
    let name = setup.map_or("", |s| s.name());
    let levels = setup.iter().flat_map(|s| &s.factors).map(|(key, level)| match level {
        Stated::Kind(kind) => format!("{} {kind}", shown_name(key)),
        Stated::Quantity(x) => {
            let unit = Unit::of_key(key);
            let shown = unit.map_or("", |u| u.shown);
            // As the columns of the sheet have it, and most gauges.
            let on_gauge = match unit.is_some_and(|u| u.key == "kpa") {
                true => format!(" ({})", units.pressure(*x)),
                false => String::new(),
            };
            format!("{} {x} {shown}{on_gauge}", shown_name(key)).trim_end().to_string()
        }
    });
    printable(&std::iter::once(name.to_string()).chain(levels).collect::<Vec<_>>().join(", "))
}

/// Names come from a file: what would break a table or steer a printer is left out.
fn printable(text: &str) -> String {
    text.chars().map(|c| if c == '|' { '/' } else { c }).filter(|c| !c.is_control()).collect()
}

fn task(plan: &Plan, run: usize, units: Units) -> String {
    if plan.venue_of(run) == Venue::Rollers {
        let speed = plan.rollers_speed_km_h.or(plan.speeds_km_h.first().copied()).unwrap_or(0.0);
        return format!("rollers, {:.0} min at {}", plan.run_duration_s / 60.0, units.speed(m_s_from_km_h(speed)));
    }
    let laps = if plan.laps_per_run == 1 { "lap" } else { "laps" };
    let in_turn = |cycle: &[String], unit: &str| match cycle {
        [one] => format!("{} {laps}: {one} {unit}", plan.laps_per_run),
        several => format!("{} {laps}: {} {unit} in turn", plan.laps_per_run, several.join(", ")),
    };
    if !plan.powers_w.is_empty() {
        let cycle: Vec<String> = plan.powers_w.iter().map(|w| format!("{w:.0}")).collect();
        return in_turn(&cycle, "W");
    }
    // To the same digit as the targets above the table.
    let cycle: Vec<String> =
        plan.speeds_km_h.iter().map(|v| format!("{:.1}", units.speed_value(m_s_from_km_h(*v)))).collect();
    in_turn(&cycle, units.speed_unit())
}

fn filled(template: &str, sheet: &Sheet, escape: AutoEscape) -> Result<String, Error> {
    let fault = |e: minijinja::Error| Error::Page { reason: format!("{e:#}") };
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_auto_escape_callback(move |_| escape.clone());
    environment.add_template("sheet", template).map_err(fault)?;
    let mut text =
        environment.get_template("sheet").and_then(|t| t.render(Value::from(Serde(sheet)))).map_err(fault)?;
    text.push('\n');
    Ok(text)
}

#[cfg(test)]
#[path = "run_sheet_tests.rs"]
mod tests;
