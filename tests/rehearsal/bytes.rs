//! A rehearsal gives the same bytes for the same seed, and its files hold exactly the readings it made.

use fitparser::Value;
use fitparser::profile::MesgNum;
use loopwright::plan::Plan;
use loopwright::record::Recording;
use loopwright::session::Session;
use loopwright::simulate::{SimulatedRide, encode, simulate};

const HEAD: &str = r#"
order = ["a", "b"]
laps_per_run = 3
speeds_km_h = [30.0, 40.0]
rider_and_bike.mass_kg = 82.0
"#;
const SETUPS: &str = r#"
[[setup]]
id = "a"
cda_m2 = 0.30
crr = 0.0045
[[setup]]
id = "b"
cda_m2 = 0.28
crr = 0.0045
"#;
const ROAD: &str = "loop = { length_m = 900.0, shape = \"curve\" }\n";
const TRACK: &str = "loop = { kind = \"track\", length_m = 250.0, bend_radius_m = 23.0, transition_m = 10.0 }\n";
const ROLLERS: &str = "loop = { kind = \"rollers\" }\nrun_duration_s = 120.0\n";

fn plan(parts: &str) -> Plan {
    Plan::from_toml(&format!("{HEAD}{parts}{SETUPS}"), "PLAN.toml").unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
    for parts in [ROAD, TRACK, ROLLERS] {
        let plan = plan(parts);
        let files = |seed| simulate(&plan, seed).and_then(|day| day.files()).expect("the plan is sound");
        assert_eq!(files(11), files(11));
        for (one, other) in files(11).iter().zip(&files(12)).filter(|(f, _)| f.name.ends_with(".fit")) {
            assert_ne!(one.bytes, other.bytes);
        }
    }
}

#[test]
fn more_noise_in_the_power_meter_leaves_the_ride_as_it_was() {
    let quiet = simulate(&plan(ROAD), 3).unwrap();
    let loud = simulate(&plan(&format!("{ROAD}noise.power_cv = 0.2\n")), 3).unwrap();
    for (a, b) in quiet.rides.iter().zip(&loud.rides) {
        let positions = |r: &SimulatedRide| r.readings.iter().map(|x| (x.place, x.speed_mm_s)).collect::<Vec<_>>();
        assert_eq!(positions(a), positions(b));
        assert_ne!(a.readings, b.readings);
    }
    assert_eq!(quiet.truth.runs, loud.truth.runs);
}

#[test]
fn the_session_of_a_rehearsal_is_one_that_solve_accepts() {
    for parts in
        [ROAD, TRACK, ROLLERS, "loop.length_m = 900.0\nwind = { mode = \"given\", speed_m_s = 2.0, from_deg = 90.0 }\n"]
    {
        let files = simulate(&plan(parts), 1).and_then(|day| day.files()).unwrap();
        let text = files.iter().find(|f| f.name == "session.toml").unwrap();
        let text = std::str::from_utf8(&text.bytes).unwrap();
        let session = Session::from_toml(text, "session.toml").unwrap_or_else(|e| panic!("{e}\n{text}"));
        assert_eq!(session.runs.len(), 2);
        assert_eq!(session.rider_of(&session.runs[1]).wheel_radius_m, 0.335);
    }
}

/// The number of a decoded field as the decoder gives it, NaN when it is not there.
fn number(record: &fitparser::FitDataRecord, name: &str) -> f64 {
    let field = record.fields().iter().find(|f| f.name() == name);
    field.map_or(f64::NAN, |f| match f.value() {
        Value::Timestamp(t) => t.timestamp() as f64,
        other => other.clone().try_into().expect("a number"),
    })
}

fn same(column: &[f64], decoded: &[f64], tolerance: f64, name: &str) {
    assert_eq!(column.len(), decoded.len());
    for (a, b) in column.iter().zip(decoded) {
        assert!(a.is_nan() == b.is_nan() && (a.is_nan() || (a - b).abs() <= tolerance), "{name}: {a} is not {b}");
    }
}

fn check_round_trip(ride: &SimulatedRide) {
    let bytes = encode(ride).expect("the ride can be encoded");
    let decoded = fitparser::from_bytes(&bytes).expect("an independent decoder reads it, checksum included");
    let records: Vec<_> = decoded.iter().filter(|m| m.kind() == MesgNum::Record).collect();
    let column = |name| records.iter().map(|r| number(r, name)).collect::<Vec<f64>>();
    let direct: Recording = ride.to_recording();
    // Scaled integers are divided by the same power of ten on both sides, so a rounding of the last bit is allowed.
    same(&direct.time_s, &column("timestamp"), 0.0, "time");
    same(&direct.power_w, &column("power"), 0.0, "power");
    same(&direct.speed_m_s, &column("enhanced_speed"), 1e-12, "speed");
    same(&direct.distance_m, &column("distance"), 1e-9, "distance");
    same(&direct.altitude_m, &column("enhanced_altitude"), 1e-9, "altitude");
    same(&direct.temperature_c, &column("temperature"), 0.0, "temperature");
    let degrees = |name| column(name).iter().map(|s| s * 180.0 / 2_147_483_648.0).collect::<Vec<f64>>();
    same(&direct.latitude_deg, &degrees("position_lat"), 1e-12, "latitude");
    same(&direct.longitude_deg, &degrees("position_long"), 1e-12, "longitude");
    let mut end_s = ride.start_s as f64;
    let marks: Vec<f64> = decoded
        .iter()
        .filter(|m| m.kind() == MesgNum::Lap)
        .map(|lap| {
            end_s += number(lap, "total_elapsed_time");
            end_s
        })
        .collect();
    same(&direct.lap_marks_s, &marks, 1e-6, "lap marks");
}

#[test]
fn a_decoder_that_shares_no_code_reads_every_value_back() {
    let spoiled = format!("{ROAD}\n[[mishap]]\nrun = 1\nkind = \"power-lost\"\nat_s = 60.0\nduration_s = 12.0\n");
    for parts in [&spoiled, TRACK, ROLLERS] {
        let day = simulate(&plan(parts), 9).unwrap();
        day.rides.iter().for_each(check_round_trip);
    }
}

#[test]
fn a_track_without_positions_has_a_lap_mark_at_every_pass_of_the_line() {
    let day = simulate(&plan(TRACK), 2).unwrap();
    let ride = &day.rides[0];
    let passes = &day.truth.runs[0].gate_passes_s;
    assert_eq!(passes.len(), 4);
    assert_eq!(ride.lap_marks_ms.len(), 5, "three laps, the run-up before and the rest after");
    for (mark_ms, pass_s) in ride.lap_marks_ms.iter().zip(passes) {
        // The first record is stamped one second after the start; marks scatter by 0.02 s.
        assert!((f64::from(*mark_ms) / 1000.0 - 1.0 - pass_s).abs() < 0.1);
    }
    assert!(ride.readings.iter().all(|r| r.place.is_none()));
}

#[test]
fn mishaps_leave_their_traces_at_the_stated_times() {
    let day = simulate(
        &plan(&format!(
            "{ROAD}
[[mishap]]
run = 1
kind = \"power-lost\"
at_s = 40.0
duration_s = 10.0
[[mishap]]
run = 1
kind = \"stop\"
at_s = 120.0
duration_s = 40.0
[[mishap]]
run = 2
kind = \"braking\"
at_s = 90.0
duration_s = 3.0
"
        )),
        1,
    )
    .unwrap();
    let lost: Vec<i64> = day.rides[0].readings.iter().filter(|r| r.power_w.is_none()).map(|r| r.time_s).collect();
    assert_eq!(lost, (40..50).map(|t| day.rides[0].start_s + t).collect::<Vec<_>>());
    let speed = |run: usize, t: usize| day.rides[run].readings[t - 1].speed_mm_s;
    assert!((140..155).all(|t| speed(0, t) == 0));
    assert!(speed(0, 118) > 6000 && speed(0, 200) > 6000);
    // Three seconds of braking at 1.2 m/s² take 3.6 m/s, and the sensor is a second late.
    assert!(i32::from(speed(1, 89)) - i32::from(speed(1, 94)) > 2500);
    assert_eq!(day.truth.runs[0].spoiled_s, [39.0, 119.0]);
}
