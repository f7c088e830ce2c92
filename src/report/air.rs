//! The density of moist air in words and as a table.
//!
//! Given a density with its parts; gives plain text. The unit stays kg/m³, as everywhere in this field.

use super::number::{fixed, significant};
use super::table::{Grid, paragraph};
use super::text::{LEAST_WIDTH, MOST_WIDTH, section};
use super::units::Units;
use crate::air::density::{DensityUncertainty, MoistAir, ReadingUncertainty};
use crate::analysis::Readings;
use crate::quantity::hpa_from_pa;
use crate::uncertainty::rounding::value_with_uncertainty;

/// A density with all that it was made from.
#[derive(Debug, Clone)]
pub struct DensityShown {
    pub readings: Readings,
    pub readings_u: ReadingUncertainty,
    pub air: MoistAir,
    pub uncertainty: DensityUncertainty,
}

/// See the module.
pub fn density(shown: &DensityShown, width: usize, units: Units) -> String {
    let width = width.clamp(LEAST_WIDTH, MOST_WIDTH);
    let (rho, u) = (shown.air.density_kg_m3, shown.uncertainty.combined_kg_m3);
    let value = value_with_uncertainty(rho, u).unwrap_or_else(|| significant(rho, 6));
    let share = significant(100.0 * u / rho, 2);
    let mut text = paragraph(
        &format!(
            "{value} kg/m³ (standard uncertainty, {share} %; an error of density moves CdA by the same share the other way)"
        ),
        width,
        "",
    );
    section(&mut text, width, "Made from", &made_from(shown, units).text(width));
    let said: Vec<String> = shown.readings.findings.iter().map(|what| units.in_words(&what.message(), &[])).collect();
    let said: String = said.iter().map(|s| paragraph(s, width, "  ").replacen("  ", "- ", 1)).collect();
    section(&mut text, width, "To bear in mind", &said);
    text
}

fn made_from(shown: &DensityShown, units: Units) -> Grid {
    let (readings, u) = (&shown.readings, &shown.readings_u);
    let from = &shown.uncertainty;
    let mut grid = Grid::new(&["Reading", "Value", "± u", "Moves density by, kg/m³"]);
    let mut row = |name: &str, value: String, u: String, moves: f64| {
        grid.rows.push(vec![name.into(), value, u, fixed(Some(moves), 5)]);
    };
    row(
        "temperature",
        units.in_words(&format!("{} °C", fixed(Some(readings.temperature_c), 1)), &[]),
        units.uncertainty(u.temperature_c, "°C"),
        from.from_temperature_kg_m3,
    );
    row(
        "station pressure",
        units.air_pressure(hpa_from_pa(readings.pressure_pa)),
        units.uncertainty(hpa_from_pa(u.pressure_pa), "hPa"),
        from.from_pressure_kg_m3,
    );
    row(
        "relative humidity, %",
        fixed(Some(readings.humidity_pct), 0),
        significant(u.humidity_pct, 3),
        from.from_humidity_kg_m3,
    );
    row("formula (CIPM-2007)", String::new(), String::new(), from.from_formula_kg_m3);
    grid
}
