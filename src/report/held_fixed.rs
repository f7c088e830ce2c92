//! Quantities of the model that were stated or taken as usual instead of estimated, with their standard uncertainties.
//!
//! Given the session, and the budget for uncertainties that depend on what had to be assumed; gives one line each. It
//! knows no result.

use super::number::significant;
use super::table::{Cell, Column, Table};
use super::units::Units;
use crate::session::{Session, Venue, WindMode};
use crate::solution::Solution;

/// One quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Fixed {
    pub name: String,
    /// With its unit; several when runs differ.
    pub value: String,
    /// With its unit, empty when it is taken as exact.
    pub uncertainty: String,
}

/// The lines as a table.
pub fn table(session: &Session, solution: &Solution, units: Units) -> Table {
    let mut table = Table::new(vec![
        Column::words("quantity", "Quantity"),
        Column::numbers("value", "Value"),
        Column::numbers("standard_uncertainty", "Standard uncertainty"),
    ]);
    for line in held_fixed(session, solution, units) {
        let uncertainty = if line.uncertainty.is_empty() { "–".to_string() } else { line.uncertainty };
        table.push(vec![Cell::Words(line.name), Cell::Words(line.value), Cell::Words(uncertainty)]);
    }
    table
}

/// See the module.
pub fn held_fixed(session: &Session, solution: &Solution, units: Units) -> Vec<Fixed> {
    let riders: Vec<_> = session.runs.iter().map(|run| session.rider_of(run)).collect();
    let u = &session.uncertainty;
    let spread = |pick: &dyn Fn(&crate::session::RiderAndBike) -> f64, show: &dyn Fn(f64) -> String| -> String {
        let values: Vec<f64> = riders.iter().map(pick).collect();
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        match (show(low), show(high)) {
            (low, high) if low == high => low,
            (low, high) => format!("{low} to {high}"),
        }
    };
    let with = |unit: &'static str| move |v: f64| units.in_words(&format!("{}{unit}", significant(v, 4)), &[]);
    // Of a temperature the difference counts.
    let within = |unit: &'static str| {
        move |u: f64| units.in_words(&format!("± {}{unit}", significant(u, 4)), &[]).replacen("± ", "", 1)
    };
    let line = |name: &str, value: String, uncertainty: String| Fixed { name: name.into(), value, uncertainty };
    let mut lines = vec![
        line("mass of rider, bicycle and kit", spread(&|r| r.mass_kg, &|v| units.mass(v)), within(" kg")(u.mass_kg)),
        line(
            "drivetrain efficiency",
            spread(&|r| r.drivetrain_efficiency, &with("")),
            with("")(u.drivetrain_efficiency),
        ),
        line("scale of power", "1".into(), percent(u.power_fraction)),
        line("scale of speed", "1".into(), percent(u.speed_fraction)),
        line(
            "bearing drag, constant part",
            spread(&|r| r.bearing_friction.constant_n, &with(" N")),
            percent(u.bearing_fraction),
        ),
        line(
            "bearing drag, part that grows with speed",
            spread(&|r| r.bearing_friction.linear_n_s_per_m, &with(" N s/m")),
            percent(u.bearing_fraction),
        ),
    ];
    let loops = session.runs.iter().any(|run| session.venue_of(run) != Venue::Rollers);
    if loops {
        lines.extend([
            line(
                "moment of inertia of both wheels",
                spread(&|r| r.wheel_inertia_kg_m2, &with(" kg m²")),
                with(" kg m²")(u.wheel_inertia_kg_m2),
            ),
            line("rolling radius", spread(&|r| r.wheel_radius_m, &with(" m")), String::new()),
            line(
                "height of the centre of mass",
                spread(&|r| r.centre_of_mass_height_m, &with(" m")),
                with(" m")(u.centre_of_mass_height_m),
            ),
        ]);
    }
    if loops {
        // What was not stated is less certain than the session's own figures; the budget has what was used.
        let used = |source: &str, stated: f64| {
            solution.budget.iter().find(|b| b.source == source).map_or(stated, |b| b.standard_uncertainty)
        };
        let air = &session.air;
        let value = |stated: Option<f64>, unit: &'static str| match stated {
            _ if air.log.is_some() => "from the weather log".to_string(),
            Some(stated) => with(unit)(stated),
            None => "not stated, see the findings".into(),
        };
        lines.extend([
            line(
                "air temperature",
                value(air.temperature_c, " °C"),
                within(" °C")(used("air temperature", u.temperature_c)),
            ),
            line("air pressure", value(air.pressure_hpa, " hPa"), with(" hPa")(used("air pressure", u.pressure_hpa))),
            line("humidity of the air", value(air.humidity_pct, " %"), with(" %")(used("humidity", u.humidity_pct))),
        ]);
        if session.wind.mode == WindMode::Given {
            lines.push(line("speed of the given wind", "as stated or logged".into(), percent(u.wind_fraction)));
        }
    }
    if let Some(rule) = solution.circuit.tyre_rule.filter(|_| loops) {
        let u = Some(rule.standard_uncertainty_per_c).filter(|u| *u > 0.0);
        let uncertainty = u.map_or(String::new(), with(" per °C"));
        lines.push(line("temperature coefficient of Crr", with(" per °C")(rule.coefficient_per_c), uncertainty));
    }
    if session.runs.iter().any(|run| session.venue_of(run) == Venue::Rollers) {
        let rollers = &session.rollers;
        let no_load = rollers.no_load_power_w_at_40_km_h;
        lines.extend([
            line("drum diameter", with(" m")(rollers.drum_diameter_m), with(" m")(u.drum_diameter_m)),
            line("distance between the drum axles", with(" m")(rollers.drum_spacing_m), with(" m")(u.drum_spacing_m)),
            line(
                "share of weight on the rear wheel",
                with("")(rollers.rear_weight_fraction),
                with("")(u.rear_weight_fraction),
            ),
            line(
                &units.in_words("no-load power of the drums at 40 km/h", &[]),
                no_load.map_or("0 W, not stated".into(), with(" W")),
                no_load.map_or(String::new(), |_| percent(u.no_load_fraction)),
            ),
        ]);
    }
    lines
}

fn percent(fraction: f64) -> String {
    format!("{} %", significant(fraction * 100.0, 3))
}
