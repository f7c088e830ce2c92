//! Which keys of a session have a flag when one ride is solved, and under which heading it stands.

/// A table of the session, the heading of its flags, and the keys that one ride can use.
pub(super) struct Section {
    pub table: &'static str,
    pub heading: &'static str,
    pub keys: &'static [&'static str],
}

const fn section(table: &'static str, heading: &'static str, keys: &'static [&'static str]) -> Section {
    Section { table, heading, keys }
}

/// Every flag; those of a temperature rule stand for loop and rollers alike.
pub(super) const SECTIONS: [Section; 9] = [
    section(
        "rider_and_bike",
        "One ride instead of a session: rider and bicycle",
        &[
            "mass_kg",
            "wheel_inertia_kg_m2",
            "wheel_radius_m",
            "centre_of_mass_height_m",
            "drivetrain_efficiency",
            "bearing_friction",
        ],
    ),
    section(
        "run",
        "One ride: the run",
        &["laps", "planned_speed_km_h", "leave_out", "keep", "window_s", "tyre_temperature_c", "second_file"],
    ),
    section(
        "loop",
        "One ride: loop",
        &[
            "kind",
            "gate",
            "length_m",
            "length_sd_m",
            "level",
            "survey",
            "survey_sd_m",
            "bend_radius_m",
            "transition_m",
            "home_straight_bearing_deg",
        ],
    ),
    section("air", AIR, &["temperature_c", "pressure_hpa", "humidity_pct", "log"]),
    section(
        "wind",
        AIR,
        &["mode", "speed_m_s", "from_deg", "mast_height_m", "roughness_length_m", "gusts", "expected_m_s"],
    ),
    section("solve", SOLVER, &["lag", "yaw", "speed_scale", "confidence", "seed"]),
    section("reference", SOLVER, &["speed_km_h", "mass_kg", "air_density_kg_m3"]),
    section(
        "rollers",
        "One ride: rollers",
        &[
            "drum_diameter_m",
            "drum_spacing_m",
            "rear_weight_fraction",
            "front_driven",
            "no_load_power_w_at_40_km_h",
            "temperature_coefficient_per_c",
            "reference_temperature_c",
        ],
    ),
    section(
        "uncertainty",
        "One ride: standard uncertainties",
        &[
            "mass_kg",
            "power_fraction",
            "speed_fraction",
            "temperature_c",
            "pressure_hpa",
            "humidity_pct",
            "drivetrain_efficiency",
            "temperature_coefficient_per_c",
        ],
    ),
];
const AIR: &str = "One ride: air and wind";
const SOLVER: &str = "One ride: solver and reference conditions";
