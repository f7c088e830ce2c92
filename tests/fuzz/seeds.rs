//! Sound inputs to begin from, made by the program itself or written here by hand.
//!
//! Given nothing; gives small files of every kind that is read. They are small so that many can be tried.

#[path = "../fit_bytes/mod.rs"]
mod fit_bytes;

use fit_bytes::{Raw, Section, base};
use loopwright::analysis::{Depth, RiddenSession, analyse};
use loopwright::plan::Plan;
use loopwright::record::{Channel, Recording, decode};
use loopwright::simulate::simulate;
use std::path::{Path, PathBuf};

/// The project's folder, also for the package below it that runs the same targets guided by coverage.
pub fn project() -> &'static Path {
    let own = Path::new(env!("CARGO_MANIFEST_DIR"));
    own.ancestors().find(|folder| folder.join("sample-loops").is_dir()).expect("the samples are there")
}

pub fn sample(name: &str) -> PathBuf {
    project().join("sample-loops").join(name)
}

const SAMPLES: [&str; 4] = ["three-tyres", "two-positions", "tyres-on-rollers", "road-and-rollers"];

fn texts_of(name: &str) -> Vec<Vec<u8>> {
    SAMPLES.iter().map(|s| std::fs::read(sample(s).join(name)).expect("a sample file")).collect()
}

pub fn sessions() -> Vec<Vec<u8>> {
    texts_of("session.toml")
}

const SMALL_PLAN: &str = "order = [\"a\", \"b\"]\nlaps_per_run = 4\nspeeds_km_h = [29.0, 41.0]\nseed = 3\n\
    rider_and_bike.mass_kg = 86.0\nloop.length_m = 420.0\nloop.home_straight_bearing_deg = 40.0\nair.temperature_c = 18.0\nair.pressure_hpa = 1000.0\n\
    [[setup]]\nid = \"a\"\ncda_m2 = 0.28\ncrr = 0.0046\n[[setup]]\nid = \"b\"\ncda_m2 = 0.25\ncrr = 0.0046\n";

pub fn plans() -> Vec<Vec<u8>> {
    let mut plans = texts_of("plan.toml");
    plans.push(SMALL_PLAN.as_bytes().to_vec());
    plans
}

/// The two FIT files of a small day.
pub fn small_day() -> Vec<Vec<u8>> {
    let plan = Plan::from_toml(SMALL_PLAN, "plan.toml").expect("the plan is sound");
    let files = simulate(&plan, plan.seed).and_then(|day| day.files()).expect("the plan can be ridden");
    files.into_iter().filter(|f| f.name.ends_with(".fit")).map(|f| f.bytes).collect()
}

pub fn rides() -> Vec<Vec<u8>> {
    let mut rides = small_day();
    rides.push(fit_bytes::ride(Section::little_endian(), 60).file());
    rides.push(fit_bytes::ride(Section::big_endian(), 60).file());
    rides.push(developer_ride().file());
    let two = [fit_bytes::ride(Section::little_endian(), 20).file(), developer_ride().file()].concat();
    rides.push(two);
    let unfinished = fit_bytes::ride(Section::little_endian(), 30);
    rides.push(unfinished.file_of_stated_length(0));
    rides
}

/// The result of one day of the small plan.
pub fn result(seed: u64) -> Vec<u8> {
    let plan = Plan::from_toml(SMALL_PLAN, "plan.toml").expect("the plan is sound");
    let day = simulate(&plan, seed).expect("the plan can be ridden");
    let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
    let inputs = RiddenSession { session: day.session, recordings, weather: None, survey: None };
    let solution = analyse(&inputs, Depth::default()).expect("the day can be solved").solution;
    serde_json::to_vec(&solution).expect("a solution can be written")
}

/// Results of two days, neither of them the one that they are pooled with.
pub fn results() -> Vec<Vec<u8>> {
    vec![result(3), result(5)]
}

/// Developer fields that are described and used, packed speed and distance, and short times.
fn developer_ride() -> Section {
    let mut section = Section::little_endian();
    section.file_id(4);
    section.define(1, 206, &[[0, 1, base::UINT8], [1, 1, base::UINT8], [2, 1, base::UINT8], [3, 6, base::TEXT]], &[]);
    section.data(1, &[Raw::U8(0), Raw::U8(3), Raw::U8(base::UINT16), Raw::Bytes(b"Power\0")]);
    section.define(2, 20, &[[253, 4, base::UINT32], [8, 3, base::BYTE]], &[[3, 2, 0]]);
    section.define(3, 20, &[[8, 3, base::BYTE]], &[[3, 2, 0]]);
    for i in 0..40_u32 {
        let packed = [i as u8, 0x20, (i * 3) as u8];
        let values = [Raw::Bytes(&packed), Raw::U16(200 + i as u16)];
        if i % 8 == 0 {
            section.data(2, &[Raw::U32(fit_bytes::START + i), values[0], values[1]]);
        } else {
            let offset = ((fit_bytes::START + i) & 31) as u8;
            section.data_with_short_time(3, offset, &values);
        }
    }
    section
}

/// A ride as a table.
pub fn table_of(ride: &Recording) -> Vec<u8> {
    let mut text = String::from(
        "time,power_w,speed_m_s,distance_m,latitude_deg,longitude_deg,altitude_m,cadence_rpm,temperature_c\n",
    );
    for (i, time) in ride.time_s.iter().enumerate() {
        text.push_str(&time.to_string());
        for channel in [
            Channel::Power,
            Channel::Speed,
            Channel::Distance,
            Channel::Latitude,
            Channel::Longitude,
            Channel::Altitude,
            Channel::Cadence,
            Channel::Temperature,
        ] {
            let value = ride.channel(channel)[i];
            text.push_str(&if value.is_finite() { format!(",{value}") } else { ",".into() });
        }
        text.push('\n');
    }
    text.into_bytes()
}

pub fn tables() -> Vec<Vec<u8>> {
    let ride = decode(&small_day()[0], "ride.fit").expect("a sound ride");
    vec![
        table_of(&ride),
        b"# a remark\ntime;power_w;speed_km_h;lap\n2030-05-01T09:00:00+02:00;200,5;36;1\n2030-05-01T09:00:01+02:00;;36,1;2\n"
            .to_vec(),
        b"\xEF\xBB\xBFelapsed_s\tpower_w\tdistance_km\tnote\r\n0\t200\t0\t\"a \"\"b\"\"\"\r\n1\tnan\t0.01\tc\r\n".to_vec(),
        b"time_s,power_w,speed_m_s,latitude_deg,longitude_deg\n0,200,10,1.5,179.999\n1,210,10,1.5,-179.999\n".to_vec(),
    ]
}

pub fn weather() -> Vec<Vec<u8>> {
    vec![
        b"time,temperature_c,pressure_hpa,humidity_pct\n2026-06-01T08:00:00Z,18.0,978.0,60\n2026-06-01T08:30:00Z,19.0,977.0,58\n".to_vec(),
        b"time,temperature_c,pressure_hpa,humidity_pct,wind_speed_m_s,wind_from_deg\n1780300800,18,978,60,2,350\n1780302600,18,978,60,2,10\n1780304400,18,978,60,0,0\n".to_vec(),
    ]
}

pub fn surveys() -> Vec<Vec<u8>> {
    vec![
        b"distance_m,elevation_m\n0,10\n25,11\n50,12\n75,11\n".to_vec(),
        b"# by level\ndistance_m,elevation_m,note\n0,10.001,gate\n100.5,11,\n200,12,\n300,11,\n410,10.2,\n".to_vec(),
    ]
}

pub fn tracks() -> Vec<Vec<u8>> {
    let point = |i: u32| {
        let angle = f64::from(i) / 60.0 * std::f64::consts::TAU;
        format!("<trkpt lat=\"{}\" lon=\"{}\"><ele>3</ele></trkpt>", 0.5 + 0.002 * angle.sin(), 0.003 * angle.cos())
    };
    let points: String = (0..=60).map(point).collect();
    let track = format!("<?xml version=\"1.0\"?><gpx version=\"1.1\"><trk><trkseg>{points}</trkseg></trk></gpx>");
    let route = track.replace("trkpt", "rtept").replace("trkseg", "x").replace("trk", "rte");
    vec![track.into_bytes(), route.into_bytes()]
}

/// A byte that says what the ride is taken for, and the ride.
pub fn rides_to_solve() -> Vec<Vec<u8>> {
    let day = small_day();
    let table = table_of(&decode(&day[1], "ride.fit").expect("a sound ride"));
    let mut seeds = Vec::new();
    for kind in 0..super::targets::RIDE_KINDS {
        for ride in [&day[1], &table] {
            seeds.push([&[kind], ride.as_slice()].concat());
        }
    }
    seeds
}
