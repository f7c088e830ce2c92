//! Tests of the weather log: what it reads, what it refuses and where it falls silent.

use super::*;

const HEAD: &str = "time,temperature_c,pressure_hpa,humidity_pct,wind_speed_m_s,wind_from_deg\n";

fn log(body: &str) -> WeatherLog {
    WeatherLog::parse(&format!("{HEAD}{body}"), "w.csv").unwrap()
}

fn refusal(text: &str) -> String {
    WeatherLog::parse(text, "w.csv").unwrap_err().to_string()
}

#[test]
fn both_ways_to_write_a_time_are_the_same_instant() {
    // 2021-09-08T01:46:40Z is Unix 1631065600 (FIT epoch arithmetic: 631065600 + 1000000000).
    let a = log("2021-09-08T01:46:40Z,18,978,60,2,90\n").readings[0].unix_s;
    let b = log("2021-09-08T03:46:40+02:00,18,978,60,2,90\n").readings[0].unix_s;
    let c = log("1631065600,18,978,60,2,90\n").readings[0].unix_s;
    let d = log("1631065600.25,18,978,60,2,90\n").readings[0].unix_s;
    assert_eq!((a, b, c, d), (1_631_065_600.0, 1_631_065_600.0, 1_631_065_600.0, 1_631_065_600.25));
}

#[test]
fn wind_turning_through_north_is_interpolated_as_a_vector() {
    let log = log("1631065600,18,978,60,2,350\n1631069200,20,980,40,2,10\n");
    let w = log.at(1_631_065_600.0 + 1800.0).unwrap();
    assert!((w.temperature_c - 19.0).abs() < 1e-12 && (w.pressure_pa - 97_900.0).abs() < 1e-9);
    assert!((w.humidity_pct - 50.0).abs() < 1e-12);
    let wind = w.wind.unwrap();
    // Half way between 350° and 10° is due north with 2·cos 10°, by plane geometry.
    assert!((wind.speed_m_s() - 2.0 * 10f64.to_radians().cos()).abs() < 1e-12);
    assert!(wind.from_deg().is_some_and(|d| !(1e-9..=360.0 - 1e-9).contains(&d)));
}

#[test]
fn the_ends_hold_for_the_stated_reach_and_no_further() {
    let log = log("1631065600,18,978,60,2,90\n1631069200,20,978,60,2,90\n");
    assert_eq!(log.at(1_631_065_600.0 - REACH_S).unwrap().temperature_c, 18.0);
    assert_eq!(log.at(1_631_065_600.0 - REACH_S - 1.0), None);
    assert_eq!(log.at(1_631_069_200.0 + REACH_S).unwrap().temperature_c, 20.0);
    assert_eq!(log.at(1_631_069_200.0 + REACH_S + 1.0), None);
    assert_eq!(log.at(f64::NAN), None);
}

#[test]
fn a_long_hole_is_not_bridged() {
    let log = log("1631065600,18,978,60,2,90\n1631080000,20,978,60,2,90\n");
    assert_eq!(log.at(1_631_070_000.0), None);
    let message = log.check_covers(1_631_065_700.0, 1_631_066_000.0).unwrap_err().to_string();
    assert!(message.contains("silent for 240 min"), "{message}");
}

#[test]
fn a_ride_two_hours_off_is_told_about_the_time_zone() {
    let log = log("1631065600,18,978,60,2,90\n1631069200,20,978,60,2,90\n");
    assert!(log.check_covers(1_631_065_000.0, 1_631_070_000.0).is_ok());
    let message = log.check_covers(1_631_072_800.0, 1_631_076_400.0).unwrap_err().to_string();
    assert!(message.contains("120 min after its last") && message.contains("time zone"), "{message}");
}

#[test]
fn a_log_without_wind_is_fine_and_says_so() {
    let text = "humidity_pct,time,temperature_c,pressure_hpa\n60,1631065600,18,978\n";
    let log = WeatherLog::parse(text, "w.csv").unwrap();
    assert!(log.at(1_631_065_600.0).unwrap().wind.is_none());
}

#[test]
fn refusals_name_line_column_and_limit() {
    for (body, wanted) in [
        ("1631065600,18,978,60,2,90\n1631065600,18,978,60,2,90\n", "w.csv:3: this reading is not later"),
        ("1631065600,68,978,60,2,90\n", "w.csv:2: temperature_c = 68 is outside -30 to 55"),
        ("1631065600,18,97800,60,2,90\n", "w.csv:2: pressure_hpa = 97800 is outside 500 to 1100"),
        ("1631065600,18,978,,2,90\n", "w.csv:2: humidity_pct = «» is not a number"),
        ("1631065600,NaN,978,60,2,90\n", "w.csv:2: temperature_c = NaN is outside"),
        ("10:00,18,978,60,2,90\n", "w.csv:2: time = «10:00» is not RFC 3339"),
        ("2026-06-01T10:00:00,18,978,60,2,90\n", "w.csv:2: time = «2026-06-01T10:00:00» is not RFC 3339"),
        ("36000,18,978,60,2,90\n", "w.csv:2: time = 36000 is not a plausible Unix time"),
        ("1631065600,18,978\n", "w.csv:2: 3 cells where the first line names 6"),
        ("1631065600,18,978,0.6,2,90\n", "looks like a fraction"),
        ("", "the log has no readings"),
    ] {
        let message = refusal(&format!("{HEAD}{body}"));
        assert!(message.contains(wanted), "{message}");
    }
}

#[test]
fn a_wrong_header_names_the_nearest_column() {
    let wrong = refusal("time,temperature_c,pressure_hpa,humidity\n");
    assert!(wrong.contains("unknown column «humidity» (nearest is «humidity_pct»)"), "{wrong}");
    let half = refusal("time,temperature_c,pressure_hpa,humidity_pct,wind_from_deg\n");
    assert!(half.contains("go together"), "{half}");
    assert!(refusal("time,temperature_c,pressure_hpa\n").contains("no column «humidity_pct»"));
    assert!(refusal("time,time\n").contains("twice"));
    assert!(WeatherLog::parse("", "w.csv").is_err());
}
