//! The tables of runs: those on a loop by laps, lag, wind and air; those on rollers by window and what it gave.
//!
//! Given the runs; gives rows of text without the columns in which nothing is known. It counts laps and computes nothing
//! else.

use super::laps_left_out;
use super::number::{UNKNOWN, fixed, measured, significant};
use super::table::Grid;
use super::units::Units;
use super::verdict::name_of;
use crate::solution::{RunResult, Solution};

/// How much room there is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detail {
    /// A terminal: what is needed to judge a run.
    Brief,
    /// A page: everything that is known of it.
    Full,
}

/// A run with its number, from 1.
struct Numbered<'a> {
    number: usize,
    run: &'a RunResult,
}

fn runs_where<'a>(
    solution: &'a Solution,
    wanted: impl Fn(&RunResult) -> bool + 'a,
) -> impl Iterator<Item = Numbered<'a>> {
    let numbered = solution.runs.iter().enumerate().map(|(k, run)| Numbered { number: k + 1, run });
    numbered.filter(move |n| wanted(n.run))
}

fn is_on_rollers(run: &RunResult) -> bool {
    run.venue == "rollers"
}

/// Runs on a loop or track; empty when there are none.
pub fn on_loop(solution: &Solution, units: Units, detail: Detail) -> Grid {
    let mut grid = Grid::new(match detail {
        Detail::Brief => &["Run", "Set-up", "Laps", "Lag ± se, s", "Wind, m/s", "kg/m³", "Mass"],
        Detail::Full => &[
            "Run",
            "Set-up",
            "Started",
            "Laps used",
            "Lag ± se, s",
            "Wind, m/s",
            "Air, kg/m³",
            "Air, °C",
            "Mass",
            "Tyres front / rear",
        ],
    });
    for Numbered { number, run } in runs_where(solution, |run| !is_on_rollers(run)) {
        let used = laps_left_out::used(run);
        grid.rows.push(match detail {
            Detail::Brief => vec![
                format!("{number} {}", run.file),
                run.setup.clone(),
                if run.laps.is_empty() { UNKNOWN.into() } else { format!("{used}/{}", run.laps.len()) },
                measured(&run.lag_s),
                wind(run),
                fixed(run.air_density_kg_m3, 3),
                units.mass(run.mass_kg),
            ],
            Detail::Full => vec![
                number.to_string(),
                name_of(solution, &run.setup),
                started(run),
                if run.laps.is_empty() { UNKNOWN.into() } else { format!("{used} of {}", run.laps.len()) },
                measured(&run.lag_s),
                wind(run),
                fixed(run.air_density_kg_m3, 3),
                fixed(run.temperature_c, 1),
                units.mass(run.mass_kg),
                tyres(run, units),
            ],
        });
    }
    grid.without_empty(UNKNOWN)
}

/// Runs on rollers; empty when there are none. A run that was left out has no window.
pub fn on_rollers(solution: &Solution, units: Units, detail: Detail) -> Grid {
    let speed = format!("Speed, {}", units.speed_unit());
    let mut grid = match detail {
        Detail::Brief => Grid::new(&["Run", "Set-up", "Window, s", &speed, "W", "Crr ± se", "Mass"]),
        Detail::Full => Grid::new(&[
            "Run",
            "Set-up",
            "Started",
            "Window, s",
            "Warm-up time constant, s",
            &speed,
            "Power, W",
            "Crr on the drums",
            "Crr on the flat ± se",
            "Mass",
            "Tyres front / rear",
        ]),
    };
    for Numbered { number, run } in runs_where(solution, is_on_rollers) {
        let window = run.window.as_ref();
        let of = |pick: &dyn Fn(&crate::solution::RollerWindow) -> String| window.map_or(UNKNOWN.into(), pick);
        let span = of(&|w| format!("{} to {}", fixed(Some(w.from_s), 0), fixed(Some(w.to_s), 0)));
        let speed = of(&|w| fixed(Some(units.speed_value(w.mean_speed_m_s)), 1));
        let power = of(&|w| fixed(Some(w.mean_power_w), 1));
        let crr = of(&|w| measured(&w.crr));
        grid.rows.push(match detail {
            Detail::Brief => vec![
                format!("{number} {}", run.file),
                run.setup.clone(),
                span,
                speed,
                power,
                crr,
                units.mass(run.mass_kg),
            ],
            Detail::Full => vec![
                number.to_string(),
                name_of(solution, &run.setup),
                started(run),
                span,
                of(&|w| w.time_constant_s.map_or(UNKNOWN.into(), |tau| fixed(Some(tau), 0))),
                speed,
                power,
                of(&|w| significant(w.crr_drum, 4)),
                crr,
                units.mass(run.mass_kg),
                tyres(run, units),
            ],
        });
    }
    grid.without_empty(UNKNOWN)
}

fn started(run: &RunResult) -> String {
    run.started.as_deref().map_or(UNKNOWN.into(), |s| s.replace('T', " ").replace('Z', " UTC"))
}

fn tyres(run: &RunResult, units: Units) -> String {
    run.tyre_pressure_kpa
        .map_or(UNKNOWN.into(), |p| format!("{} / {}", units.pressure(p.front), units.pressure(p.rear)))
}

fn wind(run: &RunResult) -> String {
    let speed = run.wind.speed_m_s.filter(|v| v.is_finite());
    let from = run.wind.from_deg.filter(|v| v.is_finite());
    match (speed, from) {
        (Some(speed), _) if speed == 0.0 && run.wind.east_m_s.se.is_none() => "held still".into(),
        (Some(speed), Some(from)) => format!("{} from {}°", fixed(Some(speed), 1), fixed(Some(from), 0)),
        (Some(_), None) if run.wind.along_m_s.value.is_some() => {
            format!("{} along, {} across", fixed(run.wind.along_m_s.value, 1), fixed(run.wind.across_m_s.value, 1))
        }
        (Some(speed), None) => fixed(Some(speed), 1),
        _ => UNKNOWN.into(),
    }
}
