//! Drag of the wheel bearings.
//!
//! Given the two constants of a session and the speed; gives force. It holds no constant of its own.

use crate::session::BearingFriction;

/// Drag of both wheels' bearings, b₀ + b₁ v, N (Martin et al. 1998, J. Appl. Biomech. 14:276–291, eq. 7).
///
/// ```
/// use loopwright::{model::bearing::bearing_force_n, session::BearingFriction};
/// let watts = bearing_force_n(BearingFriction::default(), 8.36) * 8.36;
/// assert!((watts - 1.4).abs() < 0.05); // Martin et al. 1998, appendix I
/// ```
#[inline]
pub fn bearing_force_n(friction: BearingFriction, speed_m_s: f64) -> f64 {
    friction.constant_n + friction.linear_n_s_per_m * speed_m_s
}
