//! A plan that cannot be meant is refused with the place, the limit and what to do.

use loopwright::error::Error;
use loopwright::plan::Plan;

const SOUND: &str = r#"order = ["a"]
laps_per_run = 6
speeds_km_h = [29.0, 41.0]

[rider_and_bike]
mass_kg = 85.0

[loop]
length_m = 1200.0

[noise]
gust_sd_m_s = 0.3

[[setup]]
id = "a"
cda_m2 = 0.30
crr = 0.0045
"#;

fn refusal(from: &str, to: &str) -> String {
    assert!(SOUND.contains(from));
    let error = Plan::from_toml(&SOUND.replace(from, to), "PLAN.toml").expect_err(to);
    assert_eq!(error.exit_status(), 2, "what a person wrote wrong has status 2: {error}");
    error.to_string()
}

#[test]
fn the_sound_plan_is_accepted_and_survives_being_written() {
    let plan = Plan::from_toml(SOUND, "PLAN.toml").unwrap();
    let again = Plan::from_toml(&toml::to_string(&plan).unwrap(), "again.toml").unwrap();
    assert_eq!(plan, again);
}

#[test]
fn an_unknown_key_names_the_nearest_one() {
    let said = refusal("gust_sd_m_s = 0.3", "gust_sd = 0.3");
    assert!(said.contains("PLAN.toml:12") && said.contains("did you mean «gust_sd_m_s»"), "{said}");
}

#[test]
fn values_out_of_range_name_line_key_and_range() {
    for (from, to, line, key) in [
        ("cda_m2 = 0.30", "cda_m2 = 30.0", 16, "setup.cda_m2"),
        ("crr = 0.0045", "crr = 4.5", 17, "setup.crr"),
        ("mass_kg = 85.0", "mass_kg = 85000.0", 6, "rider_and_bike.mass_kg"),
        ("length_m = 1200.0", "length_m = 1.2", 9, "loop.length_m"),
        ("gust_sd_m_s = 0.3", "gust_sd_m_s = 30.0", 12, "noise.gust_sd_m_s"),
        ("laps_per_run = 6", "laps_per_run = 0", 2, "laps_per_run"),
        ("speeds_km_h = [29.0, 41.0]", "speeds_km_h = [29.0, 410.0]", 3, "speeds_km_h"),
        ("speeds_km_h = [29.0, 41.0]", "powers_w = [180.0, 3200.0]", 3, "powers_w"),
        ("gust_sd_m_s = 0.3", "[day]\nshelter_least = 1.4", 13, "day.shelter_least"),
        ("gust_sd_m_s = 0.3", "[day]\nyaw_coefficient = 15.0", 13, "day.yaw_coefficient"),
        ("gust_sd_m_s = 0.3", "[day]\ncda_run_to_run = 1.0", 13, "day.cda_run_to_run"),
        ("gust_sd_m_s = 0.3", "[day]\ncrr_run_to_run = 0.5", 13, "day.crr_run_to_run"),
        ("gust_sd_m_s = 0.3", "[day]\nslow_lap_cda_excess = 2.0", 13, "day.slow_lap_cda_excess"),
        ("gust_sd_m_s = 0.3", "[day]\nwind_turns_deg = 180.0", 13, "day.wind_turns_deg"),
        ("gust_sd_m_s = 0.3", "[day]\njunction_at = 450.0", 13, "day.junction_at"),
        ("gust_sd_m_s = 0.3", "[day]\njunction_stops = 3.0", 13, "day.junction_stops"),
        ("gust_sd_m_s = 0.3", "[day]\njunction_wait_s = 0.0", 13, "day.junction_wait_s"),
        ("gust_sd_m_s = 0.3", "[day]\nsheltered_part = [20.0, 50.0]", 13, "day.sheltered_part"),
    ] {
        let said = refusal(from, to);
        assert!(said.contains(&format!("PLAN.toml:{line}:")) && said.contains(key), "{said}");
        assert!(said.contains("is outside"), "{said}");
    }
}

#[test]
fn not_a_number_is_no_value() {
    let said = refusal("crr = 0.0045", "crr = nan");
    assert!(said.contains("crr = NaN is outside"), "{said}");
}

#[test]
fn parts_that_do_not_fit_are_told_apart() {
    for (from, to, says) in [
        ("order = [\"a\"]", "order = [\"a\", \"b\"]", "run 2 is of set-up «b»"),
        ("order = [\"a\"]", "order = []", "order is empty"),
        ("speeds_km_h = [29.0, 41.0]", "speeds_km_h = []", "speeds_km_h is empty"),
        ("speeds_km_h = [29.0, 41.0]", "", "or powers_w"),
        ("laps_per_run = 6", "powers_w = [200.0]", "both stated"),
        ("laps_per_run = 6", "laps_per_run = 1", "2 entries, one a lap, for 1 laps"),
        ("speeds_km_h = [29.0, 41.0]", "powers_w = [200.0]\non = [\"rollers\"]", "state rollers_speed_km_h"),
        ("gust_sd_m_s = 0.3", "[day]\nsheltered_part = [0.2, 0.5]", "shelters nothing"),
        ("gust_sd_m_s = 0.3", "[day]\nshelter_least = 0.3\nsheltered_part = [0.9, 0.1]", "must end at least"),
        ("length_m = 1200.0", "kind = \"road\"", "needs length_m"),
        ("length_m = 1200.0", "length_m = 1200.0\nbend_radius_m = 12.0", "more than the 0.7 g"),
        ("length_m = 1200.0", "length_m = 1200.0\nelevation_amplitude_m = 40.0", "lower elevation_amplitude_m"),
        ("length_m = 1200.0", "length_m = 250.0\nkind = \"track\"\nbend_radius_m = 40.0", "more than the lap"),
        ("laps_per_run = 6", "laps_per_run = 400\nstart = \"soon\"", "is not a time"),
        ("laps_per_run = 6", "laps_per_run = 500", "4 h a run"),
        ("laps_per_run = 6", "laps_per_run = 6\nrun_mass_kg = [80.0, 81.0]", "2 entries for 1 runs"),
        ("laps_per_run = 6", "laps_per_run = 6\non = [\"track\"]", "on rollers"),
        ("crr = 0.0045", "crr = 0.0045\n[[setup]]\nid = \"b\"\ncda_m2 = 0.3\ncrr = 0.004", "is not in order"),
        (
            "crr = 0.0045",
            "crr = 0.0045\n[[mishap]]\nrun = 2\nkind = \"stop\"\nat_s = 1.0\nduration_s = 2.0",
            "mishap.run = 2",
        ),
    ] {
        let said = refusal(from, to);
        assert!(said.contains(says), "expected «{says}» in: {said}");
    }
}

#[test]
fn a_power_that_nobody_rides_a_test_at_names_its_speed() {
    // Against Crr 0.03, that of mud, 30 W go at walking pace.
    let mud = SOUND.replace("speeds_km_h = [29.0, 41.0]", "powers_w = [30.0]").replace("crr = 0.0045", "crr = 0.03");
    let said = Plan::from_toml(&mud, "PLAN.toml").expect_err("walking pace").to_string();
    assert!(said.contains("30 W hold") && said.contains("change powers_w"), "{said}");
    let said = Plan::from_toml(
        &SOUND
            .replace("speeds_km_h = [29.0, 41.0]", "speeds_km_h = [36.0]")
            .replace("gust_sd_m_s = 0.3", "[day]\nslow_lap_cda_excess = 0.02"),
        "PLAN.toml",
    )
    .expect_err("one speed has no slow laps")
    .to_string();
    assert!(said.contains("needs laps at two planned speeds"), "{said}");
}

#[test]
fn a_plan_that_nobody_can_ride_is_refused_when_it_is_ridden() {
    // Out of still air the power for 13 km/h is some 100 W; into 12 m/s on 1.5 m² that drives at walking pace.
    let text = SOUND
        .replace("[noise]", "[wind]\nspeed_m_s = 12.0\nfrom_deg = 90.0\n\n[noise]")
        .replace("speeds_km_h = [29.0, 41.0]", "speeds_km_h = [13.0]")
        .replace("cda_m2 = 0.30", "cda_m2 = 1.5");
    let plan = Plan::from_toml(&text, "PLAN.toml").unwrap();
    let refused = loopwright::simulate::simulate(&plan, 1).map(|day| day.truth.runs).expect_err("nobody rides this");
    assert!(matches!(refused, Error::NotRidden { run: 1, .. }), "{refused}");
    assert!(refused.to_string().contains("is not finished after"), "{refused}");
}
