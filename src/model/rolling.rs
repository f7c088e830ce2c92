//! Rolling resistance: a coefficient times the load on the tyres.
//!
//! Given Crr, mass and gravity; gives load and force. It never changes Crr with speed or pressure, and
//! with temperature only by a stated coefficient.

/// Load on the tyres, m g cos(atan G), N, on a gradient (rise over run) without a bend.
///
/// The cosine is that of Martin et al. 1998, J. Appl. Biomech. 14:276–291, eq. 6.
#[inline]
pub fn normal_load_n(mass_kg: f64, gravity_m_s2: f64, gradient: f64) -> f64 {
    mass_kg * gravity_m_s2 / (1.0 + gradient * gradient).sqrt()
}

/// How far the tyres of a run are from the temperature to which Crr is brought.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TyreTemperature {
    /// Relative change of Crr per °C, K; 0 where none was stated.
    pub coefficient_per_c: f64,
    /// Temperature of the tyres less the reference, °C.
    pub above_reference_c: f64,
    /// That of the air stands for that of the tyres.
    pub is_of_air: bool,
}

impl TyreTemperature {
    /// Crr as ridden over Crr at the reference temperature, 1/[1 + K (t − t_ref)].
    ///
    /// The inverse of the correction of UN R117, annex 6, 6.2, and ISO 28580, which hold for car tyres at 20–30 °C; K is
    /// stated by the user. Not finite or negative far outside the range of a linear rule.
    ///
    /// ```
    /// use loopwright::model::rolling::TyreTemperature;
    /// let warm = TyreTemperature { coefficient_per_c: 0.008, above_reference_c: 25.0, is_of_air: false };
    /// assert!((warm.crr_over_reference() - 1.0 / 1.2).abs() < 1e-12);
    /// assert_eq!(TyreTemperature::default().crr_over_reference(), 1.0);
    /// ```
    pub fn crr_over_reference(&self) -> f64 {
        1.0 / (1.0 + self.coefficient_per_c * self.above_reference_c)
    }
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
