//! The leaning bicycle against numbers of the rigid-lean model computed independently (Python, fixed-point iteration,
//! g = 9.80665) and, where it says so, against energy conservation.

use loopwright::constant::STANDARD_GRAVITY_M_S2 as G;
use loopwright::model::lean;

#[test]
fn lean_speed_and_load_match_the_rigid_lean_table() {
    // Tolerances are the table's: 1e-4 degrees (printed digits), 1e-4 relative.
    for (radius, height, speed, angle_deg, com_speed, load) in [
        (22.0, 1.0, 15.0, 45.2629, 14.5157, 1.4207),
        (22.0, 1.1, 14.0, 41.2992, 13.5380, 1.3311),
        (25.0, 1.2, 12.0, 29.8271, 11.7135, 1.1527),
        (22.0, 1.0, 10.0, 24.4553, 9.8118, 1.0986),
        (22.0, 0.0, 15.0, 46.2028, 15.0, f64::NAN),
        (22.0, 0.0, 14.0, 42.2543, 14.0, f64::NAN),
        (25.0, 0.0, 12.0, 30.4281, 12.0, f64::NAN),
        (22.0, 0.0, 10.0, 24.8681, 10.0, f64::NAN),
    ] {
        let l = lean(1.0 / radius, speed, height, G);
        assert!((l.angle_rad.to_degrees() - angle_deg).abs() < 1e-4, "{radius} {height} {speed}: {l:?}");
        assert!((l.com_speed_m_s / com_speed - 1.0).abs() < 1e-4);
        if load.is_finite() {
            assert!((l.load_ratio / load - 1.0).abs() < 1e-4);
        }
    }
}

#[test]
fn a_lap_of_straights_and_half_circles_has_the_computed_path_of_the_centre_of_mass() {
    // 250 m lap, R 22 m, at 15 m/s, h 1 m: path 245.537 m, mean speed ratio 0.98215, drop 0.2961 m (2.904 J/kg).
    let bends = 2.0 * std::f64::consts::PI * 22.0;
    let straights = 250.0 - bends;
    assert!((bends - 138.230).abs() < 5e-4 && (straights - 111.770).abs() < 5e-4);
    let l = lean(1.0 / 22.0, 15.0, 1.0, G);
    let path = straights + bends * l.com_speed_m_s / 15.0;
    assert!((path - 245.537).abs() < 5e-4 && (path / 250.0 - 0.982_15).abs() < 5e-6, "{path}");
    assert!((l.com_drop_m - 0.2961).abs() < 5e-5 && (G * l.com_drop_m - 2.904).abs() < 5e-4);
}

#[test]
fn a_free_rolling_entry_keeps_its_energy() {
    // Energy kept: u² = v² + 2 g h (1 − cos φ); R 22 m, h 1 m. Expected speeds in the bend of the centre of mass and
    // the wheels, from the same two equations solved in Python.
    for (entry, com_speed, wheel_speed) in
        [(10.0, 10.0968, 10.3001), (12.0, 12.1475, 12.4734), (15.0, 15.2147, 15.7466)]
    {
        let l = lean(1.0 / 22.0, wheel_speed, 1.0, G);
        assert!((l.com_speed_m_s - com_speed).abs() < 1e-4, "{entry}: {l:?}");
        let energy_in = 0.5 * entry * entry;
        let energy_in_bend = 0.5 * l.com_speed_m_s * l.com_speed_m_s - G * l.com_drop_m;
        assert!((energy_in_bend / energy_in - 1.0).abs() < 1e-5, "{entry}: {energy_in_bend}");
    }
    let fast = lean(1.0 / 22.0, 15.7466, 1.0, G);
    assert!((fast.angle_rad.to_degrees() - 47.9965).abs() < 1e-3);
}
