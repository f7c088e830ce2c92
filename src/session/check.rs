//! Range and consistency checks on a session: the plausible range of every physical value in one table.
//!
//! Given a session and its text; says by line, key, value and limit what is wrong. It changes nothing and opens no file.

use super::factors::Levels;
use super::{Air, AirHere, Gusts, Lag, RiderAndBike, Run, Session, Uncertainty, Venue, WindMode, locate};
use crate::error::Error;
use crate::quantity::{bar_from_kpa, psi_from_kpa};

/// Plausible range of a value and the mistake that usually lies behind one outside it.
pub(crate) struct Limit {
    low: f64,
    high: f64,
    hint: &'static str,
}

pub(crate) const fn limit(low: f64, high: f64, hint: &'static str) -> Limit {
    Limit { low, high, hint }
}

pub(crate) const MASS: Limit =
    limit(25.0, 250.0, "rider, bicycle and kit together in kg; not g, and not the bicycle alone");
const PRESSURE: Limit =
    limit(500.0, 1100.0, "station pressure in hPa, not reduced to sea level; 1 bar is 1000 hPa, 1 mmHg is 1.333 hPa");
const COEFFICIENT: Limit = limit(0.0, 0.05, "relative change per °C: 0.008 is 0.8 % per °C");
pub(crate) const TYRE_TEMPERATURE: Limit = limit(-30.0, 90.0, "of the tyre in °C, not °F or K");
const TYRE: Limit = limit(50.0, 1600.0, "tyre pressure in kPa: 1 bar is 100 kPa, 1 psi is 6.9 kPa");

/// Most runs of a session: a season of tests, twice the largest day that is planned.
pub const MOST_RUNS: usize = 200;
/// Most set-ups of a session: every pair of them is compared.
pub const MOST_SETUPS: usize = 50;

/// Longest reason of a lap, characters.
pub const LONGEST_REASON: usize = 200;

/// Where a check looks and what it says.
pub(crate) struct Checker<'a> {
    pub(crate) text: &'a str,
    pub(crate) file: &'a str,
}

impl Checker<'_> {
    fn line(&self, path: &[&str]) -> Option<usize> {
        if self.text.is_empty() { None } else { locate(self.text, path) }
    }

    pub(crate) fn within(&self, path: &[&str], value: f64, limit: &Limit) -> Result<(), Error> {
        if value >= limit.low && value <= limit.high {
            return Ok(());
        }
        Err(Error::OutOfRange {
            file: self.file.to_string(),
            line: self.line(path),
            key: path.iter().filter(|p| p.parse::<usize>().is_err()).copied().collect::<Vec<_>>().join("."),
            value,
            low: limit.low,
            high: limit.high,
            hint: limit.hint.to_string(),
        })
    }

    pub(crate) fn within_if(&self, path: &[&str], value: Option<f64>, limit: &Limit) -> Result<(), Error> {
        value.map_or(Ok(()), |v| self.within(path, v, limit))
    }

    pub(crate) fn inconsistent(&self, path: &[&str], message: String) -> Error {
        Error::Inconsistent { file: self.file.to_string(), line: self.line(path), message }
    }
}

/// Checks every value of a session against its range, and the parts against each other.
pub(crate) fn check(session: &Session, text: &str, file: &str) -> Result<(), Error> {
    let at = Checker { text, file };
    rider(&session.rider_and_bike, &at)?;
    uncertainty(&session.uncertainty, &at)?;
    circuit(session, &at)?;
    weather(session, &at)?;
    choices(session, &at)?;
    setups_and_runs(session, &at)
}

/// Checks mass and mechanics by themselves.
pub(super) fn rider(r: &RiderAndBike, at: &Checker) -> Result<(), Error> {
    let key = |k| ["rider_and_bike", k];
    at.within(&key("mass_kg"), r.mass_kg, &MASS)?;
    at.within(
        &key("wheel_inertia_kg_m2"),
        r.wheel_inertia_kg_m2,
        &limit(0.0, 1.0, "both wheels together in kg m²; 0.14 is usual"),
    )?;
    at.within(&key("wheel_radius_m"), r.wheel_radius_m, &limit(0.15, 0.45, "rolling radius in m; 0.335 is usual"))?;
    at.within(
        &key("centre_of_mass_height_m"),
        r.centre_of_mass_height_m,
        &limit(0.3, 1.6, "in m above the road; 1.05 is usual"),
    )?;
    at.within(
        &key("drivetrain_efficiency"),
        r.drivetrain_efficiency,
        &limit(0.8, 1.0, "a fraction: 0.976 at the crank, 1.0 at the hub"),
    )?;
    let b = r.bearing_friction;
    at.within(
        &["rider_and_bike", "bearing_friction", "constant_n"],
        b.constant_n,
        &limit(0.0, 2.0, "in N; 0.091 is usual"),
    )?;
    at.within(
        &["rider_and_bike", "bearing_friction", "linear_n_s_per_m"],
        b.linear_n_s_per_m,
        &limit(0.0, 0.2, "in N s/m; 0.0087 is usual"),
    )
}

/// Checks standard uncertainties by themselves.
pub(super) fn uncertainty(u: &Uncertainty, at: &Checker) -> Result<(), Error> {
    let fraction = limit(0.0, 0.5, "a fraction, not per cent: 1 % is 0.01");
    at.within_if(
        &["uncertainty", "temperature_coefficient_per_c"],
        u.temperature_coefficient_per_c,
        &limit(0.0, 0.05, "standard uncertainty of the relative change of Crr per °C: 0.003 is 0.3 % per °C"),
    )?;
    at.within_if(
        &["uncertainty", "run_to_run_fraction"],
        u.run_to_run_fraction,
        &limit(
            0.0,
            0.2,
            "what changes between runs of one set-up, a fraction of the resistance: 0.7 % is 0.007; 0 supposes exact repeats",
        ),
    )?;
    at.within_if(
        &["uncertainty", "drum_conversion_fraction"],
        u.drum_conversion_fraction,
        &limit(
            0.0,
            0.5,
            "relative, of the factor from drum to flat road: 10 % is 0.1; leave it out for the usual value",
        ),
    )?;
    let checks: [(&str, f64, Limit); 15] = [
        ("mass_kg", u.mass_kg, limit(0.0, 10.0, "standard uncertainty of one weighing in kg")),
        ("power_fraction", u.power_fraction, limit(0.0, 0.5, fraction.hint)),
        ("speed_fraction", u.speed_fraction, limit(0.0, 0.5, fraction.hint)),
        ("temperature_c", u.temperature_c, limit(0.0, 15.0, "in °C")),
        ("pressure_hpa", u.pressure_hpa, limit(0.0, 50.0, "in hPa")),
        ("humidity_pct", u.humidity_pct, limit(0.0, 50.0, "in per cent relative humidity")),
        ("drivetrain_efficiency", u.drivetrain_efficiency, limit(0.0, 0.1, "a fraction: half a per cent is 0.005")),
        ("wheel_inertia_kg_m2", u.wheel_inertia_kg_m2, limit(0.0, 0.5, "in kg m²")),
        ("centre_of_mass_height_m", u.centre_of_mass_height_m, limit(0.0, 0.5, "in m")),
        ("bearing_fraction", u.bearing_fraction, limit(0.0, 1.0, fraction.hint)),
        ("wind_fraction", u.wind_fraction, limit(0.0, 1.0, fraction.hint)),
        ("drum_diameter_m", u.drum_diameter_m, limit(0.0, 0.1, "in m")),
        ("drum_spacing_m", u.drum_spacing_m, limit(0.0, 0.1, "in m")),
        ("rear_weight_fraction", u.rear_weight_fraction, limit(0.0, 0.3, fraction.hint)),
        ("no_load_fraction", u.no_load_fraction, limit(0.0, 1.0, fraction.hint)),
    ];
    for (key, value, range) in &checks {
        at.within(&["uncertainty", key], *value, range)?;
    }
    Ok(())
}

fn circuit(session: &Session, at: &Checker) -> Result<(), Error> {
    let c = &session.circuit;
    if let Some(gate) = c.gate {
        at.within(&["loop", "gate", "lat_deg"], gate.lat_deg, &limit(-90.0, 90.0, "latitude in degrees"))?;
        at.within(&["loop", "gate", "lon_deg"], gate.lon_deg, &limit(-180.0, 180.0, "longitude in degrees"))?;
    }
    at.within_if(&["loop", "length_m"], c.length_m, &limit(80.0, 200_000.0, "length of one lap in m, not km"))?;
    at.within_if(
        &["loop", "length_sd_m"],
        c.length_sd_m,
        &limit(0.01, 100.0, "standard deviation of the ridden lap about length_m, in m"),
    )?;
    if c.length_sd_m.is_some() && c.length_m.is_none() {
        let message = "length_sd_m without length_m; state the length it belongs to, or leave it out".to_string();
        return Err(at.inconsistent(&["loop", "length_sd_m"], message));
    }
    at.within_if(
        &["loop", "survey_sd_m"],
        c.survey_sd_m,
        &limit(0.0005, 5.0, "standard deviation of a surveyed height in m"),
    )?;
    at.within_if(
        &["loop", "bend_radius_m"],
        c.bend_radius_m,
        &limit(8.0, 120.0, "radius of the bends at the measuring line in m"),
    )?;
    at.within_if(
        &["loop", "transition_m"],
        c.transition_m,
        &limit(0.0, 60.0, "length over which the bend tightens in m"),
    )?;
    at.within_if(
        &["loop", "home_straight_bearing_deg"],
        c.home_straight_bearing_deg,
        &limit(0.0, 360.0, "degrees clockwise from north"),
    )?;
    form_of_a_track_only(session, at)?;
    if c.kind == Venue::Track {
        let Some(length) = c.length_m else {
            return Err(at.inconsistent(
                &["loop", "kind"],
                "a track needs length_m, the length of one lap along the measuring line".into(),
            ));
        };
        if let Some(radius) = c.bend_radius_m {
            let transition = c.transition_m.unwrap_or(0.0);
            let bends = 2.0 * std::f64::consts::PI * radius + 2.0 * transition;
            if bends >= length {
                return Err(at.inconsistent(&["loop", "bend_radius_m"], format!("two bends of {radius} m radius with transitions of {transition} m take {bends:.1} m, more than the lap of {length} m; check bend_radius_m, transition_m and length_m")));
            }
        }
    }
    at.within_if(&["loop", "temperature_coefficient_per_c"], c.temperature_coefficient_per_c, &COEFFICIENT)?;
    at.within_if(&["loop", "reference_temperature_c"], c.reference_temperature_c, &limit(-10.0, 50.0, "in °C"))?;
    let r = &session.rollers;
    at.within(
        &["rollers", "drum_diameter_m"],
        r.drum_diameter_m,
        &limit(0.03, 3.0, "diameter in m, not mm and not the radius"),
    )?;
    at.within(
        &["rollers", "drum_spacing_m"],
        r.drum_spacing_m,
        &limit(0.0, 1.0, "between the axles of the two rear drums in m"),
    )?;
    at.within(
        &["rollers", "rear_weight_fraction"],
        r.rear_weight_fraction,
        &limit(0.2, 1.0, "share of the weight on the rear wheel: 0.55 is usual"),
    )?;
    at.within_if(
        &["rollers", "no_load_power_w_at_40_km_h"],
        r.no_load_power_w_at_40_km_h,
        &limit(0.0, 200.0, "drag of the empty drums at 40 km/h in W"),
    )?;
    at.within(&["rollers", "temperature_coefficient_per_c"], r.temperature_coefficient_per_c, &COEFFICIENT)?;
    at.within(&["rollers", "reference_temperature_c"], r.reference_temperature_c, &limit(-10.0, 50.0, "in °C"))
}

/// What is stated of the bends of a track must not be passed over in silence on a road.
fn form_of_a_track_only(session: &Session, at: &Checker) -> Result<(), Error> {
    let c = &session.circuit;
    let is_track = |run: &Run| session.venue_of(run) == Venue::Track;
    if c.kind == Venue::Track || session.runs.iter().any(is_track) {
        return Ok(());
    }
    let stated = [
        ("bend_radius_m", c.bend_radius_m),
        ("transition_m", c.transition_m),
        ("home_straight_bearing_deg", c.home_straight_bearing_deg),
    ];
    match stated.into_iter().find(|(_, value)| value.is_some()) {
        None => Ok(()),
        Some((key, _)) => Err(at.inconsistent(
            &["loop", key],
            format!(
                "{key} describes a track of two bends and would not be used; say kind = \"track\" with length_m, or remove it (on a \
                 road the bends are those that positions show)"
            ),
        )),
    }
}

/// Checks stated readings of the air by themselves.
pub(super) fn readings(a: &Air, at: &Checker) -> Result<(), Error> {
    at.within_if(&["air", "temperature_c"], a.temperature_c, &limit(-30.0, 55.0, "in °C, not °F or K"))?;
    at.within_if(&["air", "pressure_hpa"], a.pressure_hpa, &PRESSURE)?;
    at.within_if(&["air", "humidity_pct"], a.humidity_pct, &limit(0.0, 100.0, "per cent: 60, not 0.6"))?;
    if let Some(h) = a.humidity_pct
        && h > 0.0
        && h <= 1.0
    {
        return Err(at.inconsistent(
            &["air", "humidity_pct"],
            format!("humidity_pct = {h} looks like a fraction; give per cent, such as 60"),
        ));
    }
    Ok(())
}

/// The same ranges for the air of a venue or a run, told where it stands.
fn air_here(here: AirHere, path: &[&str], at: &Checker) -> Result<(), Error> {
    readings(&Air::default().with(here), at).map_err(|error| match error {
        Error::OutOfRange { file, key, value, low, high, hint, .. } => {
            let name = key.rsplit('.').next().unwrap_or_default().to_string();
            let line = at.line(&[path, &["air", &name]].concat());
            let place = path.iter().filter(|p| p.parse::<usize>().is_err()).copied().collect::<Vec<_>>().join(".");
            Error::OutOfRange { file, line, key: format!("{place}.air.{name}"), value, low, high, hint }
        }
        Error::Inconsistent { file, message, .. } => {
            Error::Inconsistent { file, line: at.line(&[path, &["air"]].concat()), message }
        }
        other => other,
    })
}

fn weather(session: &Session, at: &Checker) -> Result<(), Error> {
    let a = &session.air;
    readings(a, at)?;
    air_here(session.rollers.air.unwrap_or_default(), &["rollers"], at)?;
    for (i, run) in session.runs.iter().enumerate() {
        air_here(run.air.unwrap_or_default(), &["run", &i.to_string()], at)?;
    }
    let w = &session.wind;
    at.within_if(
        &["wind", "speed_m_s"],
        w.speed_m_s,
        &limit(0.0, 20.0, "in m/s, not km/h; nobody should test above 6"),
    )?;
    at.within_if(
        &["wind", "from_deg"],
        w.from_deg,
        &limit(0.0, 360.0, "where it blows from, degrees clockwise from north"),
    )?;
    at.within(
        &["wind", "mast_height_m"],
        w.mast_height_m,
        &limit(0.5, 200.0, "height of the wind gauge above ground in m"),
    )?;
    at.within(
        &["wind", "roughness_length_m"],
        w.roughness_length_m,
        &limit(
            1e-5,
            0.06 * w.mast_height_m.max(1.2),
            "roughness length in m: 0.03 for short grass; the profile is not valid above a twentieth of the height",
        ),
    )?;
    if let Gusts::StandardDeviation(sd) = w.gusts {
        at.within(
            &["wind", "gusts"],
            sd,
            &limit(0.0, 5.0, "standard deviation along travel in m/s, or \"estimate\" or \"none\""),
        )?;
    }
    if w.mode == WindMode::Given && a.log.is_none() && (w.speed_m_s.is_none() || w.from_deg.is_none()) {
        return Err(at.inconsistent(
            &["wind", "mode"],
            "wind mode \"given\" needs speed_m_s and from_deg, or a weather log with wind_speed_m_s and wind_from_deg"
                .into(),
        ));
    }
    if w.mode != WindMode::Given && (w.speed_m_s.is_some() || w.from_deg.is_some()) {
        return Err(at.inconsistent(
            &["wind", "speed_m_s"],
            "a wind is stated but mode is not \"given\"; set mode = \"given\" or remove speed_m_s and from_deg".into(),
        ));
    }
    Ok(())
}

fn choices(session: &Session, at: &Checker) -> Result<(), Error> {
    let s = &session.solve;
    if let Lag::Seconds(lag) = s.lag {
        at.within(&["solve", "lag"], lag, &limit(-3.0, 3.0, "seconds that speed runs behind power, or \"estimate\""))?;
    }
    if s.crr_drift && session.runs.iter().all(|run| session.venue_of(run) == Venue::Rollers) {
        let message = "crr_drift is for runs on a loop; on rollers the warm-up is cut off instead. Leave it out".into();
        return Err(at.inconsistent(&["solve", "crr_drift"], message));
    }
    at.within(&["solve", "confidence"], s.confidence, &limit(0.5, 0.999, "a fraction: 0.95, not 95"))?;
    at.within_if(
        &["solve", "negligible_power_w"],
        s.negligible_power_w,
        &limit(0.01, 50.0, "watts at the reference speed"),
    )?;
    let r = &session.reference;
    at.within(&["reference", "speed_km_h"], r.speed_km_h, &limit(5.0, 120.0, "in km/h"))?;
    at.within_if(&["reference", "mass_kg"], r.mass_kg, &MASS)?;
    at.within(&["reference", "air_density_kg_m3"], r.air_density_kg_m3, &limit(0.6, 1.6, "in kg/m³; 1.2 at sea level"))
}

fn setups_and_runs(session: &Session, at: &Checker) -> Result<(), Error> {
    // Before anything that compares each with each.
    for (what, key, count, limit) in
        [("runs", "run", session.runs.len(), MOST_RUNS), ("set-ups", "setup", session.setups.len(), MOST_SETUPS)]
    {
        if count > limit {
            let message =
                format!("{count} {what}, more than the limit of {limit}; part the day into sessions and pool them");
            return Err(at.inconsistent(&[key, &limit.to_string()], message));
        }
    }
    if session.setups.is_empty() {
        return Err(at.inconsistent(&[], "there is no [[setup]]; name at least one with an id".into()));
    }
    if session.runs.is_empty() {
        return Err(at.inconsistent(&[], "there is no [[run]]; name at least one ride file and its setup".into()));
    }
    let ids = || session.setups.iter().map(|s| s.id.as_str()).collect::<Vec<_>>().join(", ");
    // A slip in a run's set-up also leaves one without runs; the slip is what to tell of.
    for (i, run) in session.runs.iter().enumerate() {
        if !session.setups.iter().any(|s| s.id == run.setup) {
            return Err(at.inconsistent(
                &["run", &i.to_string(), "setup"],
                format!(
                    "run {} ({}) names set-up «{}», which is not there; there are: {}",
                    i + 1,
                    run.file,
                    run.setup,
                    ids()
                ),
            ));
        }
    }
    for (i, setup) in session.setups.iter().enumerate() {
        let n = i.to_string();
        if setup.id.is_empty() {
            return Err(at.inconsistent(&["setup", &n], "a set-up needs a non-empty id".into()));
        }
        if session.setups[..i].iter().any(|s| s.id == setup.id) {
            return Err(at.inconsistent(
                &["setup", &n, "id"],
                format!("set-up «{}» is there twice; give each its own id", setup.id),
            ));
        }
        if !session.runs.iter().any(|r| r.setup == setup.id) {
            return Err(at.inconsistent(
                &["setup", &n, "id"],
                format!("set-up «{}» has no run; add a [[run]] with setup = \"{}\" or remove it", setup.id, setup.id),
            ));
        }
    }
    factors(session, at)?;
    if let Some(b) = &session.baseline
        && !session.setups.iter().any(|s| &s.id == b)
    {
        return Err(at.inconsistent(&["baseline"], format!("baseline «{b}» is not a set-up; there are: {}", ids())));
    }
    for (i, run) in session.runs.iter().enumerate() {
        let n = i.to_string();
        let key = |k| ["run", n.as_str(), k];
        if session.runs[..i].iter().any(|r| r.file == run.file && r.laps == run.laps) {
            return Err(at.inconsistent(
                &key("file"),
                format!("{} is there as a run twice; laps would be counted double", run.file),
            ));
        }
        at.within_if(&key("mass_kg"), run.mass_kg, &MASS)?;
        at.within_if(
            &key("wheel_inertia_kg_m2"),
            run.wheel_inertia_kg_m2,
            &limit(0.0, 1.0, "both wheels together in kg m²"),
        )?;
        at.within_if(&key("wheel_radius_m"), run.wheel_radius_m, &limit(0.15, 0.45, "rolling radius in m"))?;
        at.within_if(&key("centre_of_mass_height_m"), run.centre_of_mass_height_m, &limit(0.3, 1.6, "in m"))?;
        at.within_if(&key("drivetrain_efficiency"), run.drivetrain_efficiency, &limit(0.8, 1.0, "a fraction"))?;
        if let Some(p) = run.tyre_pressure_kpa {
            at.within(&["run", &n, "tyre_pressure_kpa", "front"], p.front, &TYRE)?;
            at.within(&["run", &n, "tyre_pressure_kpa", "rear"], p.rear, &TYRE)?;
        }
        at.within_if(&key("tyre_temperature_c"), run.tyre_temperature_c, &TYRE_TEMPERATURE)?;
        for &speed in &run.planned_speed_km_h {
            at.within(&key("planned_speed_km_h"), speed, &limit(5.0, 120.0, "in km/h, one for each lap, repeated"))?;
        }
        for &lap in run.leave_out.iter().chain(&run.keep) {
            at.within(&key("leave_out"), lap as f64, &limit(1.0, 100_000.0, "laps count from 1"))?;
        }
        lap_reasons(run, &n, at)?;
        window(session, run, &key("window_s"), at)?;
    }
    one_loop(session, at)
}

/// A reason belongs to a lap that was chosen, and fits into a table.
fn lap_reasons(run: &Run, n: &str, at: &Checker) -> Result<(), Error> {
    for (lap, reason) in &run.lap_reasons {
        let key = ["run", n, "lap_reasons", lap];
        let chosen = lap.parse().is_ok_and(|l: usize| run.leave_out.contains(&l) || run.keep.contains(&l));
        if !chosen {
            let message = format!(
                "lap_reasons names lap {lap}, which is neither in leave_out nor in keep; put its number into one of them"
            );
            return Err(at.inconsistent(&key, message));
        }
        let length = reason.chars().count();
        if length > LONGEST_REASON || reason.chars().any(char::is_control) {
            let message = format!(
                "the reason of lap {lap} has {length} characters, at most {LONGEST_REASON} on one line are shown; shorten it"
            );
            return Err(at.inconsistent(&key, message));
        }
    }
    Ok(())
}

/// Factors by themselves, and pressures against their range and what the runs state.
fn factors(session: &Session, at: &Checker) -> Result<(), Error> {
    if let Err(wrong) = session.stated_factors() {
        let n = wrong.setup.to_string();
        let mut path = vec!["setup", n.as_str(), "factors"];
        path.extend(wrong.key.as_deref());
        return Err(at.inconsistent(&path, wrong.message));
    }
    let Some(all) = session.factors() else { return Ok(()) };
    for factor in &all.list {
        let Levels::Quantities { unit, of_setup } = &factor.levels else { continue };
        let Some(kpa) = kpa_from(unit.key).filter(|_| factor.key.contains("press")) else { continue };
        for (s, level) in of_setup.iter().enumerate() {
            let n = s.to_string();
            let path = ["setup", n.as_str(), "factors", factor.key.as_str()];
            let range = limit(TYRE.low / kpa, TYRE.high / kpa, "tyre pressure: 1 bar is 100 kPa, 1 psi is 6.9 kPa");
            at.within(&path, *level, &range)?;
            let runs = session.runs.iter().enumerate().filter(|(_, run)| run.setup == session.setups[s].id);
            for (i, p) in runs.filter_map(|(i, run)| run.tyre_pressure_kpa.map(|p| (i, p))) {
                let stated = level * kpa;
                if stated < 0.9 * p.front.min(p.rear) || stated > 1.1 * p.front.max(p.rear) {
                    return Err(at.inconsistent(
                        &path,
                        format!(
                            "set-up «{}» has {} = {level}, but run {} of it states tyre_pressure_kpa = {{ front = {}, rear = {} }}; \
                             one of them is a slip, so correct it",
                            session.setups[s].id,
                            factor.key,
                            i + 1,
                            p.front,
                            p.rear
                        ),
                    ));
                }
            }
        }
    }
    Ok(())
}

/// kPa in one unit of pressure.
fn kpa_from(unit: &str) -> Option<f64> {
    match unit {
        "kpa" => Some(1.0),
        "bar" => Some(1.0 / bar_from_kpa(1.0)),
        "psi" => Some(1.0 / psi_from_kpa(1.0)),
        _ => None,
    }
}

/// A stated window is for rollers and runs forward.
fn window(session: &Session, run: &Run, key: &[&str], at: &Checker) -> Result<(), Error> {
    let Some([from_s, to_s]) = run.window_s else { return Ok(()) };
    let seconds = limit(0.0, 86_400.0, "seconds from the first record of the run, not minutes and not a time of day");
    at.within(key, from_s, &seconds)?;
    at.within(key, to_s, &seconds)?;
    if session.venue_of(run) != Venue::Rollers {
        let message = "window_s is for runs on rollers; say on = \"rollers\", or use leave_out for laps".into();
        return Err(at.inconsistent(key, message));
    }
    if from_s >= to_s {
        return Err(at.inconsistent(key, format!("window_s = [{from_s}, {to_s}] ends before it begins")));
    }
    Ok(())
}

/// The session has one [loop], so that its runs are on one kind of it beside rollers.
fn one_loop(session: &Session, at: &Checker) -> Result<(), Error> {
    let mut loops = session.runs.iter().enumerate().filter(|(_, run)| session.venue_of(run) != Venue::Rollers);
    let Some((_, first)) = loops.next() else { return Ok(()) };
    let kind = session.venue_of(first);
    if let Some((i, _)) = loops.find(|(_, run)| session.venue_of(run) != kind) {
        let message = "road and track in one session: it has one [loop]. Write a session for each and pool them".into();
        return Err(at.inconsistent(&["run", &i.to_string(), "on"], message));
    }
    if kind == Venue::Track && session.circuit.length_m.is_none() {
        return Err(at.inconsistent(&["loop"], "a run on a track needs length_m under [loop]".into()));
    }
    Ok(())
}
