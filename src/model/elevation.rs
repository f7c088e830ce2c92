//! Force of gravity along a gradient.
//!
//! Given mass, gravity and gradient; gives the force. It never reads an altimeter: elevation is solved for or surveyed.

/// Force of gravity along a gradient (rise over run), m g sin(atan G), N.
///
/// Martin et al. 1998, J. Appl. Biomech. 14:276–291, eq. 9.
///
/// ```
/// use loopwright::model::elevation::climbing_force_n;
/// assert!((climbing_force_n(90.0, 9.81, 0.003) * 8.36 - 22.1).abs() < 0.1); // ibid., appendix I: 22.1 W
/// ```
#[inline]
pub fn climbing_force_n(mass_kg: f64, gravity_m_s2: f64, gradient: f64) -> f64 {
    mass_kg * gravity_m_s2 * gradient / (1.0 + gradient * gradient).sqrt()
}
