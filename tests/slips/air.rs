//! Temperatures, pressures and winds that do not fit the device, the place or the laps.

use crate::day::{LIGHT, Wind, codes, drums, given, solved, told, tyres, tyres_at, warns_first};
use crate::program::Desk;
use loopwright::session::{AirHere, WindMode};

#[test]
fn a_temperature_unlike_that_of_the_device_is_told_once() {
    for (stated_c, odd) in [(50.0, true), (27.0, true), (21.0, false), (14.0, false), (8.0, true)] {
        let mut day = tyres(30);
        day.session.air.temperature_c = Some(stated_c);
        let solution = solved(&day);
        assert_eq!(told(&solution, "temperature-odd").len(), usize::from(odd), "{stated_c}: {:?}", codes(&solution));
        assert_eq!(warns_first(&solution), odd);
    }
}

#[test]
fn a_pressure_reduced_to_sea_level_is_told_once_from_the_height_at_which_weather_cannot_be_it() {
    // At 250 m the standard atmosphere has 983.6 hPa and at 100 m 1001.3 hPa (ISO 2533).
    for (altitude_m, true_hpa, stated_hpa, odd) in [
        (250.0, 984.0, 1013.0, true),
        (250.0, 984.0, 984.0, false),
        (250.0, 990.0, 1020.0, true),
        (600.0, 943.0, 1008.0, true),
        (100.0, 1001.0, 1013.25, true),
        (100.0, 1012.0, 1012.0, false),
    ] {
        let mut day = tyres_at(altitude_m, LIGHT, true_hpa, 31);
        day.session.air.pressure_hpa = Some(stated_hpa);
        let solution = solved(&day);
        let findings = told(&solution, "pressure-odd");
        assert_eq!(findings.len(), usize::from(odd), "{stated_hpa} at {altitude_m}: {:?}", codes(&solution));
        assert!(findings.iter().all(|f| f.run.is_none() && f.message.contains("reduced to sea level")));
    }
}

#[test]
fn the_command_checks_a_pressure_against_the_elevation() {
    let desk = Desk::new();
    let air =
        |hpa: &str, m: &str| desk.json(&["air", "--temperature-c", "18", "--elevation-m", m, "--pressure-hpa", hpa]);
    let odd = air("1013", "312");
    assert!(odd["findings"].to_string().contains("pressure-odd"), "{odd}");
    assert!(!air("976", "312")["findings"].to_string().contains("pressure-odd"));
    let text = desk.answered(&["air", "--temperature-c", "18", "--elevation-m", "312", "--pressure-hpa", "1013"]);
    assert!(text.contains("37 hPa above the standard atmosphere at 312 m"), "{text}");
}

#[test]
fn a_stated_wind_that_the_laps_contradict_is_told_once_and_a_true_one_is_not() {
    // At 10 m over short grass 1 m/s is 0.635 m/s at the height of a rider (logarithmic profile, roughness 0.03 m).
    let mast = |speed: f64| speed / 0.635;
    for (speed_m_s, from_deg, odd) in
        [(12.0, 205.0, true), (mast(1.3), 205.0, false), (mast(1.3), 25.0, true), (4.5, 205.0, true)]
    {
        let mut day = tyres_at(30.0, Wind { ..LIGHT }, 1008.0, 32);
        let wind = &mut day.session.wind;
        (wind.mode, wind.speed_m_s, wind.from_deg) = (WindMode::Given, Some(speed_m_s), Some(from_deg));
        let solution = solved(&day);
        assert_eq!(told(&solution, "wind-odd").len(), usize::from(odd), "{speed_m_s}: {:?}", codes(&solution));
    }
}

#[test]
fn air_of_one_run_holds_for_that_run_alone() {
    let mut day = tyres(33);
    let before = solved(&day);
    day.session.runs[2].air = Some(AirHere { temperature_c: Some(25.0), ..AirHere::default() });
    let after = solved(&day);
    let density = |s: &loopwright::solution::Solution, k: usize| s.runs[k].air_density_kg_m3.expect("a density");
    // Density goes with 1/T, 19 to 25 °C, and a little more for the vapour of warmer air.
    let ratio = density(&after, 2) / density(&before, 2);
    assert!((ratio - 292.15 / 298.15).abs() < 0.003, "{ratio}");
    assert_eq!(density(&after, 1), density(&before, 1));
    assert_eq!(after.runs[2].temperature_c, Some(25.0));
}

#[test]
fn air_of_the_rollers_is_not_that_of_the_day() {
    let mut day = drums(34);
    day.session.rollers.temperature_coefficient_per_c = 0.01;
    day.session.air.temperature_c = Some(10.0);
    let outdoors = given(&solved(&day), 0).crr;
    day.session.rollers.air = Some(AirHere { temperature_c: Some(20.0), ..AirHere::default() });
    let solution = solved(&day);
    // At the reference of 20 °C nothing is corrected; from 10 °C by 1 % a degree.
    let ratio = outdoors / given(&solution, 0).crr;
    assert!((ratio - 0.9).abs() < 0.02, "{ratio}");
    assert!(solution.runs.iter().all(|r| r.temperature_c == Some(20.0)));
}

#[test]
fn air_of_a_run_is_checked_where_it_stands() {
    use loopwright::session::Session;
    let session = |air: &str| {
        let text = format!(
            "[rider_and_bike]\nmass_kg = 85.0\n[[setup]]\nid = \"a\"\n[[run]]\nfile = \"a.fit\"\nsetup = \"a\"\nair = {{ {air} }}\n"
        );
        Session::from_toml(&text, "s.toml")
    };
    assert!(session("temperature_c = 21.0").is_ok());
    let refused = session("temperature_c = 294.0").expect_err("kelvin").to_string();
    assert!(refused.contains("s.toml:8: run.air.temperature_c = 294"), "{refused}");
    assert!(session("log = \"w.csv\"").expect_err("a log is of the day").to_string().contains("unknown key"));
    assert!(session("humidity_pct = 0.6").expect_err("a fraction").to_string().contains("s.toml:8"));
}
