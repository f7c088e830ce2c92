//! `loopwright demand`.

use super::air::AirFlags;
use super::demand_printed::{Printed, PrintedOutlook, PrintedPaceOutlook, printed};
use super::failure::Failure;
use super::flag_name::{Flag, of_flags};
use super::number::number;
use super::{Format, Units, output, results};
use clap::{ArgGroup, Args};
use loopwright::demand::{Conditions, Pace, Parameters, demand_at, over_distance};
use loopwright::error::Error;
use loopwright::outlook::{Ride, outlook};
use loopwright::quantity::m_s_from_km_h;
use loopwright::report::demand::{PaceShown, Ridden, demand};
use loopwright::report::outlook::{self as report_outlook, PaceOutlook};
use loopwright::session::credible::{doubtful_crr, doubtful_mass};
use loopwright::session::{Reference, RiderAndBike, Uncertainty};
use std::path::{Path, PathBuf};

/// Version of the JSON below.
const SCHEMA: u32 = 1;

const CRR: &str = "a fraction of the weight: road tyres have 0.002 to 0.008";
const CDA: &str = "drag area in m²: riders have 0.18 to 0.5";

/// Arguments of `demand`.
#[derive(Debug, Args)]
#[command(group = ArgGroup::new("pace").required(true).args(["speed_km_h", "power_w"]))]
#[command(after_help = "\
Examples:
  loopwright demand --mass-kg 86 --crr 0.0045 --cda-m2 0.29 --speed-km-h 30,40
  loopwright demand --mass-kg 86 --crr 0.0045 --cda-m2 0.29 --power-w 250 \\
    --distance-km 40 --against-crr 0.0036
  loopwright demand --mass-kg 70 --crr 0.004 --cda-m2 0.31 --power-w 300 \\
    --gradient-pct 7 --temperature-c 24 --elevation-m 1200
  loopwright demand --from session-results --power-w 250 --distance-km 40")]
pub struct DemandArguments {
    /// A result of solve (solution.json or its folder): every set-up in it, with intervals
    #[arg(
        long,
        value_name = "RESULTS",
        conflicts_with_all = ["crr", "drivetrain_efficiency", "against_crr", "against_cda_m2", "against_mass_kg", "against_drivetrain_efficiency"]
    )]
    from: Option<PathBuf>,
    /// Rider, bicycle, kit and bottles together; with --from that of the result's reference where left out
    #[arg(long, value_name = "KG", value_parser = number, required_unless_present = "from")]
    mass_kg: Option<f64>,
    /// Coefficient of rolling resistance
    #[arg(long, value_name = "CRR", value_parser = number, required_unless_present = "from")]
    crr: Option<f64>,
    /// Drag area; with --from only for a result that has none, as of rollers
    #[arg(long, value_name = "M2", value_parser = number, required_unless_present = "from")]
    cda_m2: Option<f64>,
    /// From where power is measured to the road: 0.976 at pedal or crank, 1.0 at the hub [default: 0.976]
    #[arg(long, value_name = "FRACTION", value_parser = number)]
    drivetrain_efficiency: Option<f64>,

    /// One speed or several, for the power each takes
    #[arg(long, value_name = "KM_H", value_delimiter = ',', value_parser = number, help_heading = "Pace (one of the two)")]
    speed_km_h: Vec<f64>,
    /// One power or several, for the speed each gives
    #[arg(
        long,
        value_name = "W",
        value_delimiter = ',',
        value_parser = number,
        help_heading = "Pace (one of the two)"
    )]
    power_w: Vec<f64>,
    /// For time and energy
    #[arg(long, value_name = "KM", value_parser = number)]
    distance_km: Option<f64>,

    /// Rise over run
    #[arg(long, value_name = "PCT", value_parser = number, allow_negative_numbers = true, default_value = "0", help_heading = "Road and air")]
    gradient_pct: f64,
    /// At rider height against the direction of travel; a tail wind is negative
    #[arg(long, value_name = "M_S", value_parser = number, allow_negative_numbers = true, default_value = "0", help_heading = "Road and air")]
    wind_m_s: f64,
    /// At rider height across the direction of travel
    #[arg(long, value_name = "M_S", value_parser = number, allow_negative_numbers = true, default_value = "0", help_heading = "Road and air")]
    crosswind_m_s: f64,
    /// Of the air; or state the readings below [default: 1.2]
    #[arg(
        long,
        value_name = "KG_M3",
        value_parser = number,
        help_heading = "Road and air",
        conflicts_with_all = ["temperature_c", "pressure_hpa", "humidity_pct", "elevation_m"]
    )]
    air_density_kg_m3: Option<f64>,
    #[command(flatten, next_help_heading = "Road and air")]
    air: AirFlags,

    /// Rolling resistance of another set of parameters; what is left out of it stays the same
    #[arg(long, value_name = "CRR", value_parser = number, help_heading = "Compared with")]
    against_crr: Option<f64>,
    #[arg(long, value_name = "M2", value_parser = number, help_heading = "Compared with", help = "Its drag area")]
    against_cda_m2: Option<f64>,
    #[arg(long, value_name = "KG", value_parser = number, help_heading = "Compared with", help = "Its mass")]
    against_mass_kg: Option<f64>,
    #[arg(long, value_name = "FRACTION", value_parser = number, help_heading = "Compared with", help = "Its efficiency")]
    against_drivetrain_efficiency: Option<f64>,
}

/// Set-ups of a result at every pace.
fn from_result(arguments: &DemandArguments, path: &Path, format: Format, units: Units) -> Result<(), Failure> {
    let solution = results::read_solution(path)?;
    arguments.doubts(format);
    if let Some(mass_kg) = arguments.mass_kg {
        RiderAndBike::of_mass(mass_kg).check().map_err(of_flags)?;
    }
    Flag { name: "--cda-m2", low: 0.0, high: 2.0, hint: CDA }.check_if(arguments.cda_m2)?;
    let (conditions, distance_m) = (arguments.conditions()?, arguments.distance_m()?);
    // Air that is not stated is that of the result's reference.
    let stated = arguments.air_density_kg_m3.is_some() || arguments.air.any();
    let conditions = if stated {
        conditions
    } else {
        Conditions { air_density_kg_m3: solution.reference.air_density_kg_m3, ..conditions }
    };
    let of = |pace: Pace| -> Result<PaceOutlook, Error> {
        let ride = Ride { conditions, mass_kg: arguments.mass_kg, cda_m2: arguments.cda_m2, pace, distance_m };
        Ok(PaceOutlook { pace, set_ups: outlook(&solution, &ride)? })
    };
    let paces = arguments.paces()?.into_iter().map(of).collect::<Result<Vec<_>, Error>>()?;
    match format {
        Format::Text => output::text(&report_outlook::text(&solution, &paces, output::width(), units.into())),
        Format::Json => output::json(&PrintedOutlook {
            schema: SCHEMA,
            loopwright: env!("CARGO_PKG_VERSION"),
            confidence: solution.confidence,
            baseline: solution.baseline.clone(),
            conditions,
            distance_m,
            paces: paces.into_iter().map(|p| PrintedPaceOutlook { pace: p.pace, setups: p.set_ups }).collect(),
        }),
    }
}

pub fn run(arguments: DemandArguments, format: Format, units: Units) -> Result<(), Failure> {
    if let Some(path) = &arguments.from {
        return from_result(&arguments, path, format, units);
    }
    let first = arguments.first()?;
    let against = arguments.against()?;
    let conditions = arguments.conditions()?;
    let distance_m = arguments.distance_m()?;
    let ridden = |rider: &Parameters, pace: Pace| -> Result<Ridden, Error> {
        let journey = distance_m.map(|d| over_distance(rider, &conditions, pace, d)).transpose()?;
        Ok(Ridden { demand: demand_at(rider, &conditions, pace)?, journey })
    };
    let mut paces = Vec::new();
    for pace in arguments.paces()? {
        paces.push(PaceShown {
            pace,
            first: ridden(&first, pace)?,
            against: against.as_ref().map(|a| ridden(a, pace)).transpose()?,
        });
    }
    arguments.doubts(format);
    match format {
        Format::Text => output::text(&demand(&paces, output::width(), units.into())),
        Format::Json => output::json(&Printed {
            schema: SCHEMA,
            loopwright: env!("CARGO_PKG_VERSION"),
            parameters: first,
            against,
            conditions,
            distance_m,
            paces: paces.iter().map(printed).collect(),
        }),
    }
}

impl DemandArguments {
    /// Values that are hardly meant, told beside the answer.
    fn doubts(&self, format: Format) {
        let masses = [self.mass_kg, self.against_mass_kg].into_iter().flatten().filter_map(doubtful_mass);
        let all_crr = [self.crr, self.against_crr].into_iter().flatten().filter_map(|crr| doubtful_crr("", crr));
        masses.chain(all_crr).for_each(|doubt| output::note(format, &doubt));
    }

    fn first(&self) -> Result<Parameters, Error> {
        let (crr, cda_m2, mass_kg) = self.own();
        Flag { name: "--crr", low: 0.0, high: 0.1, hint: CRR }.check(crr)?;
        Flag { name: "--cda-m2", low: 0.0, high: 2.0, hint: CDA }.check(cda_m2)?;
        let mut rider = RiderAndBike::of_mass(mass_kg);
        rider.drivetrain_efficiency = self.drivetrain_efficiency.unwrap_or(rider.drivetrain_efficiency);
        rider.check().map_err(of_flags)?;
        Ok(Parameters { drivetrain_efficiency: rider.drivetrain_efficiency, ..Parameters::new(cda_m2, crr, mass_kg) })
    }

    /// Crr, CdA and mass, which clap asks for where there is no result.
    fn own(&self) -> (f64, f64, f64) {
        let or_nothing = |value: Option<f64>| value.unwrap_or(f64::NAN);
        (or_nothing(self.crr), or_nothing(self.cda_m2), or_nothing(self.mass_kg))
    }

    /// The other set, when any of it differs.
    fn against(&self) -> Result<Option<Parameters>, Error> {
        let stated = [self.against_crr, self.against_cda_m2, self.against_mass_kg, self.against_drivetrain_efficiency];
        if stated.iter().all(Option::is_none) {
            return Ok(None);
        }
        let (crr, cda_m2, mass_kg) = self.own();
        Flag { name: "--against-crr", low: 0.0, high: 0.1, hint: CRR }.check_if(self.against_crr)?;
        Flag { name: "--against-cda-m2", low: 0.0, high: 2.0, hint: CDA }.check_if(self.against_cda_m2)?;
        let mut rider = RiderAndBike::of_mass(self.against_mass_kg.unwrap_or(mass_kg));
        let efficiency = self.against_drivetrain_efficiency.or(self.drivetrain_efficiency);
        rider.drivetrain_efficiency = efficiency.unwrap_or(rider.drivetrain_efficiency);
        rider.check().map_err(|e| match of_flags(e) {
            Error::OutOfRange { file, line, key, value, low, high, hint } => {
                let key = key.replacen("--", "--against-", 1);
                Error::OutOfRange { file, line, key, value, low, high, hint }
            }
            other => other,
        })?;
        Ok(Some(Parameters {
            drivetrain_efficiency: rider.drivetrain_efficiency,
            ..Parameters::new(self.against_cda_m2.unwrap_or(cda_m2), self.against_crr.unwrap_or(crr), rider.mass_kg)
        }))
    }

    fn conditions(&self) -> Result<Conditions, Error> {
        let wind = "at rider height in m/s, not km/h";
        Flag { name: "--gradient-pct", low: -40.0, high: 40.0, hint: "rise over run in per cent" }
            .check(self.gradient_pct)?;
        Flag { name: "--wind-m-s", low: -30.0, high: 30.0, hint: wind }.check(self.wind_m_s)?;
        Flag { name: "--crosswind-m-s", low: -30.0, high: 30.0, hint: wind }.check(self.crosswind_m_s)?;
        Flag { name: "--air-density-kg-m3", low: 0.6, high: 1.6, hint: "in kg/m³; 1.2 at sea level" }
            .check_if(self.air_density_kg_m3)?;
        let density = match self.air_density_kg_m3 {
            Some(density) => density,
            None if self.air.any() => self.air.density(&Uncertainty::default())?.air.density_kg_m3,
            None => Reference::default().air_density_kg_m3,
        };
        Ok(Conditions {
            gradient: self.gradient_pct / 100.0,
            headwind_m_s: self.wind_m_s,
            crosswind_m_s: self.crosswind_m_s,
            ..Conditions::calm(density)
        })
    }

    fn distance_m(&self) -> Result<Option<f64>, Error> {
        Flag { name: "--distance-km", low: 0.001, high: 20_000.0, hint: "in km, not m" }.check_if(self.distance_km)?;
        Ok(self.distance_km.map(|km| 1000.0 * km))
    }

    fn paces(&self) -> Result<Vec<Pace>, Error> {
        let speed = Flag { name: "--speed-km-h", low: 0.1, high: 200.0, hint: "in km/h" };
        let power = Flag { name: "--power-w", low: 1.0, high: 3000.0, hint: "in W at the place where it is measured" };
        self.speed_km_h.iter().try_for_each(|v| speed.check(*v))?;
        self.power_w.iter().try_for_each(|w| power.check(*w))?;
        let by_speed = self.speed_km_h.iter().map(|v| Pace::SpeedMS(m_s_from_km_h(*v)));
        Ok(by_speed.chain(self.power_w.iter().map(|w| Pace::PowerW(*w))).collect())
    }
}
