//! The lean of a bicycle in a bend, and what it does to speed, load and height of the centre of mass.
//!
//! Given the curvature of the line the wheels follow and their speed; gives a [`Lean`]. It is a rigid lean about the
//! vertical: tyre width, steering and banking stay out (banking does not enter the power balance of such a lean).
//!
//! Rigid-lean model of Martin et al. 2006 and Fitton & Symons 2018, Sports Eng., doi 10.1007/s12283-018-0283-0.

/// State of a leaning bicycle; the default of a straight line is upright.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lean {
    /// From the vertical, rad, never negative.
    pub angle_rad: f64,
    /// Speed of the centre of mass, m/s: slower than the wheels, on a smaller circle.
    pub com_speed_m_s: f64,
    /// Load on the tyres over that on a straight, N/(m g).
    pub load_ratio: f64,
    /// How far the centre of mass comes down, h (1 − cos φ), m.
    pub com_drop_m: f64,
}

/// Tightest curvature times height of the centre of mass that is taken seriously.
///
/// A line tighter than this (a circle of four heights across) is an error of position, and beyond it the fixed point
/// may not exist.
const TIGHTEST: f64 = 0.5;

/// Lean in steady turning, from curvature κ (1/m, any sign) and the speed v of the tyre contact.
///
/// tan φ = a/g, a = u v κ, u = v (1 − κ h sin φ); N = m √(g² + a²). Two Newton steps from the lean without
/// the shorter circle of the centre of mass leave less than 1e-8 on a track and 1e-6 in a hairpin.
///
/// ```
/// let l = loopwright::model::lean(1.0 / 22.0, 15.0, 1.0, 9.80665);
/// assert!((l.angle_rad.to_degrees() - 45.2629).abs() < 1e-4); // fixed point solved independently in Python
/// assert!((l.load_ratio - 1.4207).abs() < 5e-5 && (l.com_speed_m_s - 14.5157).abs() < 5e-5);
/// ```
#[inline]
pub fn lean(curvature_1_m: f64, wheel_speed_m_s: f64, com_height_m: f64, gravity_m_s2: f64) -> Lean {
    let v = wheel_speed_m_s;
    // Below this the largest of the effects, the drop, is under a micrometre.
    let flat = v * v * curvature_1_m.abs() / gravity_m_s2;
    if flat < 1e-3 {
        return Lean { angle_rad: flat, com_speed_m_s: v, load_ratio: 1.0, com_drop_m: 0.0 };
    }
    let curvature = curvature_1_m.abs().min(TIGHTEST / com_height_m);
    let reach = curvature * com_height_m;
    let ceiling = v * v * curvature / gravity_m_s2;
    let mut tangent = ceiling;
    for _ in 0..2 {
        let secant_squared = 1.0 + tangent * tangent;
        let sine = tangent / secant_squared.sqrt();
        let miss = tangent - ceiling * (1.0 - reach * sine);
        // d sin φ / d tan φ = cos³ φ = sin φ / (tan φ (1 + tan² φ)).
        let slope = 1.0 + ceiling * reach * sine / (tangent * secant_squared);
        tangent -= miss / slope;
    }
    let load_ratio = (1.0 + tangent * tangent).sqrt();
    Lean {
        angle_rad: tangent.atan(),
        com_speed_m_s: v * (tangent / ceiling),
        load_ratio,
        com_drop_m: com_height_m * (1.0 - 1.0 / load_ratio),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::constant::STANDARD_GRAVITY_M_S2 as G;

    #[test]
    fn left_and_right_bends_lean_alike() {
        assert_eq!(lean(0.04, 11.0, 1.05, G), lean(-0.04, 11.0, 1.05, G));
    }

    #[test]
    fn the_early_return_joins_the_formula_without_a_step() {
        // At the threshold the neglected terms are of order tan²φ/2 = 5e-7 in load and κh·tanφ in speed.
        let v = 10.0;
        let kappa = 1e-3 * G / (v * v);
        let (below, above) = (lean(kappa * 0.999, v, 1.05, G), lean(kappa * 1.001, v, 1.05, G));
        assert!((below.load_ratio - above.load_ratio).abs() < 1e-6);
        assert!((below.com_speed_m_s / above.com_speed_m_s - 1.0).abs() < 1e-6);
        assert!((below.com_drop_m - above.com_drop_m).abs() < 1e-6);
    }

    #[test]
    fn two_steps_satisfy_the_equations_of_the_lean() {
        // A track bend to 1e-8, a hairpin of 8 m radius at 9 m/s (46° of lean) to 1e-6.
        for (kappa, v, h, close) in [(1.0 / 22.0, 15.0, 1.1, 1e-8), (1.0 / 8.0, 9.0, 1.1, 1e-6)] {
            let l = lean(kappa, v, h, G);
            let u = v * (1.0 - kappa * h * l.angle_rad.sin());
            assert!((u / l.com_speed_m_s - 1.0).abs() < close, "{u} {l:?}");
            assert!((l.angle_rad.tan() - u * v * kappa / G).abs() < close);
        }
    }

    #[test]
    fn nonsense_curvature_stays_finite_and_forward() {
        for kappa in [1.0, 50.0, 1e9, f64::INFINITY] {
            let l = lean(kappa, 14.0, 1.1, G);
            assert!(l.load_ratio.is_finite() && l.com_speed_m_s > 0.0, "{kappa}: {l:?}");
        }
        let rest = lean(0.1, 0.0, 1.05, G);
        assert!(rest.com_speed_m_s == 0.0 && rest.load_ratio == 1.0);
    }
}
