//! Small rides and sessions to get wrong.

use crate::fit_bytes::{Raw, START, Section, base};
use std::f64::consts::TAU;
use std::fmt::Write;

/// Radius of the invented round road, m: a lap is 1256.6 m.
const RADIUS_M: f64 = 200.0;
/// Metres of a degree on the equator (40 075 017 m round, from memory).
const M_PER_DEG: f64 = 40_075_017.0 / 360.0;

/// Mean speed of a ride and how far its wave of two laps reaches above and below, m/s.
#[derive(Clone, Copy)]
pub struct Speeds {
    mean: f64,
    reach: f64,
}

pub const ONE_SPEED: Speeds = Speeds { mean: 10.0, reach: 0.0 };
pub const TWO_SPEEDS: Speeds = Speeds { mean: 9.5, reach: 1.5 };

/// A ride of several laps on the round road, one lap faster and one slower in turn, as CSV.
///
/// Power is that of the textbook balance with Crr 0.0045, CdA 0.30 m², 85 kg and air of 1.2 kg/m³. It need not be exact,
/// for nothing here is compared with a result, but it must not look like braking.
pub fn round_road(laps: f64, speeds: Speeds) -> String {
    let mut csv = String::from("time_s,power_w,speed_m_s,latitude_deg,longitude_deg\n");
    let (mut travelled_m, mut second) = (0.0_f64, 0);
    let lap_m = TAU * RADIUS_M;
    while travelled_m < laps * lap_m {
        let phase = 0.5 * travelled_m / RADIUS_M;
        let speed = speeds.mean + speeds.reach * phase.sin();
        let acceleration = speeds.reach * phase.cos() * 0.5 / RADIUS_M * speed;
        let force = 0.0045 * 85.0 * 9.81 + 0.5 * 1.2 * 0.30 * speed * speed + 86.0 * acceleration;
        // A meter never shows one value for long.
        let power = force * speed / 0.976 + f64::from(second % 7) - 3.0;
        let angle = travelled_m / RADIUS_M;
        let (north, east) = (RADIUS_M * angle.cos(), RADIUS_M * angle.sin());
        let _ = writeln!(csv, "{second},{power:.0},{speed:.3},{:.7},{:.7}", north / M_PER_DEG, east / M_PER_DEG);
        travelled_m += speed;
        second += 1;
    }
    csv
}

/// Records with only some fields: number, size and base type of each, with the value of a second.
pub fn activity(seconds: u32, fields: &[[u8; 3]], values: impl Fn(u32) -> Vec<Raw<'static>>) -> Vec<u8> {
    let mut section = Section::little_endian();
    section.file_id(4);
    let with_time: Vec<[u8; 3]> = std::iter::once([253, 4, base::UINT32]).chain(fields.iter().copied()).collect();
    section.define(2, 20, &with_time, &[]);
    for i in 0..seconds {
        let row: Vec<Raw> = std::iter::once(Raw::U32(START + i)).chain(values(i)).collect();
        section.data(2, &row);
    }
    section.file()
}

/// Power and no speed, distance or position.
pub fn only_power() -> Vec<u8> {
    activity(600, &[[7, 2, base::UINT16]], |i| vec![Raw::U16(200 + (i % 9) as u16)])
}

/// Speed and no power.
pub fn only_speed() -> Vec<u8> {
    activity(600, &[[73, 4, base::UINT32]], |i| vec![Raw::U32(10_000 + i % 90)])
}

/// Power and speed and nothing to tell laps by.
pub fn power_and_speed() -> Vec<u8> {
    activity(600, &[[7, 2, base::UINT16], [73, 4, base::UINT32]], |i| {
        vec![Raw::U16(200 + (i % 9) as u16), Raw::U32(10_000 + i % 90)]
    })
}

/// Power and a wheel that turns where positions stand still.
pub fn standing_still(seconds: u32) -> Vec<u8> {
    let fields = [[0, 4, base::SINT32], [1, 4, base::SINT32], [7, 2, base::UINT16], [73, 4, base::UINT32]];
    activity(seconds, &fields, |i| {
        vec![Raw::I32(1_000_000), Raw::I32(-2_000_000), Raw::U16(200 + (i % 9) as u16), Raw::U32(10_000 + i % 90)]
    })
}

/// An empty FIT file of a kind that is not an activity.
pub fn other_kind(kind: u8) -> Vec<u8> {
    let mut section = Section::little_endian();
    section.file_id(kind);
    section.file()
}

/// A sound session of one set-up; `changed` lines are put in front of the set-up.
pub fn session(file: &str, changed: &str) -> String {
    format!(
        "[rider_and_bike]\nmass_kg = 85.0\n\n[air]\ntemperature_c = 18.0\npressure_hpa = 1005.0\nhumidity_pct = 60.0\n\n\
         {changed}\n[[setup]]\nid = \"plain\"\n\n[[run]]\nfile = \"{file}\"\nsetup = \"plain\"\n"
    )
}
