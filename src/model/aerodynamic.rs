//! Air resistance, with wind from any side and with gusts.
//!
//! Given the speed of the centre of mass, a direction of travel and a wind vector; gives the drag along the
//! direction of travel *per unit of CdA*, so that CdA stays a linear parameter. It never says what CdA is.
//!
//! Where drag depends on the side the air comes from,
//!
//! ```text
//! CdA(ψ) = CdA₀ (1 + k sin²ψ),   sin²ψ = w⊥²/w²
//! ```
//!
//! with CdA₀ that of air from straight ahead. This CdA multiplies w·w∥; written for w² along travel k is smaller by ½.

use crate::air::{Direction, WindVector};

/// Velocity of the air as the rider feels it, m/s, at rider height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirSpeed {
    /// Against the direction of travel, w∥: positive is air from the front.
    pub along_m_s: f64,
    /// Across the direction of travel, w⊥.
    pub across_m_s: f64,
}

impl AirSpeed {
    /// w∥ = u − W·t̂ and w⊥ = W·n̂, with u the speed of the centre of mass and W the wind over the ground.
    #[inline]
    pub fn new(com_speed_m_s: f64, travel: Direction, wind: WindVector) -> Self {
        AirSpeed { along_m_s: com_speed_m_s - wind.along(travel), across_m_s: wind.across(travel) }
    }

    /// w = √(w∥² + w⊥²), m/s.
    #[inline]
    pub fn size_m_s(self) -> f64 {
        (self.along_m_s * self.along_m_s + self.across_m_s * self.across_m_s).sqrt()
    }
}

/// Standard deviations of the turbulent part of the wind along and across the direction of travel, m/s.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Gusts {
    pub along_m_s: f64,
    pub across_m_s: f64,
}

impl Gusts {
    /// The same in both directions.
    pub fn isotropic(sigma_m_s: f64) -> Self {
        Gusts { along_m_s: sigma_m_s, across_m_s: sigma_m_s }
    }
}

/// Drag along the direction of travel per unit of CdA, N/m²: ½ ρ w w∥.
///
/// Negative when the air overtakes the rider. This is the drag of a body whose drag coefficient does not depend on
/// yaw; it is exact for pure head and tail wind.
///
/// ```
/// use loopwright::model::aerodynamic::{AirSpeed, drag_per_area_n_m2};
/// let still = AirSpeed { along_m_s: 10.0, across_m_s: 0.0 };
/// assert_eq!(drag_per_area_n_m2(1.2, still), 60.0);
/// ```
#[inline]
pub fn drag_per_area_n_m2(density_kg_m3: f64, air: AirSpeed) -> f64 {
    0.5 * density_kg_m3 * air.size_m_s() * air.along_m_s
}

/// What yaw adds to the drag along the direction of travel, per unit of CdA₀ and of k, N/m²: ½ ρ w∥ w⊥²/w.
///
/// ```
/// use loopwright::model::aerodynamic::{AirSpeed, yaw_drag_per_area_n_m2};
/// // Air from 30° ahead: sin²ψ = ¼ of ½ρ w w∥.
/// let air = AirSpeed { along_m_s: 10.0 * 0.75_f64.sqrt(), across_m_s: 5.0 };
/// assert!((yaw_drag_per_area_n_m2(1.2, air) - 0.25 * 0.6 * 10.0 * air.along_m_s).abs() < 1e-12);
/// ```
#[inline]
pub fn yaw_drag_per_area_n_m2(density_kg_m3: f64, air: AirSpeed) -> f64 {
    let w = air.size_m_s();
    if w < 1e-9 {
        return 0.0;
    }
    0.5 * density_kg_m3 * air.along_m_s * air.across_m_s * air.across_m_s / w
}

/// Mean extra drag that gusts add, per unit of CdA, N/m².
///
/// Second-order expansion of E[w w∥] about the mean air speed:
/// ½ρ · ½ [ σ∥² w∥(2w∥² + 3w⊥²)/w³ + σ⊥² w∥³/w³ ], which without a cross wind is ½ρ (σ∥² + ½σ⊥²), that is
/// ½ρ · 1.5σ² when isotropic (own derivation). Valid while σ is below about a third of w; 0 in still air.
///
/// ```
/// use loopwright::model::aerodynamic::{AirSpeed, Gusts, gust_drag_per_area_n_m2};
/// let air = AirSpeed { along_m_s: 10.0, across_m_s: 0.0 };
/// assert!((gust_drag_per_area_n_m2(1.2, air, Gusts::isotropic(0.8)) - 0.6 * 1.5 * 0.64).abs() < 1e-12);
/// ```
#[inline]
pub fn gust_drag_per_area_n_m2(density_kg_m3: f64, air: AirSpeed, gusts: Gusts) -> f64 {
    let w = air.size_m_s();
    if w < 1e-6 {
        return 0.0;
    }
    let inverse = 1.0 / w;
    let (a, c) = (air.along_m_s * inverse, air.across_m_s * inverse);
    let along = a * (2.0 * a * a + 3.0 * c * c) * gusts.along_m_s * gusts.along_m_s;
    let across = a * a * a * gusts.across_m_s * gusts.across_m_s;
    0.25 * density_kg_m3 * (along + across)
}

/// Change of the drag per unit of CdA with the wind, N/m² for each m/s of wind towards east and north.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindDerivative {
    pub east: f64,
    pub north: f64,
}

/// Derivative of [`drag_per_area_n_m2`] with respect to the wind vector.
///
/// ∂(w w∥)/∂W = −(w + w∥²/w) t̂ + (w∥ w⊥/w) n̂, with n̂ the direction from left to right; 0 in still air, where it
/// tends to 0.
#[inline]
pub fn drag_wind_derivative(density_kg_m3: f64, air: AirSpeed, travel: Direction) -> WindDerivative {
    let w = air.size_m_s();
    if w < 1e-9 {
        return WindDerivative { east: 0.0, north: 0.0 };
    }
    let inverse = 1.0 / w;
    let along = -0.5 * density_kg_m3 * (w + air.along_m_s * air.along_m_s * inverse);
    let across = 0.5 * density_kg_m3 * air.along_m_s * air.across_m_s * inverse;
    WindDerivative {
        east: along * travel.east + across * travel.north,
        north: along * travel.north - across * travel.east,
    }
}

/// Derivative of [`yaw_drag_per_area_n_m2`] with respect to the wind vector.
///
/// ∂(w∥w⊥²/w)/∂W = −(w⊥⁴/w³) t̂ + (w∥w⊥(2w² − w⊥²)/w³) n̂; 0 in still air, where it tends to 0.
#[inline]
pub fn yaw_drag_wind_derivative(density_kg_m3: f64, air: AirSpeed, travel: Direction) -> WindDerivative {
    let w = air.size_m_s();
    if w < 1e-9 {
        return WindDerivative { east: 0.0, north: 0.0 };
    }
    let (a, c) = (air.along_m_s, air.across_m_s);
    let cube = 0.5 * density_kg_m3 / (w * w * w);
    let along = -cube * c * c * c * c;
    let across = cube * a * c * (2.0 * w * w - c * c);
    WindDerivative {
        east: along * travel.east + across * travel.north,
        north: along * travel.north - across * travel.east,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drag(u: f64, bearing_deg: f64, wind: WindVector) -> f64 {
        drag_per_area_n_m2(1.2, AirSpeed::new(u, Direction::from_bearing_deg(bearing_deg), wind))
    }

    #[test]
    fn the_wind_derivative_is_the_slope_of_the_drag() {
        // Vouched for by central differences of the drag itself; their error is about 1e-9 at this step.
        for (u, bearing, east, north) in
            [(10.0, 30.0, 1.5, -2.0), (8.0, 200.0, 0.0, 0.0), (3.0, 90.0, 6.0, 0.5), (12.0, 315.0, -4.0, 1.0)]
        {
            let wind = WindVector { east_m_s: east, north_m_s: north };
            let travel = Direction::from_bearing_deg(bearing);
            let slope = drag_wind_derivative(1.2, AirSpeed::new(u, travel, wind), travel);
            let step = 1e-5;
            let shifted =
                |de: f64, dn: f64| drag(u, bearing, WindVector { east_m_s: east + de, north_m_s: north + dn });
            let by_east = (shifted(step, 0.0) - shifted(-step, 0.0)) / (2.0 * step);
            let by_north = (shifted(0.0, step) - shifted(0.0, -step)) / (2.0 * step);
            assert!((slope.east - by_east).abs() < 1e-7, "{} {}", slope.east, by_east);
            assert!((slope.north - by_north).abs() < 1e-7, "{} {}", slope.north, by_north);
        }
    }

    #[test]
    fn the_wind_derivative_of_yaw_is_the_slope_of_its_drag() {
        // Vouched for by central differences, as above.
        let extra =
            |u: f64, travel: Direction, wind: WindVector| yaw_drag_per_area_n_m2(1.2, AirSpeed::new(u, travel, wind));
        for (u, bearing, east, north) in
            [(10.0, 30.0, 1.5, -2.0), (3.0, 90.0, 6.0, 0.5), (12.0, 315.0, -4.0, 1.0), (8.0, 200.0, 0.0, 0.0)]
        {
            let travel = Direction::from_bearing_deg(bearing);
            let at = |de: f64, dn: f64| extra(u, travel, WindVector { east_m_s: east + de, north_m_s: north + dn });
            let wind = WindVector { east_m_s: east, north_m_s: north };
            let slope = yaw_drag_wind_derivative(1.2, AirSpeed::new(u, travel, wind), travel);
            let step = 1e-5;
            assert!((slope.east - (at(step, 0.0) - at(-step, 0.0)) / (2.0 * step)).abs() < 1e-7);
            assert!((slope.north - (at(0.0, step) - at(0.0, -step)) / (2.0 * step)).abs() < 1e-7);
        }
    }

    #[test]
    fn a_tail_wind_faster_than_the_rider_pushes() {
        let tail = WindVector::from_speed_and_direction(5.0, 180.0);
        assert!((drag(3.0, 0.0, tail) + 0.6 * 4.0).abs() < 1e-12);
    }

    /// Average of w·w∥ over normal gusts on a fine grid, less its value in the mean wind.
    fn extra_by_averaging(air: AirSpeed, sigma: f64) -> f64 {
        let nodes: Vec<f64> = (-28..=28).map(|i| f64::from(i) * 0.25).collect();
        let law = |x: f64| (-0.5 * x * x).exp();
        let (mut mean, mut weight) = (0.0, 0.0);
        for &x in &nodes {
            for &y in &nodes {
                let gusty = AirSpeed { along_m_s: air.along_m_s + sigma * x, across_m_s: air.across_m_s + sigma * y };
                mean += law(x) * law(y) * drag_per_area_n_m2(1.2, gusty);
                weight += law(x) * law(y);
            }
        }
        mean / weight - drag_per_area_n_m2(1.2, air)
    }

    #[test]
    fn the_gust_term_is_the_average_over_gusts() {
        // Vouched for by averaging the drag itself. What the second-order term leaves out is of fourth order in σ, so
        // its share must fall fourfold when σ is halved, and to below 1e-3 at σ/w = 0.03.
        let air = AirSpeed { along_m_s: 9.0, across_m_s: 3.0 };
        let missing = |sigma: f64| {
            let term = gust_drag_per_area_n_m2(1.2, air, Gusts::isotropic(sigma));
            extra_by_averaging(air, sigma) / term - 1.0
        };
        let fall = missing(0.6) / missing(0.3);
        assert!((fall - 4.0).abs() < 0.1, "{fall}");
        assert!(missing(0.3).abs() < 1e-3);
    }
}
