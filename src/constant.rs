//! Physical constants and stated defaults, each with its source.
//!
//! Given nothing. It holds no value that a tester may state.

/// Standard acceleration of free fall, m/s² (3rd CGPM, 1901).
pub const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;

/// WGS84 normal gravity at the equator, m/s² (NGA.STND.0036, table 3.6).
pub const GRAVITY_EQUATOR_M_S2: f64 = 9.780_325_335_9;
/// Somigliana's constant k of WGS84 (NGA.STND.0036).
pub const SOMIGLIANA_K: f64 = 1.931_852_652_41e-3;
/// First eccentricity squared of WGS84.
pub const WGS84_E2: f64 = 6.694_379_990_14e-3;
/// Semi-major axis of WGS84, m.
pub const WGS84_A_M: f64 = 6_378_137.0;
/// Decrease of normal gravity with height, 1/s² (free-air gradient).
pub const FREE_AIR_GRADIENT_1_S2: f64 = 3.086e-6;

/// Moment of inertia of both wheels together, kg m² (Martin et al. 1998, J. Appl. Biomech. 14:276).
pub const WHEEL_INERTIA_KG_M2: f64 = 0.14;
/// Rolling radius, m (common practice for a 700C wheel with a 25 mm tyre, no source).
pub const WHEEL_RADIUS_M: f64 = 0.335;
/// Height of the centre of mass above the contact line, m (common practice, no source).
pub const CENTRE_OF_MASS_HEIGHT_M: f64 = 1.05;
/// Chain efficiency between pedals and road (Martin et al. 1998, appendix I).
pub const DRIVETRAIN_EFFICIENCY: f64 = 0.976;
/// Bearing drag of two wheels, constant part, N (Martin et al. 1998, eq. 7).
pub const BEARING_CONSTANT_N: f64 = 0.091;
/// Bearing drag of two wheels, part that grows with speed, N s/m (Martin et al. 1998, eq. 7).
pub const BEARING_LINEAR_N_S_PER_M: f64 = 0.0087;

/// Height above ground at which rider and bicycle meet the wind, m (common practice, no source).
pub const RIDER_HEIGHT_M: f64 = 1.2;

/// Normal gravity on the WGS84 ellipsoid at a latitude and height, m/s².
///
/// g = gₑ (1 + k sin²φ) / √(1 − e² sin²φ) − 3.086e-6 h (Somigliana; NGA.STND.0036 eq. 4-1).
///
/// ```
/// let g = loopwright::constant::normal_gravity_m_s2(45.0, 0.0);
/// assert!((g - 9.806198).abs() < 1e-6);
/// ```
pub fn normal_gravity_m_s2(latitude_deg: f64, height_m: f64) -> f64 {
    let s2 = latitude_deg.to_radians().sin().powi(2);
    GRAVITY_EQUATOR_M_S2 * (1.0 + SOMIGLIANA_K * s2) / (1.0 - WGS84_E2 * s2).sqrt() - FREE_AIR_GRADIENT_1_S2 * height_m
}
