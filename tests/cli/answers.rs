//! `air` and `demand`: numbers that others vouch for, as text and as JSON, in both systems of units.

use crate::program::Desk;

#[test]
fn the_density_of_room_air_is_that_of_the_metrologists() {
    // Picard et al. 2008 evaluated independently in double precision: the example of the library's own documentation is
    // 1.199314 kg/m³ at 20 °C, 1013.25 hPa, 50 %.
    let air = Desk::new().json(&["air", "--temperature-c", "20", "--pressure-hpa", "1013.25", "--humidity-pct", "50"]);
    let density = air["density_kg_m3"].as_f64().expect("a density");
    assert!((density - 1.199_314).abs() < 1e-6, "{density}");
    // 0.5 K and 1 hPa are 0.185 % and 0.099 % of density, 5 % humidity 0.044 %: 0.214 % together, by the sensitivities
    // −0.3692 %/K, 0.09916 %/hPa and −0.00873 % per 1 % of the same formula.
    let u = air["standard_uncertainty_kg_m3"].as_f64().expect("an uncertainty");
    assert!((u / density - 0.00214).abs() < 2e-5, "{u}");
}

#[test]
fn an_elevation_stands_for_the_pressure_and_says_so() {
    let desk = Desk::new();
    let air = desk.json(&["air", "--temperature-c", "15", "--elevation-m", "2000"]);
    // ISO 2533: 795.0 hPa at 2000 m geometric.
    assert!(air["pressure_hpa"].as_f64().is_some_and(|p| (p - 795.01).abs() < 0.02), "{air}");
    assert!(air["pressure_uncertainty_hpa"].as_f64().is_some_and(|u| u >= 10.0), "{air}");
    let codes: Vec<&str> =
        air["findings"].as_array().expect("a list").iter().filter_map(|f| f["code"].as_str()).collect();
    assert_eq!(codes, ["pressure-assumed", "humidity-assumed"]);
    let text = desk.answered(&["air", "--temperature-c", "15", "--pressure-hpa", "1013", "--elevation-m", "900"]);
    assert!(text.contains("reduced to sea level"), "{text}");
}

#[test]
fn air_that_is_stated_wrongly_is_refused() {
    let desk = Desk::new();
    desk.refused(&["air", "--temperature-c", "64", "--pressure-hpa", "978"], 2, &["--temperature-c = 64", "not °F"]);
    desk.refused(&["air", "--temperature-c", "18", "--pressure-hpa", "97800"], 2, &["--pressure-hpa = 97800"]);
    desk.refused(
        &["air", "--temperature-c", "18", "--pressure-hpa", "978", "--humidity-pct", "0.6"],
        2,
        &["0.6 looks like a fraction", "such as 60"],
    );
    desk.refused(&["air", "--pressure-hpa", "978"], 2, &["--temperature-c: missing"]);
    desk.refused(&["air", "--temperature-c", "18"], 2, &["--pressure-hpa: missing", "--elevation-m"]);
}

const RIDER: [&str; 7] = ["demand", "--mass-kg", "85", "--crr", "0.004", "--cda-m2", "0.30"];

fn demand(more: &[&str]) -> Vec<&'static str> {
    RIDER.iter().copied().chain(more.iter().map(|m| &*Box::leak(m.to_string().into_boxed_str()))).collect()
}

#[test]
fn the_power_at_a_speed_is_the_sum_of_its_causes() {
    let value = Desk::new().json(&demand(&[
        "--speed-km-h",
        "36",
        "--drivetrain-efficiency",
        "1",
        "--air-density-kg-m3",
        "1.2",
    ]));
    let d = &value["paces"][0]["demand"];
    let watts = |cause: &str| d[cause].as_f64().expect("watts");
    // At 10 m/s: ½ · 1.2 · 0.30 · 10³ = 180 W; 0.004 · 85 · 9.80665 · 10 = 33.34 W; (0.091 + 0.0087 · 10) · 10 = 1.78 W.
    assert!((watts("aero_w") - 180.0).abs() < 1e-9 && (watts("rolling_w") - 33.342_61).abs() < 1e-4, "{d}");
    assert!((watts("bearing_w") - 1.78).abs() < 1e-9 && (watts("total_w") - 215.122_61).abs() < 1e-4, "{d}");
}

#[test]
fn speed_and_power_are_each_others_inverse_and_journeys_follow() {
    let desk = Desk::new();
    let at_speed = desk.json(&demand(&["--speed-km-h", "40", "--distance-km", "20"]));
    let power = at_speed["paces"][0]["demand"]["total_w"].as_f64().expect("watts");
    // 20 km at 40 km/h are half an hour.
    assert!(at_speed["paces"][0]["journey"]["time_s"].as_f64().is_some_and(|t| (t - 1800.0).abs() < 1e-6));
    let at_power = desk.json(&demand(&["--power-w", &power.to_string()]));
    let speed = at_power["paces"][0]["demand"]["speed_m_s"].as_f64().expect("a speed");
    assert!((speed - 40.0 / 3.6).abs() < 1e-6, "{speed}");
    assert!(at_power["paces"][0]["journey"].is_null());
}

#[test]
fn two_sets_of_parameters_stand_beside_each_other() {
    let desk = Desk::new();
    let arguments = demand(&["--speed-km-h", "36", "--against-crr", "0.003", "--drivetrain-efficiency", "1"]);
    let value = desk.json(&arguments);
    // 0.001 · 85 · 9.80665 · 10 = 8.336 W less.
    let difference = value["paces"][0]["difference"]["power_w"].as_f64().expect("watts");
    assert!((difference + 8.335_65).abs() < 1e-4, "{difference}");
    assert_eq!(value["against"]["cda_m2"], value["parameters"]["cda_m2"]);
    let text = desk.answered(&arguments);
    assert!(text.contains("Difference, W") && text.contains("-8.3"), "{text}");
}

#[test]
fn people_get_their_units_and_scripts_always_get_si() {
    let desk = Desk::new();
    let metric = demand(&["--speed-km-h", "40", "--distance-km", "16.09344"]);
    let imperial = demand(&["--speed-km-h", "40", "--distance-km", "16.09344", "--units", "imperial"]);
    // 40 km/h are 24.85 mph, told as reports tell their reference, and 16.09344 km are ten miles of 1609.344 m.
    let text = desk.answered(&imperial);
    assert!(text.contains("24.9 mph") && text.contains("10 mi") && !text.contains("km"), "{text}");
    assert_eq!(desk.json(&metric), desk.json(&imperial));
}

#[test]
fn a_pace_that_cannot_be_is_refused() {
    let desk = Desk::new();
    desk.refused(&demand(&[]), 2, &["--speed-km-h", "--power-w"]);
    desk.refused(&demand(&["--speed-km-h", "40", "--power-w", "200"]), 2, &["cannot be used with"]);
    desk.refused(&demand(&["--speed-km-h", "400"]), 2, &["--speed-km-h = 400 is outside"]);
    desk.refused(&demand(&["--power-w", "200", "--gradient-pct", "80"]), 2, &["--gradient-pct = 80 is outside"]);
    desk.refused(&demand(&["--power-w", "200", "--against-mass-kg", "8600"]), 2, &["--against-mass-kg = 8600"]);
    desk.refused(&["demand", "--mass-kg", "85", "--crr", "4", "--cda-m2", "0.3", "--power-w", "9"], 2, &["--crr = 4"]);
    let downhill =
        ["demand", "--mass-kg", "85", "--crr", "0", "--cda-m2", "0", "--power-w", "200", "--gradient-pct", "-5"];
    desk.refused(&downhill, 1, &["nothing limits the speed", "check CdA"]);
}

/// `stty cols 40` leaves a terminal of no rows; `script` makes one.
#[cfg(target_os = "linux")]
#[test]
fn a_terminal_is_followed_that_knows_its_columns_and_not_its_rows() {
    let program = env!("CARGO_BIN_EXE_loopwright");
    let lines = |setting: &str| -> Option<Vec<usize>> {
        let asked = demand(&["--speed-km-h", "40"]).join(" ");
        let mut script = std::process::Command::new("script");
        script
            .args(["-qec", &format!("{setting}; exec {program} {asked} 2>/dev/null"), "/dev/null"])
            .env_remove("COLUMNS");
        let output = script.stdin(std::process::Stdio::null()).output().ok()?;
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let plain = loopwright::report::text::MARKS.iter().fold(text, |text, mark| text.replace(mark, ""));
        Some(plain.lines().map(|line| line.trim_end().chars().count()).collect())
    };
    let Some(narrow) = lines("stty cols 44 rows 0") else {
        println!("skipped: no script");
        return;
    };
    let widest = |lines: Vec<usize>| lines.into_iter().max().unwrap_or(0);
    assert!((30..=44).contains(&widest(narrow)));
    assert!(widest(lines("stty cols 100 rows 30").unwrap()) > 60);
    assert!(widest(lines("stty cols 100 rows 30; export COLUMNS=50").unwrap()) <= 50);
}
