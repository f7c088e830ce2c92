//! The flags that stand for a session file when one ride is solved.
//!
//! Given flags that carry the session's key names; gives a checked session of one run. Defaults and ranges are the
//! session's own: the flags are laid out as its tables and read as a session file would be.

use super::flag_name::of_flags;
use super::number::number;
use clap::Args;
use loopwright::error::Error;
use loopwright::session::{Lag, LagWord, Position, Session};
use serde::Serialize;
use serde_json::{Map, Value, json};
use std::path::Path;

const RIDE: &str = "One ride instead of a session: rider and bicycle";

/// All flags. A field's name is its flag; serialised, it is the key of the session.
#[derive(Debug, Default, Args, Serialize)]
pub struct RideFlags {
    #[command(flatten, next_help_heading = RIDE)]
    rider_and_bike: RiderFlags,
    #[command(flatten, next_help_heading = "One ride: the run")]
    run: RunFlags,
    #[command(flatten, next_help_heading = "One ride: loop")]
    #[serde(rename = "loop")]
    circuit: LoopFlags,
    #[command(flatten, next_help_heading = "One ride: air and wind")]
    air: AirFlags,
    #[command(flatten)]
    wind: WindFlags,
    #[command(flatten, next_help_heading = "One ride: solver and reference conditions")]
    solve: SolverFlags,
    #[command(flatten)]
    reference: ReferenceFlags,
    #[command(flatten, next_help_heading = "One ride: rollers")]
    rollers: RollerFlags,
    #[command(flatten, next_help_heading = "One ride: standard uncertainties")]
    uncertainty: UncertaintyFlags,
}

#[derive(Debug, Default, Args, Serialize)]
struct RiderFlags {
    /// Rider, bicycle, kit and bottles together, as weighed (needed)
    #[arg(long, value_name = "KG", value_parser = number)]
    mass_kg: Option<f64>,
    /// Both wheels together
    #[arg(long, value_name = "KG_M2", value_parser = number)]
    wheel_inertia_kg_m2: Option<f64>,
    #[arg(long, value_name = "M", value_parser = number, help = "Rolling radius")]
    wheel_radius_m: Option<f64>,
    /// Above the contact line, along the leaning bicycle
    #[arg(long, value_name = "M", value_parser = number)]
    centre_of_mass_height_m: Option<f64>,
    /// From where power is measured to the road: 0.976 at pedal or crank, 1.0 at the hub
    #[arg(long, value_name = "FRACTION", value_parser = number)]
    drivetrain_efficiency: Option<f64>,
    /// Bearing drag of both wheels, constant part; give the linear part too
    #[arg(long, value_name = "N", value_parser = number, requires = "bearing_friction_linear_n_s_per_m")]
    #[serde(skip)]
    bearing_friction_constant_n: Option<f64>,
    /// Bearing drag of both wheels, part that grows with speed
    #[arg(long, value_name = "N_S_PER_M", value_parser = number, requires = "bearing_friction_constant_n")]
    #[serde(skip)]
    bearing_friction_linear_n_s_per_m: Option<f64>,
}

#[derive(Debug, Default, Args, Serialize)]
struct RunFlags {
    /// Where laps come from
    #[arg(long, value_parser = ["auto", "device"])]
    laps: Option<String>,
    /// Planned speed of each lap, repeated over the laps, such as 29,41
    #[arg(long, value_name = "KM_H", value_delimiter = ',', value_parser = number)]
    planned_speed_km_h: Vec<f64>,
    /// Laps not to use, counted from the first whole lap
    #[arg(long, value_name = "LAP", value_delimiter = ',')]
    leave_out: Vec<usize>,
    /// Laps to use in spite of an automatic mark
    #[arg(long, value_name = "LAP", value_delimiter = ',')]
    keep: Vec<usize>,
    /// File of another device, from which channels are taken
    #[arg(long, value_name = "FILE")]
    second_file: Option<String>,
}

#[derive(Debug, Default, Args, Serialize)]
struct LoopFlags {
    /// Kind of venue
    #[arg(long, value_parser = ["road", "track", "rollers"])]
    kind: Option<String>,
    /// Timing point, with --gate-lon-deg; found when left out
    #[arg(long, value_name = "DEG", value_parser = number, allow_negative_numbers = true, requires = "gate_lon_deg")]
    #[serde(skip)]
    gate_lat_deg: Option<f64>,
    #[arg(long, value_name = "DEG", value_parser = number, allow_negative_numbers = true, requires = "gate_lat_deg", help = "Of the timing point")]
    #[serde(skip)]
    gate_lon_deg: Option<f64>,
    /// Length of one lap as surveyed; needed for a track
    #[arg(long, value_name = "M", value_parser = number)]
    length_m: Option<f64>,
    /// CSV with distance_m and elevation_m from the gate
    #[arg(long, value_name = "FILE")]
    survey: Option<String>,
    #[arg(long, value_name = "M", value_parser = number, help = "Standard deviation of a surveyed height")]
    survey_sd_m: Option<f64>,
    /// Of a track, at the measuring line
    #[arg(long, value_name = "M", value_parser = number)]
    bend_radius_m: Option<f64>,
    /// Length over which the bend of a track tightens
    #[arg(long, value_name = "M", value_parser = number)]
    transition_m: Option<f64>,
    /// Direction of travel on the home straight of an outdoor track, clockwise from north
    #[arg(long, value_name = "DEG", value_parser = number)]
    home_straight_bearing_deg: Option<f64>,
}

#[derive(Debug, Default, Args, Serialize)]
struct AirFlags {
    /// In the shade
    #[arg(long, value_name = "C", value_parser = number, allow_negative_numbers = true)]
    temperature_c: Option<f64>,
    /// Station pressure, not reduced to sea level
    #[arg(long, value_name = "HPA", value_parser = number)]
    pressure_hpa: Option<f64>,
    #[arg(long, value_name = "PCT", value_parser = number, help = "Relative humidity")]
    humidity_pct: Option<f64>,
    /// Weather log, a CSV with time, temperature_c, pressure_hpa, humidity_pct and, if known, wind_speed_m_s and
    /// wind_from_deg
    #[arg(long, value_name = "FILE")]
    log: Option<String>,
}

#[derive(Debug, Default, Args, Serialize)]
struct WindFlags {
    /// Solved for, stated by the two flags below (or the log), or still air
    #[arg(long = "wind", value_name = "MODE", value_parser = ["estimate", "given", "none"])]
    mode: Option<String>,
    #[arg(long = "wind-speed-m-s", value_name = "M_S", value_parser = number, help = "With --wind given")]
    speed_m_s: Option<f64>,
    /// Where it blows from, clockwise from north
    #[arg(long = "wind-from-deg", value_name = "DEG", value_parser = number)]
    from_deg: Option<f64>,
    #[arg(long, value_name = "M", value_parser = number, help = "Height of the wind gauge above ground")]
    mast_height_m: Option<f64>,
    #[arg(long, value_name = "M", value_parser = number, help = "Of the ground around the wind gauge")]
    roughness_length_m: Option<f64>,
}

#[derive(Debug, Default, Args, Serialize)]
struct SolverFlags {
    /// Seconds that speed runs behind power, or "estimate"
    #[arg(long, value_name = "LAG", value_parser = lag, allow_negative_numbers = true)]
    lag: Option<Lag>,
    /// Confidence of the intervals, a fraction
    #[arg(long, value_name = "FRACTION", value_parser = number)]
    confidence: Option<f64>,
    #[arg(long, value_name = "N", help = "Seed of what is drawn at random")]
    seed: Option<u64>,
}

#[derive(Debug, Default, Args, Serialize)]
struct ReferenceFlags {
    /// Speed at which watts are given
    #[arg(long = "reference-speed-km-h", value_name = "KM_H", value_parser = number)]
    #[serde(rename = "speed_km_h")]
    reference_speed_km_h: Option<f64>,
    /// Mass for which watts are given; --mass-kg when left out
    #[arg(long = "reference-mass-kg", value_name = "KG", value_parser = number)]
    #[serde(rename = "mass_kg")]
    reference_mass_kg: Option<f64>,
    /// Air density at which watts are given
    #[arg(long = "reference-air-density-kg-m3", value_name = "KG_M3", value_parser = number)]
    #[serde(rename = "air_density_kg_m3")]
    reference_air_density_kg_m3: Option<f64>,
}

#[derive(Debug, Default, Args, Serialize)]
struct RollerFlags {
    #[arg(long, value_name = "M", value_parser = number, help = "Diameter of the drums")]
    drum_diameter_m: Option<f64>,
    /// Between the axles of the two drums under the rear wheel
    #[arg(long, value_name = "M", value_parser = number)]
    drum_spacing_m: Option<f64>,
    #[arg(long, value_name = "FRACTION", value_parser = number, help = "Share of the weight on the rear wheel")]
    rear_weight_fraction: Option<f64>,
    /// Whether a belt turns the drum under the front wheel
    #[arg(long, value_name = "BOOL")]
    front_driven: Option<bool>,
    /// Drag of the drums without a bicycle at 40 km/h
    #[arg(long = "no-load-power-w-at-40-km-h", value_name = "W", value_parser = number)]
    no_load_power_w_at_40_km_h: Option<f64>,
    /// Relative change of Crr per °C
    #[arg(long, value_name = "PER_C", value_parser = number)]
    temperature_coefficient_per_c: Option<f64>,
    #[arg(long, value_name = "C", value_parser = number, allow_negative_numbers = true, help = "To which Crr is brought")]
    reference_temperature_c: Option<f64>,
}

#[derive(Debug, Default, Args, Serialize)]
struct UncertaintyFlags {
    #[arg(long = "uncertainty-mass-kg", value_name = "KG", value_parser = number, help = "Of the weighing")]
    #[serde(rename = "mass_kg")]
    uncertainty_mass_kg: Option<f64>,
    /// Of the scale of the power meter
    #[arg(long = "uncertainty-power-fraction", value_name = "FRACTION", value_parser = number)]
    power_fraction: Option<f64>,
    /// Of the scale of speed (rolling circumference)
    #[arg(long = "uncertainty-speed-fraction", value_name = "FRACTION", value_parser = number)]
    speed_fraction: Option<f64>,
    #[arg(long = "uncertainty-temperature-c", value_name = "C", value_parser = number, help = "Of the air temperature")]
    #[serde(rename = "temperature_c")]
    uncertainty_temperature_c: Option<f64>,
    #[arg(long = "uncertainty-pressure-hpa", value_name = "HPA", value_parser = number, help = "Of the air pressure")]
    #[serde(rename = "pressure_hpa")]
    uncertainty_pressure_hpa: Option<f64>,
    #[arg(long = "uncertainty-humidity-pct", value_name = "PCT", value_parser = number, help = "Of the humidity")]
    #[serde(rename = "humidity_pct")]
    uncertainty_humidity_pct: Option<f64>,
    #[arg(long = "uncertainty-drivetrain-efficiency", value_name = "FRACTION", value_parser = number, help = "Of the efficiency")]
    #[serde(rename = "drivetrain_efficiency")]
    uncertainty_drivetrain_efficiency: Option<f64>,
}

fn lag(text: &str) -> Result<Lag, String> {
    if text == "estimate" {
        return Ok(Lag::Word(LagWord::Estimate));
    }
    number(text).map(Lag::Seconds).map_err(|_| "neither seconds nor the word \"estimate\"".into())
}

impl RideFlags {
    /// Flags that were given, as they are typed.
    pub fn given(&self) -> Vec<String> {
        let mut names = Vec::new();
        for (section, keys) in self.stated() {
            for key in keys.as_object().into_iter().flat_map(Map::keys) {
                names.push(match (section.as_str(), key.as_str()) {
                    ("wind", "mode") => "--wind".to_string(),
                    _ => super::flag_name::flag_of(&format!("{section}.{key}")),
                });
            }
        }
        let skipped = [
            ("--bearing-friction-constant-n", self.rider_and_bike.bearing_friction_constant_n),
            ("--gate-lat-deg", self.circuit.gate_lat_deg),
        ];
        names.extend(skipped.into_iter().filter(|(_, value)| value.is_some()).map(|(name, _)| name.to_string()));
        names
    }

    /// The session of one ride in a file of the given name.
    ///
    /// Errors: [`Error::Usage`] without a mass or with a wind that is stated but not asked for, and those of
    /// [`Session::check`] under the names of the flags.
    pub fn session(&self, file: &str, id: &str) -> Result<Session, Error> {
        self.check_needed()?;
        let mut table = self.stated();
        let mut run = match table.remove("run") {
            Some(Value::Object(run)) => run,
            _ => Map::new(),
        };
        run.insert("file".into(), json!(file));
        run.insert("setup".into(), json!(id));
        table.insert("run".into(), json!([run]));
        table.insert("setup".into(), json!([{ "id": id }]));
        let wrong = |message: String| Error::Usage { flag: "command line".into(), message };
        let mut session: Session =
            serde_json::from_value(Value::Object(table)).map_err(|e| wrong(format!("{e}; see loopwright solve --help")))?;
        if let (Some(lat_deg), Some(lon_deg)) = (self.circuit.gate_lat_deg, self.circuit.gate_lon_deg) {
            session.circuit.gate = Some(Position { lat_deg, lon_deg });
        }
        let rider = &self.rider_and_bike;
        if let (Some(constant), Some(linear)) = (rider.bearing_friction_constant_n, rider.bearing_friction_linear_n_s_per_m) {
            session.rider_and_bike.bearing_friction.constant_n = constant;
            session.rider_and_bike.bearing_friction.linear_n_s_per_m = linear;
        }
        for path in [&mut session.circuit.survey, &mut session.air.log, &mut session.runs[0].second_file] {
            absolute(path)?;
        }
        session.check().map_err(of_flags)?;
        Ok(session)
    }

    fn check_needed(&self) -> Result<(), Error> {
        let usage = |flag: &str, message: &str| Err(Error::Usage { flag: flag.into(), message: message.into() });
        if self.rider_and_bike.mass_kg.is_none() {
            return usage(
                "--mass-kg",
                "missing; a single ride needs the mass of rider, bicycle, kit and bottles as weighed, such as --mass-kg 86.4",
            );
        }
        let wind = &self.wind;
        let is_given = wind.mode.as_deref() == Some("given");
        if !is_given && (wind.speed_m_s.is_some() || wind.from_deg.is_some()) {
            return usage("--wind", "a wind is stated but not asked for; add --wind given or remove its speed and direction");
        }
        if is_given && self.air.log.is_none() && (wind.speed_m_s.is_none() || wind.from_deg.is_none()) {
            return usage("--wind", "\"given\" needs --wind-speed-m-s and --wind-from-deg, or a --log with both");
        }
        if self.circuit.kind.as_deref() == Some("track") && self.circuit.length_m.is_none() {
            return usage("--length-m", "missing; --kind track needs the length of one lap along the measuring line");
        }
        Ok(())
    }

    /// The stated values as tables of the session, without those left out.
    fn stated(&self) -> Map<String, Value> {
        let mut tables = match serde_json::to_value(self) {
            Ok(Value::Object(tables)) => tables,
            _ => Map::new(),
        };
        for table in tables.values_mut() {
            if let Value::Object(keys) = table {
                keys.retain(|_, value| !(value.is_null() || value.as_array().is_some_and(Vec::is_empty)));
            }
        }
        tables
    }
}

/// A path on the command line counts from where the person is, not from the folder of the ride.
fn absolute(path: &mut Option<String>) -> Result<(), Error> {
    if let Some(name) = path {
        let whole = std::path::absolute(Path::new(name))
            .map_err(|e| Error::Unreadable { path: name.as_str().into(), reason: e.to_string() })?;
        *name = whole.to_string_lossy().into_owned();
    }
    Ok(())
}
