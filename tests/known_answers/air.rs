//! Air, wind and lean against published and independently computed numbers.

use loopwright::air::standard::{geopotential_m, standard_pressure_pa, standard_temperature_k};
use loopwright::air::wind::height_ratio;
use loopwright::air::{Direction, WindVector, moist_air_density, standard_pressure_at_elevation_pa};
use loopwright::model::AirSpeed;
use loopwright::model::aerodynamic::drag_per_area_n_m2;

const CIPM_GRID: &str = include_str!("../data/air/cipm2007_grid.csv");
const STANDARD_ATMOSPHERE: &str = include_str!("../data/air/isa.csv");
/// One millimetre of mercury, Pa, exact by its definition.
const MMHG_PA: f64 = 133.322_387_415;

/// The numbers of a CSV with a header line.
fn rows(text: &str) -> impl Iterator<Item = Vec<f64>> + '_ {
    text.lines().skip(1).map(|line| line.split(',').map(|cell| cell.parse().expect("a number")).collect())
}

fn close(ours: f64, theirs: f64, relative: f64) -> bool {
    (ours - theirs).abs() <= relative * theirs.abs().max(f64::MIN_POSITIVE)
}

#[test]
fn moist_air_agrees_with_the_formula_computed_elsewhere() {
    // tests/data/air/SOURCES.md: CIPM-2007 in Python double precision. Tolerance 1e-8: its printed digits.
    let mut compared = 0;
    for row in rows(CIPM_GRID) {
        let [pressure, temperature, humidity, density, saturation, enhancement, vapour, compressibility] = row[..]
        else {
            panic!("eight columns expected, found {row:?}")
        };
        let air = moist_air_density(temperature, pressure, 100.0 * humidity);
        assert!(close(air.density_kg_m3, density, 1e-8), "{row:?}: {air:?}");
        assert!(close(air.saturation_pressure_pa, saturation, 1e-8), "{row:?}: {air:?}");
        assert!(close(air.enhancement, enhancement, 1e-8), "{row:?}: {air:?}");
        assert!(close(air.vapour_fraction, vapour, 1e-8), "{row:?}: {air:?}");
        assert!(close(air.compressibility, compressibility, 1e-8), "{row:?}: {air:?}");
        compared += 1;
    }
    assert_eq!(compared, 225);
}

#[test]
fn moist_air_agrees_with_the_handbooks() {
    // Tolerance 1e-4 relative: the books use earlier equations of state (5.8e-5 apart) and print five digits.
    for (source, temperature, pressure_mmhg, humidity, density) in [
        ("Jones 1978, NBS, appendix B, example 1", 22.3, 748.1, 37.0, 1.171_94),
        ("Jones 1978, NBS, appendix B, example 3", 23.4, 612.3, 23.0, 0.956_32),
        ("Gupta, Mass Metrology, appendix p. 205", 10.0, 730.0, 40.0, 1.195_69),
        ("Gupta, Mass Metrology, appendix p. 205", 40.0, 760.0, 40.0, 1.114_97),
        ("OIML R 111 approximation", 25.0, 760.0, 40.0, 1.1787),
    ] {
        let ours = moist_air_density(temperature, pressure_mmhg * MMHG_PA, humidity).density_kg_m3;
        assert!(close(ours, density, 1e-4), "{source}: {ours}");
    }
}

#[test]
fn saturation_pressure_agrees_with_other_formulations() {
    // IAPWS-95 (CoolProp 8.0) 2339.32 and 7384.94 Pa, ASHRAE (psychrolib 2.5) 2338.80 and 7383.46 Pa at 20 and 40 °C.
    // Tolerance 5e-4: the spread of the formulations themselves.
    for (temperature, iapws, ashrae) in [(20.0, 2339.32, 2338.80), (40.0, 7384.94, 7383.46)] {
        let ours = moist_air_density(temperature, 101_325.0, 50.0).saturation_pressure_pa;
        assert!(close(ours, iapws, 5e-4) && close(ours, ashrae, 5e-4), "{ours}");
    }
}

/// Gas constant of dry air, J/(kg K) (ISO 2533).
const DRY_AIR_J_KG_K: f64 = 287.052_87;

/// Density of dry standard air at a geopotential altitude: ρ = p / (R T) (ISO 2533).
fn standard_density_kg_m3(altitude_m: f64) -> f64 {
    standard_pressure_pa(altitude_m) / (DRY_AIR_J_KG_K * standard_temperature_k(altitude_m))
}

#[test]
fn the_standard_atmosphere_is_iso_2533_by_geopotential_altitude() {
    // tests/data/air/SOURCES.md. Tolerance 1e-6: the gas constant of the table is rounded differently by 7e-7.
    let mut compared = 0;
    for row in rows(STANDARD_ATMOSPHERE) {
        let [altitude, temperature, pressure, density] = row[..] else {
            panic!("four columns expected, found {row:?}")
        };
        assert!(close(standard_temperature_k(altitude), temperature, 1e-6), "{row:?}");
        assert!(close(standard_pressure_pa(altitude), pressure, 1e-6), "{row:?}");
        assert!(close(standard_density_kg_m3(altitude), density, 1e-6), "{row:?}");
        compared += 1;
    }
    assert_eq!(compared, 10);
}

#[test]
fn an_elevation_from_a_map_is_a_geometric_one() {
    // Pressures recomputed in Python and agreed to 1e-6 with two atmosphere packages that take geometric height.
    for (elevation, pressure, density) in
        [(500.0, 95_461.29, 1.167_273), (1000.0, 89_876.29, 1.111_659), (2000.0, 79_501.43, 1.006_553)]
    {
        assert!(close(standard_pressure_at_elevation_pa(elevation), pressure, 1e-6));
        assert!(close(standard_density_kg_m3(geopotential_m(elevation)), density, 1e-6));
    }
    // 1.225 kg/m³ at sea level and 1.0066 at 2000 m are printed in any table of ISO 2533.
    assert!((standard_density_kg_m3(0.0) - 1.225).abs() < 5e-7);
    assert!((standard_density_kg_m3(geopotential_m(2000.0)) - 1.0066).abs() < 5e-5);
}

#[test]
fn the_logarithmic_profile_has_its_tabulated_ratios() {
    // Davenport–Wieringa roughness classes (WMO-No. 8); ratios to a 10 m mast at 1.0, 1.2 and 1.5 m, Python, 5e-5.
    for (roughness, at_1_0, at_1_2, at_1_5) in [
        (0.0002, 0.7872, 0.8040, 0.8247),
        (0.005, 0.6971, 0.7211, 0.7504),
        (0.03, 0.6036, 0.6350, 0.6734),
        (0.10, 0.5000, 0.5396, 0.5880),
        (0.25, 0.3758, 0.4252, 0.4857),
        (0.5, 0.2314, 0.2922, 0.3667),
        (1.0, 0.0, 0.0792, 0.1761),
    ] {
        for (height, expected) in [(1.0, at_1_0), (1.2, at_1_2), (1.5, at_1_5)] {
            let ratio = height_ratio(height, 10.0, roughness);
            assert!((ratio - expected).abs() < 5.1e-5, "z0 {roughness}, {height} m: {ratio}");
        }
    }
}

/// Mean drag over headings relative to that in still air, at 10 m/s with a wind of a share of that speed.
fn mean_drag_ratio(headings_deg: &[f64], wind_share: f64) -> f64 {
    let (speed, wind) = (10.0, WindVector::from_speed_and_direction(10.0 * wind_share, 0.0));
    let drag =
        |bearing: &f64| drag_per_area_n_m2(1.2, AirSpeed::new(speed, Direction::from_bearing_deg(*bearing), wind));
    headings_deg.iter().map(drag).sum::<f64>() / headings_deg.len() as f64 / 60.0
}

#[test]
fn a_steady_wind_raises_the_mean_drag_of_a_loop_by_the_computed_ratios() {
    // Integrals in Python (numpy), 1e-6; on a circle the series is 1 + ¾ε², own derivation.
    let circle: Vec<f64> = (0..720).map(|i| f64::from(i) * 0.5).collect();
    for (share, on_circle, out_and_back, square) in [
        (0.1, 1.007_495, 1.01, 1.007_494),
        (0.2, 1.029_925, 1.04, 1.029_902),
        (0.3, 1.067_117, 1.09, 1.067_015),
        (0.5, 1.184_505, 1.25, 1.184_017),
    ] {
        assert!((mean_drag_ratio(&circle, share) - on_circle).abs() < 1e-6);
        assert!((mean_drag_ratio(&[0.0, 180.0], share) - out_and_back).abs() < 1e-6);
        assert!((mean_drag_ratio(&[0.0, 90.0, 180.0, 270.0], share) - square).abs() < 1e-6);
    }
    let small = 0.01;
    assert!(((mean_drag_ratio(&circle, small) - 1.0) / (0.75 * small * small) - 1.0).abs() < 1e-4);
}

#[test]
fn an_unseen_half_metre_a_second_of_head_wind_is_ten_per_cent_of_drag() {
    // Roa et al. 2021, Sports Biomech., doi 10.1080/14763141.2020.1837925: about 10 % in CdA. Closed form
    // (1 + 0.5/v)² − 1: 10.25 % at 10 m/s, 8.51 % at 12 m/s.
    for (speed, expected) in [(10.0, 0.1025), (12.0, 0.0851)] {
        let drag = |headwind: f64| drag_per_area_n_m2(1.2, AirSpeed { along_m_s: speed + headwind, across_m_s: 0.0 });
        assert!((drag(0.5) / drag(0.0) - 1.0 - expected).abs() < 5e-5);
    }
}
