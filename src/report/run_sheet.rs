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
/// Before each run.
const CHECK: [&str; 6] = [
    "Set-up fitted as in the table; wheel turns freely, nothing rubs",
    "Front and rear tyre inflated to the written pressure, cold, in the shade",
    "Rider, bicycle, kit and bottles weighed together and written down",
    "Power meter set to zero",
    "Air temperature, station pressure, humidity and wind written down",
    "Recording started before the first lap and stopped after the last",
];
/// While riding.
const RIDE: [&str; 5] = [
    "The same line and the same position, hands in one place, on every lap",
    "No braking, no stop, nobody to follow; a spoiled lap is ridden again",
    "Change speed just after the gate, then hold it: steady power matters more than steady speed",
    "Ride past the gate after the last lap before slowing down",
    "Look where you are going: read the device before and after the run",
];

/// One row of the sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct SheetRun {
    number: usize,
    setup: String,
    /// "0:00" after the first run.
    start: String,
    file: String,
    task: String,
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
    laps: usize,
    length: Option<String>,
    is_track: bool,
    mass_unit: &'static str,
    pressure_unit: &'static str,
    temperature_unit: &'static str,
    wind_unit: &'static str,
    weigh_to: String,
    pack: &'a [&'static str],
    check: &'a [&'static str],
    ride: &'a [&'static str],
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
            SheetRun {
                number: run + 1,
                setup: name(plan, run, units),
                start: format!("{}:{:02}", minutes / 60, minutes % 60),
                file: format!("run-{}.fit", run + 1),
                task: task(plan, run, units),
            }
        })
        .collect();
    let imperial = units == Units::Imperial;
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
        laps: plan.laps_per_run,
        length: plan.circuit.length_m.map(|l| units.length(l)),
        is_track: plan.circuit.kind == Venue::Track,
        mass_unit: if imperial { "lb" } else { "kg" },
        pressure_unit: if imperial { "psi" } else { "bar" },
        temperature_unit: if imperial { "°F" } else { "°C" },
        wind_unit: if imperial { "mph" } else { "m/s" },
        weigh_to: units.mass(plan.uncertainty.mass_kg),
        pack: &PACK,
        check: &CHECK,
        ride: &RIDE,
        cautions: &CAUTIONS,
    }
}

/// Label of a run's set-up, or its id, with the level of every factor: what to set before the run.
fn name(plan: &Plan, run: usize, units: Units) -> String {
    let setup = plan.setup_of(run);
    let label = setup.map_or("", |s| s.label.trim());
    let name = if label.is_empty() { setup.map_or("", |s| s.id.as_str()) } else { label };
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
    let cycle: Vec<String> =
        plan.speeds_km_h.iter().map(|v| format!("{:.0}", units.speed_value(m_s_from_km_h(*v)))).collect();
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
mod tests {
    use super::*;

    fn plan() -> Plan {
        let text = "title = \"Two <tyres> | one road\"\norder = [\"a\", \"b\", \"b\", \"a\"]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\n\
                    rider_and_bike.mass_kg = 85.0\nloop.length_m = 1200.0\n[[setup]]\nid = \"a\"\nlabel = \"Amber & ochre\"\n\
                    cda_m2 = 0.3\ncrr = 0.0045\n[[setup]]\nid = \"b\"\ncda_m2 = 0.3\ncrr = 0.004\n";
        Plan::from_toml(text, "plan.toml").unwrap()
    }

    #[test]
    fn both_forms_hold_every_run_in_order_every_check_and_every_caution() {
        let targets = [LapTarget { speed_km_h: 29.0, power_w: 141.4 }, LapTarget { speed_km_h: 41.0, power_w: 329.0 }];
        let sheet = run_sheet(&plan(), &targets, Units::Metric).unwrap();
        // The template escapes a slash and an apostrophe, which a browser turns back.
        let html = sheet.html.replace("&#x2f;", "/").replace("&#x27;", "'");
        for form in [&sheet.markdown, &html] {
            let rows: Vec<usize> = (1..=4).map(|n| form.find(&format!("run-{n}.fit")).unwrap()).collect();
            assert!(rows.is_sorted());
            assert!(form.contains("29.0 km/h") && form.contains("141 W") && form.contains("329 W"));
            for line in CAUTIONS.iter().chain(&CHECK).chain(&RIDE).chain(&PACK) {
                assert!(form.contains(line), "{line}");
            }
        }
        assert!(sheet.markdown.contains("Amber & ochre") && sheet.html.contains("Amber &amp; ochre"));
        assert!(!sheet.html.contains("<tyres>"), "names are escaped");
        assert!(!sheet.markdown.contains("| one road"), "a bar would break the table");
    }

    #[test]
    fn every_run_has_its_levels_and_a_pressure_as_the_gauge_has_it() {
        let mut plan = plan();
        for (setup, kpa) in plan.setups.iter_mut().zip([480.0, 550.0]) {
            setup.factors.insert("pressure_kpa".into(), Stated::Quantity(kpa));
            setup.factors.insert("casing".into(), Stated::Kind("soft".into()));
        }
        let sheet = run_sheet(&plan, &[], Units::Metric).unwrap().markdown;
        assert_eq!(sheet.matches("casing soft, pressure 480 kPa (4.80 bar)").count(), 2, "{sheet}");
        assert_eq!(sheet.matches("pressure 550 kPa (5.50 bar)").count(), 2, "{sheet}");
        // 480 kPa is 69.6 psi by the definition of the pound and the inch.
        let sheet = run_sheet(&plan, &[], Units::Imperial).unwrap().markdown;
        assert!(sheet.contains("pressure 480 kPa (70 psi)"), "{sheet}");
    }

    #[test]
    fn imperial_sheets_ask_for_psi_and_pounds() {
        let sheet = run_sheet(&plan(), &[], Units::Imperial).unwrap();
        assert!(sheet.markdown.contains("psi") && sheet.markdown.contains("lb") && !sheet.markdown.contains(", bar"));
        // 29 km/h is 18.02 mph by the definition of the mile.
        assert!(sheet.markdown.contains("6 laps: 18, 25 mph in turn"), "{}", sheet.markdown);
    }
}
