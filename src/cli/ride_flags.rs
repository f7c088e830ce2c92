//! The flags that stand for a session file when one ride is solved.
//!
//! Given nothing; declares flags that carry the session's key names, laid out as its tables. It knows no default and no
//! range: those are the session's own.

use super::number::number;
use clap::Args;
use loopwright::session::{Gusts, GustsWord, Lag, LagWord};
use serde::Serialize;

const RIDE: &str = "One ride instead of a session: rider and bicycle";

/// All flags. A field's name is its flag; serialised, it is the key of the session.
#[derive(Debug, Default, Args, Serialize)]
pub struct RideFlags {
    #[command(flatten, next_help_heading = RIDE)]
    pub(super) rider_and_bike: RiderFlags,
    #[command(flatten, next_help_heading = "One ride: the run")]
    pub(super) run: RunFlags,
    #[command(flatten, next_help_heading = "One ride: loop")]
    #[serde(rename = "loop")]
    pub(super) circuit: LoopFlags,
    #[command(flatten, next_help_heading = "One ride: air and wind")]
    pub(super) air: AirFlags,
    #[command(flatten)]
    pub(super) wind: WindFlags,
    #[command(flatten, next_help_heading = "One ride: solver and reference conditions")]
    pub(super) solve: SolverFlags,
    #[command(flatten)]
    pub(super) reference: ReferenceFlags,
    #[command(flatten, next_help_heading = "One ride: rollers")]
    pub(super) rollers: RollerFlags,
    #[command(flatten, next_help_heading = "One ride: standard uncertainties")]
    pub(super) uncertainty: UncertaintyFlags,
}

#[derive(Debug, Default, Args, Serialize)]
pub(super) struct RiderFlags {
    /// Rider, bicycle, kit and bottles together, as weighed (needed)
    #[arg(long, value_name = "KG", value_parser = number)]
    pub(super) mass_kg: Option<f64>,
    /// Both wheels together
    #[arg(long, value_name = "KG_M2", value_parser = number)]
    pub(super) wheel_inertia_kg_m2: Option<f64>,
    #[arg(long, value_name = "M", value_parser = number, help = "Rolling radius")]
    pub(super) wheel_radius_m: Option<f64>,
    /// Above the contact line, along the leaning bicycle
    #[arg(long, value_name = "M", value_parser = number)]
    pub(super) centre_of_mass_height_m: Option<f64>,
    /// From where power is measured to the road: 0.976 at pedal or crank, 1.0 at the hub
    #[arg(long, value_name = "FRACTION", value_parser = number)]
    pub(super) drivetrain_efficiency: Option<f64>,
    /// Bearing drag of both wheels, constant part; give the linear part too
    #[arg(long, value_name = "N", value_parser = number, requires = "bearing_friction_linear_n_s_per_m")]
    #[serde(skip)]
    pub(super) bearing_friction_constant_n: Option<f64>,
    /// Bearing drag of both wheels, part that grows with speed
    #[arg(long, value_name = "N_S_PER_M", value_parser = number, requires = "bearing_friction_constant_n")]
    #[serde(skip)]
    pub(super) bearing_friction_linear_n_s_per_m: Option<f64>,
}

#[derive(Debug, Default, Args, Serialize)]
pub(super) struct RunFlags {
    /// Where laps come from
    #[arg(long, value_parser = ["auto", "device"])]
    pub(super) laps: Option<String>,
    /// Planned speed of each lap, repeated over the laps, such as 29,41
    #[arg(long, value_name = "KM_H", value_delimiter = ',', value_parser = number)]
    pub(super) planned_speed_km_h: Vec<f64>,
    /// Laps not to use, counted from the first whole lap
    #[arg(long, value_name = "LAP", value_delimiter = ',')]
    pub(super) leave_out: Vec<usize>,
    /// Laps to use in spite of an automatic mark
    #[arg(long, value_name = "LAP", value_delimiter = ',')]
    pub(super) keep: Vec<usize>,
    /// Rollers: from and to, in seconds from the first record, of the window that counts, such as 900,1200
    #[arg(long, value_name = "FROM,TO", value_delimiter = ',', value_parser = number)]
    pub(super) window_s: Vec<f64>,
    /// Temperature of the tyres while ridden; that of the air stands for it when left out
    #[arg(long, value_name = "C", value_parser = number, allow_negative_numbers = true)]
    pub(super) tyre_temperature_c: Option<f64>,
    /// File of another device, from which channels are taken
    #[arg(long, value_name = "FILE")]
    pub(super) second_file: Option<String>,
}

#[derive(Debug, Default, Args, Serialize)]
pub(super) struct LoopFlags {
    /// Kind of venue
    #[arg(long, value_parser = ["road", "track", "rollers"])]
    pub(super) kind: Option<String>,
    /// Timing point, with --gate-lon-deg; found when left out
    #[arg(long, value_name = "DEG", value_parser = number, allow_negative_numbers = true, requires = "gate_lon_deg")]
    #[serde(skip)]
    pub(super) gate_lat_deg: Option<f64>,
    #[arg(long, value_name = "DEG", value_parser = number, allow_negative_numbers = true, requires = "gate_lat_deg", help = "Of the timing point")]
    #[serde(skip)]
    pub(super) gate_lon_deg: Option<f64>,
    /// Length of one lap as surveyed; needed for a track
    #[arg(long, value_name = "M", value_parser = number)]
    pub(super) length_m: Option<f64>,
    /// Standard deviation of the ridden lap about --length-m
    #[arg(long, value_name = "M", value_parser = number)]
    pub(super) length_sd_m: Option<f64>,
    /// CSV with distance_m and elevation_m from the gate
    #[arg(long, value_name = "FILE")]
    pub(super) survey: Option<String>,
    #[arg(long, value_name = "M", value_parser = number, help = "Standard deviation of a surveyed height")]
    pub(super) survey_sd_m: Option<f64>,
    /// Of a track, at the measuring line
    #[arg(long, value_name = "M", value_parser = number)]
    pub(super) bend_radius_m: Option<f64>,
    /// Length over which the bend of a track tightens
    #[arg(long, value_name = "M", value_parser = number)]
    pub(super) transition_m: Option<f64>,
    /// Direction of travel on the home straight of an outdoor track, clockwise from north
    #[arg(long, value_name = "DEG", value_parser = number)]
    pub(super) home_straight_bearing_deg: Option<f64>,
}

#[derive(Debug, Default, Args, Serialize)]
pub(super) struct AirFlags {
    /// In the shade
    #[arg(long, value_name = "C", value_parser = number, allow_negative_numbers = true)]
    pub(super) temperature_c: Option<f64>,
    /// Station pressure, not reduced to sea level
    #[arg(long, value_name = "HPA", value_parser = number)]
    pub(super) pressure_hpa: Option<f64>,
    #[arg(long, value_name = "PCT", value_parser = number, help = "Relative humidity")]
    pub(super) humidity_pct: Option<f64>,
    /// Weather log, a CSV with time, temperature_c, pressure_hpa, humidity_pct and, if known, wind_speed_m_s and
    /// wind_from_deg
    #[arg(long, value_name = "FILE")]
    pub(super) log: Option<String>,
}

#[derive(Debug, Default, Args, Serialize)]
pub(super) struct WindFlags {
    /// Solved for, stated by the two flags below (or the log), or still air
    #[arg(long = "wind", value_name = "MODE", value_parser = ["estimate", "given", "none"])]
    pub(super) mode: Option<String>,
    #[arg(long = "wind-speed-m-s", value_name = "M_S", value_parser = number, help = "With --wind given")]
    pub(super) speed_m_s: Option<f64>,
    /// Where it blows from, clockwise from north
    #[arg(long = "wind-from-deg", value_name = "DEG", value_parser = number)]
    pub(super) from_deg: Option<f64>,
    #[arg(long, value_name = "M", value_parser = number, help = "Height of the wind gauge above ground")]
    pub(super) mast_height_m: Option<f64>,
    #[arg(long, value_name = "M", value_parser = number, help = "Of the ground around the wind gauge")]
    pub(super) roughness_length_m: Option<f64>,
    /// Gusts add mean drag: "estimate", "none", or their standard deviation along travel in m/s
    #[arg(long, value_name = "GUSTS", value_parser = gusts)]
    pub(super) gusts: Option<Gusts>,
}

#[derive(Debug, Default, Args, Serialize)]
pub(super) struct SolverFlags {
    /// Seconds that speed runs behind power, or "estimate"
    #[arg(long, value_name = "LAG", value_parser = lag, allow_negative_numbers = true)]
    pub(super) lag: Option<Lag>,
    /// Scale of speed: the device's, or the one with which laps have the length that positions or --length-m give them
    #[arg(long, value_parser = ["as-measured", "calibrate"])]
    pub(super) speed_scale: Option<String>,
    /// Confidence of the intervals, a fraction
    #[arg(long, value_name = "FRACTION", value_parser = number)]
    pub(super) confidence: Option<f64>,
    #[arg(long, value_name = "N", help = "Seed of what is drawn at random")]
    pub(super) seed: Option<u64>,
}

#[derive(Debug, Default, Args, Serialize)]
pub(super) struct ReferenceFlags {
    /// Speed at which watts are given
    #[arg(long = "reference-speed-km-h", value_name = "KM_H", value_parser = number)]
    #[serde(rename = "speed_km_h")]
    pub(super) reference_speed_km_h: Option<f64>,
    /// Mass for which watts are given; --mass-kg when left out
    #[arg(long = "reference-mass-kg", value_name = "KG", value_parser = number)]
    #[serde(rename = "mass_kg")]
    pub(super) reference_mass_kg: Option<f64>,
    /// Air density at which watts are given
    #[arg(long = "reference-air-density-kg-m3", value_name = "KG_M3", value_parser = number)]
    #[serde(rename = "air_density_kg_m3")]
    pub(super) reference_air_density_kg_m3: Option<f64>,
}

#[derive(Debug, Default, Args, Serialize)]
pub(super) struct RollerFlags {
    #[arg(long, value_name = "M", value_parser = number, help = "Diameter of the drums")]
    pub(super) drum_diameter_m: Option<f64>,
    /// Between the axles of the two drums under the rear wheel
    #[arg(long, value_name = "M", value_parser = number)]
    pub(super) drum_spacing_m: Option<f64>,
    #[arg(long, value_name = "FRACTION", value_parser = number, help = "Share of the weight on the rear wheel")]
    pub(super) rear_weight_fraction: Option<f64>,
    /// Whether a belt turns the drum under the front wheel
    #[arg(long, value_name = "BOOL")]
    pub(super) front_driven: Option<bool>,
    /// Drag of the drums without a bicycle at 40 km/h
    #[arg(long = "no-load-power-w-at-40-km-h", value_name = "W", value_parser = number)]
    pub(super) no_load_power_w_at_40_km_h: Option<f64>,
    /// Relative change of Crr per °C, on rollers or a loop
    #[arg(long, value_name = "PER_C", value_parser = number)]
    pub(super) temperature_coefficient_per_c: Option<f64>,
    #[arg(long, value_name = "C", value_parser = number, allow_negative_numbers = true, help = "To which Crr is brought")]
    pub(super) reference_temperature_c: Option<f64>,
}

#[derive(Debug, Default, Args, Serialize)]
pub(super) struct UncertaintyFlags {
    #[arg(long = "uncertainty-mass-kg", value_name = "KG", value_parser = number, help = "Of the weighing")]
    #[serde(rename = "mass_kg")]
    pub(super) uncertainty_mass_kg: Option<f64>,
    /// Of the scale of the power meter
    #[arg(long = "uncertainty-power-fraction", value_name = "FRACTION", value_parser = number)]
    pub(super) power_fraction: Option<f64>,
    /// Of the scale of speed (rolling circumference)
    #[arg(long = "uncertainty-speed-fraction", value_name = "FRACTION", value_parser = number)]
    pub(super) speed_fraction: Option<f64>,
    #[arg(long = "uncertainty-temperature-c", value_name = "C", value_parser = number, help = "Of the air temperature")]
    #[serde(rename = "temperature_c")]
    pub(super) uncertainty_temperature_c: Option<f64>,
    #[arg(long = "uncertainty-pressure-hpa", value_name = "HPA", value_parser = number, help = "Of the air pressure")]
    #[serde(rename = "pressure_hpa")]
    pub(super) uncertainty_pressure_hpa: Option<f64>,
    #[arg(long = "uncertainty-humidity-pct", value_name = "PCT", value_parser = number, help = "Of the humidity")]
    #[serde(rename = "humidity_pct")]
    pub(super) uncertainty_humidity_pct: Option<f64>,
    #[arg(long = "uncertainty-drivetrain-efficiency", value_name = "FRACTION", value_parser = number, help = "Of the efficiency")]
    #[serde(rename = "drivetrain_efficiency")]
    pub(super) uncertainty_drivetrain_efficiency: Option<f64>,
    #[arg(long = "uncertainty-temperature-coefficient-per-c", value_name = "PER_C", value_parser = number, help = "Of --temperature-coefficient-per-c")]
    #[serde(rename = "temperature_coefficient_per_c")]
    pub(super) uncertainty_temperature_coefficient_per_c: Option<f64>,
}

fn lag(text: &str) -> Result<Lag, String> {
    if text == "estimate" {
        return Ok(Lag::Word(LagWord::Estimate));
    }
    number(text).map(Lag::Seconds).map_err(|_| "neither seconds nor the word \"estimate\"".into())
}

fn gusts(text: &str) -> Result<Gusts, String> {
    match text {
        "estimate" => Ok(Gusts::Word(GustsWord::Estimate)),
        "none" => Ok(Gusts::Word(GustsWord::None)),
        _ => number(text)
            .map(Gusts::StandardDeviation)
            .map_err(|_| "neither \"estimate\" nor \"none\" nor a number of m/s".into()),
    }
}
