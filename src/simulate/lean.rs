//! A bicycle that leans into a bend, for the equation of motion.
//!
//! Given the wheel's speed and the curvature of its path; gives lean angle, speed of the centre of mass, load and the
//! derivatives that an integration needs. Banking does not enter: the body leans about the vertical.

/// A bicycle leaning into a bend as one rigid body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Lean {
    /// Of the lean angle φ, positive to the left.
    pub(super) sine: f64,
    pub(super) cosine: f64,
    /// Speed u of the centre of mass.
    pub(super) mass_speed_m_s: f64,
    /// Derivatives with respect to the wheel's speed v.
    pub(super) angle_slope_s_m: f64,
    pub(super) mass_speed_slope: f64,
}

impl Lean {
    /// Solves tan φ = u v κ / g with u = v (1 − κ h sin φ) by Newton's method on tan φ.
    pub(super) fn of(speed_m_s: f64, curvature_1_m: f64, height_m: f64, gravity_m_s2: f64) -> Lean {
        if curvature_1_m == 0.0 || speed_m_s == 0.0 {
            return Lean {
                sine: 0.0,
                cosine: 1.0,
                mass_speed_m_s: speed_m_s,
                angle_slope_s_m: 0.0,
                mass_speed_slope: 1.0,
            };
        }
        let pull = speed_m_s * speed_m_s * curvature_1_m / gravity_m_s2;
        let reach = curvature_1_m * height_m;
        let mut tangent = pull;
        for _ in 0..20 {
            let cosine = 1.0 / (1.0 + tangent * tangent).sqrt();
            let miss = tangent - pull * (1.0 - reach * tangent * cosine);
            let change = miss / (1.0 + pull * reach * cosine.powi(3));
            tangent -= change;
            // Newton's method doubles the digits: what follows a change of 1e-8 is beyond rounding.
            if change.abs() <= 1e-8 * (1.0 + tangent.abs()) {
                break;
            }
        }
        let cosine = 1.0 / (1.0 + tangent * tangent).sqrt();
        let sine = tangent * cosine;
        let share = 1.0 - reach * sine;
        let tangent_slope = 2.0 * pull / speed_m_s * share / (1.0 + pull * reach * cosine.powi(3));
        let angle_slope = tangent_slope * cosine * cosine;
        Lean {
            sine,
            cosine,
            mass_speed_m_s: speed_m_s * share,
            angle_slope_s_m: angle_slope,
            mass_speed_slope: share - speed_m_s * reach * cosine * angle_slope,
        }
    }

    /// Load on the tyres over weight: √(g² + a²)/g = 1/cos φ.
    pub(super) fn load(&self) -> f64 {
        1.0 / self.cosine
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lean_speed_and_load_are_those_of_the_rigid_body_on_its_circle() {
        // tan θ = u²/(g r), r = R − h sin θ, u = v r/R, load = 1/cos θ, iterated to convergence in another language
        // at g 9.80665: radius, height, wheel speed, θ in degrees, u, load.
        for (radius, height, wheel, degrees, speed, load) in [
            (22.0, 1.0, 15.0, 45.2629, 14.5157, 1.4207),
            (22.0, 1.1, 14.0, 41.2992, 13.5380, 1.3311),
            (25.0, 1.2, 12.0, 29.8271, 11.7135, 1.1527),
            (22.0, 1.0, 10.0, 24.4553, 9.8118, 1.0986),
        ] {
            for side in [1.0_f64, -1.0] {
                let lean = Lean::of(wheel, side / radius, height, 9.80665);
                assert!((side * lean.sine.asin().to_degrees() - degrees).abs() < 1e-4);
                assert!((lean.mass_speed_m_s - speed).abs() < 1e-4);
                assert!((lean.load() - load).abs() < 1e-4);
            }
        }
    }

    #[test]
    fn the_derivatives_are_those_of_the_lean_itself() {
        // Central differences over a hundredth of a m/s, whose own error is below 1e-6.
        let at = |v: f64| Lean::of(v, 1.0 / 22.0, 1.05, 9.80665);
        for v in [3.0, 9.0, 14.0] {
            let (low, high) = (at(v - 0.005), at(v + 0.005));
            let angle_slope = (high.sine.asin() - low.sine.asin()) / 0.01;
            let speed_slope = (high.mass_speed_m_s - low.mass_speed_m_s) / 0.01;
            assert!((at(v).angle_slope_s_m - angle_slope).abs() < 1e-5);
            assert!((at(v).mass_speed_slope - speed_slope).abs() < 1e-5);
        }
    }
}
