//! Energy of motion: the rider and bicycle moving along, the wheels also turning.
//!
//! Given masses and speeds at one instant; gives energy. Differences of it between two instants telescope, so it is
//! never made from a derivative of speed.

/// Mass that would have the energy of the turning wheels when moving along with them, I/r², kg.
#[inline]
pub fn rotating_mass_kg(wheel_inertia_kg_m2: f64, wheel_radius_m: f64) -> f64 {
    wheel_inertia_kg_m2 / (wheel_radius_m * wheel_radius_m)
}

/// ½ m u² + ½ (I/r²) v², J, with u the speed of the centre of mass and v that of the tyre contact.
///
/// On a straight u = v and this is Martin et al. 1998, J. Appl. Biomech. 14:276–291, eq. 12.
///
/// ```
/// use loopwright::model::kinetic::{kinetic_energy_j, rotating_mass_kg};
/// let rotating = rotating_mass_kg(0.14, 0.311);
/// let at = |v: f64| kinetic_energy_j(90.0, v, rotating, v);
/// assert!(((at(8.45) - at(8.28)) / 56.42 - 2.3).abs() < 0.05); // ibid., appendix I: 2.3 W
/// ```
#[inline]
pub fn kinetic_energy_j(mass_kg: f64, com_speed_m_s: f64, rotating_mass_kg: f64, wheel_speed_m_s: f64) -> f64 {
    0.5 * (mass_kg * com_speed_m_s * com_speed_m_s + rotating_mass_kg * wheel_speed_m_s * wheel_speed_m_s)
}
