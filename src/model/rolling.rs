//! Rolling resistance: a coefficient times the load on the tyres.
//!
//! Given Crr, mass and gravity; gives load and force. It never changes Crr with speed, pressure or temperature.

/// Load on the tyres, m g cos(atan G), N, on a gradient (rise over run) without a bend.
///
/// The cosine is that of Martin et al. 1998, J. Appl. Biomech. 14:276–291, eq. 6.
#[inline]
pub fn normal_load_n(mass_kg: f64, gravity_m_s2: f64, gradient: f64) -> f64 {
    mass_kg * gravity_m_s2 / (1.0 + gradient * gradient).sqrt()
}

/// Force of rolling resistance, Crr N, in N.
///
/// In a bend N is larger than m g by the [`load_ratio`](crate::model::Lean::load_ratio) of the lean.
///
/// ```
/// use loopwright::model::rolling::{normal_load_n, rolling_force_n};
/// let load = normal_load_n(90.0, 9.81, 0.003);
/// assert!((rolling_force_n(0.0032, load) * 8.36 - 23.6).abs() < 0.1); // Martin et al. 1998, appendix I: 23.6 W
/// ```
#[inline]
pub fn rolling_force_n(crr: f64, load_n: f64) -> f64 {
    crr * load_n
}
