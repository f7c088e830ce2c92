//! `loopwright air`.

use super::failure::Failure;
use super::flag_name::{Flag, of_flags};
use super::number::number;
use super::{Format, Units, output};
use clap::Args;
use loopwright::air::{DensityUncertainty, MoistAir, ReadingUncertainty, density_uncertainty, moist_air_density};
use loopwright::analysis::inspection::Noted;
use loopwright::analysis::readings;
use loopwright::error::Error;
use loopwright::quantity::{hpa_from_pa, pa_from_hpa};
use loopwright::report::air::{DensityShown, density};
use loopwright::session::{Air, Uncertainty};
use serde::Serialize;

/// Version of the JSON below.
const SCHEMA: u32 = 1;
/// Where roads are.
const ELEVATION: Flag = Flag {
    name: "--elevation-m",
    low: -450.0,
    high: 6000.0,
    hint: "elevation of the place in m above sea level; 1 ft is 0.3048 m",
};

/// The readings of the air; also taken by `demand`.
#[derive(Debug, Clone, Default, Args)]
pub struct AirFlags {
    /// In the shade
    #[arg(long, value_name = "C", value_parser = number, allow_negative_numbers = true)]
    pub temperature_c: Option<f64>,
    /// Station pressure, not reduced to sea level; left out, that of the standard atmosphere at --elevation-m
    #[arg(long, value_name = "HPA", value_parser = number)]
    pub pressure_hpa: Option<f64>,
    /// Relative humidity; 60 when left out
    #[arg(long, value_name = "PCT", value_parser = number)]
    pub humidity_pct: Option<f64>,
    /// Elevation of the place, to stand for the pressure or to check it
    #[arg(long, value_name = "M", value_parser = number, allow_negative_numbers = true)]
    pub elevation_m: Option<f64>,
}

/// Arguments of `air`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright air --temperature-c 18 --pressure-hpa 978 --humidity-pct 60
  loopwright air --temperature-c 31 --elevation-m 1620 --format json")]
pub struct AirArguments {
    #[command(flatten)]
    air: AirFlags,
    /// Standard uncertainty of the temperature [default: 0.5]
    #[arg(long, value_name = "C", value_parser = number)]
    uncertainty_temperature_c: Option<f64>,
    /// Standard uncertainty of the pressure [default: 1]
    #[arg(long, value_name = "HPA", value_parser = number)]
    uncertainty_pressure_hpa: Option<f64>,
    /// Standard uncertainty of the humidity [default: 5]
    #[arg(long, value_name = "PCT", value_parser = number)]
    uncertainty_humidity_pct: Option<f64>,
}

/// What is printed as JSON; uncertainties are standard uncertainties.
#[derive(Serialize)]
struct Printed {
    schema: u32,
    loopwright: &'static str,
    density_kg_m3: f64,
    standard_uncertainty_kg_m3: f64,
    temperature_c: f64,
    pressure_hpa: f64,
    humidity_pct: f64,
    temperature_uncertainty_c: f64,
    pressure_uncertainty_hpa: f64,
    humidity_uncertainty_pct: f64,
    parts: MoistAir,
    contributions: DensityUncertainty,
    findings: Vec<Noted>,
}

pub fn run(arguments: &AirArguments, format: Format, units: Units) -> Result<(), Failure> {
    let shown = arguments.density()?;
    match format {
        Format::Text => output::text(&density(&shown, output::width(), units.into())),
        Format::Json => output::json(&Printed {
            schema: SCHEMA,
            loopwright: env!("CARGO_PKG_VERSION"),
            density_kg_m3: shown.air.density_kg_m3,
            standard_uncertainty_kg_m3: shown.uncertainty.combined_kg_m3,
            temperature_c: shown.readings.temperature_c,
            pressure_hpa: hpa_from_pa(shown.readings.pressure_pa),
            humidity_pct: shown.readings.humidity_pct,
            temperature_uncertainty_c: shown.readings_u.temperature_c,
            pressure_uncertainty_hpa: hpa_from_pa(shown.readings_u.pressure_pa),
            humidity_uncertainty_pct: shown.readings_u.humidity_pct,
            parts: shown.air,
            contributions: shown.uncertainty,
            findings: shown.readings.findings.iter().map(Noted::from).collect(),
        }),
    }
}

impl AirFlags {
    /// Whether any reading was given.
    pub fn any(&self) -> bool {
        [self.temperature_c, self.pressure_hpa, self.humidity_pct, self.elevation_m].iter().any(Option::is_some)
    }

    /// The density of the readings, what was left out completed as for a ride.
    ///
    /// Errors: [`Error::Usage`] without temperature or without pressure and elevation, and those of [`Air::check`].
    pub fn density(&self, u: &Uncertainty) -> Result<DensityShown, Error> {
        let missing = |flag: &str, message: &str| Err(Error::Usage { flag: flag.into(), message: message.into() });
        if self.temperature_c.is_none() {
            return missing(
                "--temperature-c",
                "missing; a degree is a third of a per cent of density, so it is not guessed",
            );
        }
        if self.pressure_hpa.is_none() && self.elevation_m.is_none() {
            return missing(
                "--pressure-hpa",
                "missing; state it, or --elevation-m for that of the standard atmosphere",
            );
        }
        let air = Air {
            temperature_c: self.temperature_c,
            pressure_hpa: self.pressure_hpa,
            humidity_pct: self.humidity_pct,
            log: None,
        };
        air.check().map_err(of_flags)?;
        u.check().map_err(of_flags)?;
        ELEVATION.check_if(self.elevation_m)?;
        let readings = readings(&air, None, self.elevation_m);
        let least = readings.least_u;
        let readings_u = ReadingUncertainty {
            temperature_c: u.temperature_c.max(least.temperature_c),
            pressure_pa: pa_from_hpa(u.pressure_hpa.max(least.pressure_hpa)),
            humidity_pct: u.humidity_pct.max(least.humidity_pct),
        };
        let (t, p, h) = (readings.temperature_c, readings.pressure_pa, readings.humidity_pct);
        Ok(DensityShown {
            air: moist_air_density(t, p, h),
            uncertainty: density_uncertainty(t, p, h, readings_u),
            readings_u,
            readings,
        })
    }
}

impl AirArguments {
    fn density(&self) -> Result<DensityShown, Error> {
        let default = Uncertainty::default();
        self.air.density(&Uncertainty {
            temperature_c: self.uncertainty_temperature_c.unwrap_or(default.temperature_c),
            pressure_hpa: self.uncertainty_pressure_hpa.unwrap_or(default.pressure_hpa),
            humidity_pct: self.uncertainty_humidity_pct.unwrap_or(default.humidity_pct),
            ..default
        })
    }
}
