//! CSV tables through the public reader: units, times, laps, missing cells, and what each slip is told.

use loopwright::finding::What;
use loopwright::record::{MAX_FILE_BYTES, Recording, decode, join, parse_csv};

fn table(text: &str) -> Recording {
    parse_csv(text.as_bytes(), "ride.csv").expect("a sound table")
}

fn refusal(text: &str) -> String {
    parse_csv(text.as_bytes(), "ride.csv").expect_err("a faulty table").to_string()
}

#[test]
fn units_are_those_of_the_headings() {
    let ride = table(
        "time_s,power_w,speed_km_h,distance_km,latitude_deg,longitude_deg,altitude_m,cadence_rpm,temperature_c\n\
         0,250,36,1.5,10.25,-20.5,7,90,-3\n",
    );
    assert_eq!((ride.power_w[0], ride.speed_m_s[0], ride.distance_m[0]), (250.0, 10.0, 1500.0));
    assert_eq!((ride.latitude_deg[0], ride.longitude_deg[0], ride.altitude_m[0]), (10.25, -20.5, 7.0));
    assert_eq!((ride.cadence_rpm[0], ride.temperature_c[0]), (90.0, -3.0));
}

#[test]
fn a_time_with_an_offset_is_the_unix_time_it_means() {
    // 2001-09-09T01:46:40Z is Unix time 1000000000 (from memory; checked with date of GNU coreutils).
    let ride = table("time,power_w\n2001-09-09T03:46:40.25+02:00,1\n1000000001.5,2\n2001-09-09T01:46:42Z,3\n");
    assert_eq!(ride.time_s, [1_000_000_000.25, 1_000_000_001.5, 1_000_000_002.0]);
    assert!(ride.findings.is_empty());
}

#[test]
fn an_empty_cell_is_missing_and_not_zero() {
    let ride = table("time_s,power_w,speed_m_s\n0,,5\n1,nan,\n2,0,0\n");
    assert!(ride.power_w[0].is_nan() && ride.power_w[1].is_nan() && ride.speed_m_s[1].is_nan());
    assert_eq!((ride.power_w[2], ride.speed_m_s[2]), (0.0, 0.0));
}

#[test]
fn a_change_of_the_lap_counter_is_a_lap_mark() {
    let ride = table("elapsed_s,power_w,lap\n0,1,1\n1,1,1\n2.5,1,2\n3,1,\n4,1,2\n5,1,3\n");
    assert_eq!(ride.lap_marks_s, [2.5, 5.0]);
}

#[test]
fn semicolons_with_decimal_commas_and_tabs_are_read_too() {
    let ride = table("# made by hand\ntime_s;power_w\n0,5;200,25\n1.5;201\n");
    assert_eq!((ride.time_s, ride.power_w), (vec![0.5, 1.5], vec![200.25, 201.0]));
    assert_eq!(table("\u{FEFF}time_s\tpower_w\r\n0\t7\r\n").power_w, [7.0]);
}

#[test]
fn a_slip_in_a_heading_is_refused_and_an_unrelated_column_is_said() {
    let message = refusal("time_s,pwoer_w\n0,1\n");
    assert_eq!(message, "ride.csv:1: column «pwoer_w» is not known; did you mean power_w?");
    assert!(refusal("time_s,speed_mph\n0,1\n").contains("use speed_m_s or speed_km_h"));
    assert!(refusal("time_s,speed_m_s,speed_km_h\n0,1,3.6\n").contains("two columns give speed"));
    let ride = table("time_s,power_w,heart_rate_bpm\n0,1,150\n");
    assert!(ride.findings.contains(&What::ColumnsIgnored { names: vec!["heart_rate_bpm".into()] }));
}

#[test]
fn a_bad_cell_is_told_by_its_line_and_text() {
    assert_eq!(refusal("time_s,power_w\n0,1\n1,2o0\n"), "ride.csv:3: power «2o0» is not a finite number");
    assert!(refusal("time_s,power_w\n0,inf\n").starts_with("ride.csv:2: power «inf»"));
    assert!(refusal("time,power_w\n2001-09-09T01:46:40,1\n").contains("write it as 2030-05-01T09:00:00+02:00"));
    assert!(refusal("time,power_w\n1000000000000,1\n").contains("milliseconds"));
    assert!(refusal("time_s,latitude_deg\n0,91\n").contains("outside -90 to 90"));
    assert!(refusal("time_s,power_w\n0,1\n1,2,3\n").starts_with("ride.csv:3: 3 cells where the first line names 2"));
}

#[test]
fn a_table_without_a_time_or_without_rows_is_refused() {
    assert!(refusal("power_w\n200\n").contains("no column time, time_s or elapsed_s among: power_w"));
    assert!(refusal("time_s,power_w\n").contains("a table without rows"));
    assert!(refusal("time_s,power_w\n,1\n,2\n").contains("2 records and none carries a time"));
}

#[test]
fn repeated_and_backward_times_are_settled_and_said() {
    let ride = table("time,power_w\n1000000000,1\n1000000000,2\n1000000002,3\n1000000001,4\n1000000003,5\n");
    assert_eq!(ride.power_w, [1.0, 3.0, 5.0]);
    assert_eq!(ride.findings, [What::RepeatedTimes { count: 1 }, What::OutOfOrder { count: 1 }]);
}

#[test]
fn times_without_a_clock_are_said() {
    assert_eq!(table("elapsed_s,power_w\n0,1\n").findings, [What::ClockNotSet]);
}

#[test]
fn what_is_neither_a_ride_nor_a_table_is_refused_with_the_reason() {
    let reason = |bytes: &[u8]| decode(bytes, "x").expect_err("not a ride").to_string();
    assert!(reason(b"").contains("it is empty"));
    assert!(reason(b"\x1F\x8B\x08\0").contains("unpack it first"));
    assert!(reason(b"<?xml version=\"1.0\"?>").contains("it is XML"));
    assert!(reason(b"\x0E\x20\x54\x08").contains("ends within its FIT header"));
    assert!(reason(b"\x00\x01\x02\x03").contains("neither FIT nor text"));
    assert!(reason(b"time_s,power_w\n0,\xFF\n").contains("not UTF-8"));
}

#[test]
fn a_file_above_the_limit_is_refused_before_it_is_read() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let path = folder.path().join("huge.fit");
    // A sparse file: the size without the bytes.
    std::fs::File::create(&path).and_then(|f| f.set_len(MAX_FILE_BYTES + 1)).expect("made");
    let error = loopwright::record::read(&path).expect_err("too large");
    assert_eq!(error.code(), "too-large");
}

#[test]
fn what_is_said_of_the_second_file_names_it() {
    let main = table("time,power_w\n1000000000,1\n1000000001,2\n");
    let wheel = parse_csv(b"time,speed_m_s,gear\n1000000000,5,1\n1000000001,6,1\n", "wheel.csv").expect("sound");
    let ride = join(main, wheel).expect("they overlap");
    let said: Vec<String> = ride.findings.iter().map(What::message).collect();
    assert_eq!(
        said,
        [
            "Taken from wheel.csv instead of the main file: speed; 2 of 2 records have a value close enough in time.",
            "In wheel.csv: Columns not used: gear.",
        ]
    );
}
