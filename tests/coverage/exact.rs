//! An instrument that does not err.

/// What a session states of the instrument.
const EXACT: [&str; 13] = [
    "mass_kg",
    "power_fraction",
    "power_zero_w",
    "fixed_loss_w",
    "cda_between_speeds_fraction",
    "speed_fraction",
    "temperature_c",
    "pressure_hpa",
    "humidity_pct",
    "drivetrain_efficiency",
    "wheel_inertia_kg_m2",
    "centre_of_mass_height_m",
    "bearing_fraction",
];

/// Lines of `[uncertainty]` that say so.
pub fn nothing_errs() -> String {
    EXACT.iter().map(|key| format!("{key} = 0.0\n")).collect()
}
