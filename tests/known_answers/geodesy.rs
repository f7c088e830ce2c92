//! The geodesy this crate rests on (`geo`'s `Geodesic`, WGS84) and its own gravity formula against published numbers.

use geo::{Bearing, Destination, Distance, Geodesic, Point};
use loopwright::constant::normal_gravity_m_s2;

const GEODTEST: &str = include_str!("../data/geodesy/GeodTest-100.dat");
const LAP_SCALE: &str = include_str!("../data/geodesy/lap_scale_wgs84.csv");

fn numbers(line: &str, separator: char) -> Vec<f64> {
    line.split(separator).map(|cell| cell.trim().parse().expect("a number")).collect()
}

fn metres(lat1: f64, lon1: f64, lat2: f64, lon2: f64) -> f64 {
    Geodesic.distance(Point::new(lon1, lat1), Point::new(lon2, lat2))
}

fn angle_between_deg(a: f64, b: f64) -> f64 {
    let off = (a - b).rem_euclid(360.0);
    off.min(360.0 - off)
}

#[test]
fn a_hundred_published_geodesics_agree_to_15_nanometres() {
    // tests/data/geodesy/SOURCES.md. Positions of 2e7 m resolve 4 nm in double precision; 7.5 nm is what another
    // implementation reached on the same rows.
    let mut compared = 0;
    for line in GEODTEST.lines() {
        let row = numbers(line, ' ');
        let length = metres(row[0], row[1], row[3], row[4]);
        assert!((length - row[6]).abs() < 1.5e-8, "{line}: {length}");
        compared += 1;
    }
    assert_eq!(compared, 100);
}

#[test]
fn legs_of_a_metre_to_five_kilometres_agree_with_the_direct_problem() {
    // tests/data/geodesy/SOURCES.md: end points are rounded to 1e-10 degrees, 5.6e-6 m in each of two directions.
    let mut compared = 0;
    for line in LAP_SCALE.lines().skip(1) {
        let row = numbers(line, ',');
        let length = metres(row[0], row[1], row[2], row[3]);
        assert!((length - row[4]).abs() < 8e-6, "{line}: {length}");
        if row[4] >= 250.0 {
            // The same rounding turns a leg of 250 m by 8e-6/250 rad = 2e-6 degrees.
            let bearing = Geodesic.bearing(Point::new(row[1], row[0]), Point::new(row[3], row[2]));
            assert!(angle_between_deg(bearing, row[5]) < 2e-6, "{line}: {bearing}");
        }
        compared += 1;
    }
    assert_eq!(compared, 180);
}

#[test]
fn known_long_lines_come_out() {
    // The classic survey pair on WGS84 (Python geographiclib, 1e-6 m) and three examples of that library's manual.
    let dms = |d: f64, m: f64, s: f64| d + m / 60.0 + s / 3600.0;
    let flinders = (-dms(37.0, 57.0, 3.720_30), dms(144.0, 25.0, 29.524_40));
    let buninyong = (-dms(37.0, 39.0, 10.156_10), dms(143.0, 55.0, 35.383_90));
    assert!((metres(flinders.0, flinders.1, buninyong.0, buninyong.1) - 54_972.271_139_20).abs() < 1e-6);
    assert!((metres(-41.32, 174.81, 40.96, -5.50) - 19_959_679.267_354).abs() < 1e-6);
    assert!((metres(40.6, -73.8, 51.6, -0.5) - 5_551_759.400_319).abs() < 1e-6);
    let arrived = Geodesic.destination(Point::new(115.74, -32.06), 225.0, 20_000_000.0);
    assert!((arrived.y() - 32.111_955_29).abs() < 1e-8 && (arrived.x() + 63.959_252_78).abs() < 1e-8);
}

#[test]
fn a_degree_has_its_length_on_the_ellipsoid() {
    // Lengths of a degree centred on the latitude (north–south) and along the parallel (east–west), Python, 1e-4 m;
    // the east–west length is the parallel's arc, (π/180) N cos φ, with N recovered from a short geodesic.
    for (lat, north_south, east_west) in [
        (0.0, 110_574.275_8, 111_319.490_8),
        (30.0, 110_852.442_5, 96_486.280_3),
        (45.0, 111_131.777_4, 78_846.835_1),
        (60.0, 111_412.287_5, 55_800.001_6),
    ] {
        let step = 1e-3;
        let ns = metres(lat - step / 2.0, 8.0, lat + step / 2.0, 8.0) / step;
        let ew = metres(lat, 8.0 - step / 2.0, lat, 8.0 + step / 2.0) / step;
        assert!((ns / north_south - 1.0).abs() < 1e-8, "{lat}: {ns}");
        assert!((ew / east_west - 1.0).abs() < 1e-8, "{lat}: {ew}");
    }
}

#[test]
fn normal_gravity_is_that_of_somigliana() {
    // WGS84, Python double precision; tolerance 1e-6 m/s², the printed digits.
    for (latitude, gravity) in [
        (0.0, 9.780_325),
        (30.0, 9.793_247),
        (45.0, 9.806_198),
        (50.0, 9.810_702),
        (52.0, 9.812_474),
        (60.0, 9.819_177),
        (90.0, 9.832_185),
    ] {
        let ours = normal_gravity_m_s2(latitude, 0.0);
        assert!((ours - gravity).abs() < 1e-6, "{latitude}: {ours}");
        assert_eq!(ours, normal_gravity_m_s2(-latitude, 0.0));
    }
    let fall = normal_gravity_m_s2(45.0, 0.0) - normal_gravity_m_s2(45.0, 1000.0);
    assert!((fall - 0.003_086).abs() < 1e-6);
}
