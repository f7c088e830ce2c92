//! Wind as a vector, and a mast reading brought down to the height of a rider.
//!
//! Given speed and the direction it blows *from*, clockwise from north, or components; gives the other form, and
//! the part along a direction of travel. It never decides whether a wind is estimated, given or absent.

/// A horizontal direction as a unit vector: a direction of travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Direction {
    pub east: f64,
    pub north: f64,
}

impl Direction {
    /// From a bearing in degrees clockwise from north.
    pub fn from_bearing_deg(bearing_deg: f64) -> Self {
        let (east, north) = bearing_deg.to_radians().sin_cos();
        Direction { east, north }
    }
}

/// Velocity of the air over the ground, m/s: where the wind blows *to*.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct WindVector {
    pub east_m_s: f64,
    pub north_m_s: f64,
}

impl WindVector {
    pub const STILL: WindVector = WindVector { east_m_s: 0.0, north_m_s: 0.0 };

    /// From a speed and the direction the wind blows from, degrees clockwise from north, as weather reports say it.
    ///
    /// ```
    /// use loopwright::air::WindVector;
    /// let westerly = WindVector::from_speed_and_direction(3.0, 270.0);
    /// assert!((westerly.east_m_s - 3.0).abs() < 1e-12 && westerly.north_m_s.abs() < 1e-12);
    /// ```
    pub fn from_speed_and_direction(speed_m_s: f64, from_deg: f64) -> Self {
        let (sin, cos) = from_deg.to_radians().sin_cos();
        WindVector { east_m_s: -speed_m_s * sin, north_m_s: -speed_m_s * cos }
    }

    pub fn speed_m_s(self) -> f64 {
        self.east_m_s.hypot(self.north_m_s)
    }

    /// Direction it blows from, degrees clockwise from north, in [0, 360); `None` in still air, which has none.
    pub fn from_deg(self) -> Option<f64> {
        if self.speed_m_s() == 0.0 {
            return None;
        }
        let degrees = (-self.east_m_s).atan2(-self.north_m_s).to_degrees();
        // A tiny negative angle would round up to 360 itself.
        Some(if degrees < 0.0 { (degrees + 360.0) % 360.0 } else { degrees })
    }

    /// Component along a direction of travel, m/s; positive is a tail wind.
    #[inline]
    pub fn along(self, travel: Direction) -> f64 {
        self.east_m_s * travel.east + self.north_m_s * travel.north
    }

    /// Component across a direction of travel, m/s; positive blows from the rider's left to the right.
    #[inline]
    pub fn across(self, travel: Direction) -> f64 {
        self.east_m_s * travel.north - self.north_m_s * travel.east
    }

    pub fn scaled(self, factor: f64) -> Self {
        WindVector { east_m_s: factor * self.east_m_s, north_m_s: factor * self.north_m_s }
    }

    /// The vector a share of the way to another: 0 is `self`, 1 is `other`.
    pub fn towards(self, other: WindVector, share: f64) -> Self {
        WindVector {
            east_m_s: self.east_m_s + share * (other.east_m_s - self.east_m_s),
            north_m_s: self.north_m_s + share * (other.north_m_s - self.north_m_s),
        }
    }
}

/// Wind speed at one height over that at another, by the logarithmic profile of neutral air.
///
/// U(z)/U(z_m) = ln(z/z₀) / ln(z_m/z₀), z₀ the roughness length in m. Valid where both heights are well above the
/// roughness (about 20 z₀); at or below z₀ the profile has no wind and 0 is returned. z₀ is known to one figure
/// only, so the ratio carries ±15–25 %. Classes of z₀: Davenport–Wieringa, in the
/// World Meteorological Organization's guide No. 8.
///
/// ```
/// let ratio = loopwright::air::wind::height_ratio(1.2, 10.0, 0.03);
/// assert!((ratio - 0.6350).abs() < 5e-5);
/// ```
pub fn height_ratio(height_m: f64, mast_height_m: f64, roughness_length_m: f64) -> f64 {
    if height_m <= roughness_length_m || mast_height_m <= roughness_length_m {
        return 0.0;
    }
    (height_m / roughness_length_m).ln() / (mast_height_m / roughness_length_m).ln()
}

/// A mast reading brought to the height at which rider and bicycle meet the wind
/// ([`constant::RIDER_HEIGHT_M`](crate::constant::RIDER_HEIGHT_M)).
pub fn at_rider_height(mast: WindVector, mast_height_m: f64, roughness_length_m: f64) -> WindVector {
    mast.scaled(height_ratio(crate::constant::RIDER_HEIGHT_M, mast_height_m, roughness_length_m))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_northerly_blows_southwards() {
        let w = WindVector::from_speed_and_direction(2.0, 0.0);
        assert!(w.east_m_s.abs() < 1e-15 && (w.north_m_s + 2.0).abs() < 1e-15);
    }

    #[test]
    fn speed_and_direction_come_back() {
        for from in [0.0, 1e-9, 37.0, 90.0, 180.0, 240.0, 359.999] {
            let w = WindVector::from_speed_and_direction(3.3, from);
            assert!((w.speed_m_s() - 3.3).abs() < 1e-12);
            let back = w.from_deg().unwrap();
            assert!((0.0..360.0).contains(&back));
            let off = (back - from).rem_euclid(360.0);
            assert!(off.min(360.0 - off) < 1e-9, "{from} came back as {back}");
        }
        assert_eq!(WindVector::STILL.from_deg(), None);
    }

    #[test]
    fn riding_east_a_northerly_comes_from_the_left_and_a_westerly_pushes() {
        let east = Direction::from_bearing_deg(90.0);
        let northerly = WindVector::from_speed_and_direction(2.0, 0.0);
        assert!(northerly.along(east).abs() < 1e-12 && (northerly.across(east) - 2.0).abs() < 1e-12);
        assert!((WindVector::from_speed_and_direction(2.0, 270.0).along(east) - 2.0).abs() < 1e-12);
    }

    #[test]
    fn below_the_roughness_there_is_no_wind() {
        assert_eq!(height_ratio(0.8, 10.0, 1.0), 0.0);
        assert_eq!(height_ratio(1.2, 0.5, 0.6), 0.0);
    }
}
