//! A line of straights, arcs and transitions over which curvature changes linearly.
//!
//! Given lengths, turns and radii one after the other; gives curvature and direction anywhere on the line, both
//! exact. It does not see to it that the line closes.

/// Curvature at the start of a piece over which it changes linearly.
#[derive(Debug, Clone, Copy)]
pub(super) struct Knot {
    pub(super) chainage_m: f64,
    pub(super) curvature_1_m: f64,
    pub(super) direction_rad: f64,
}

#[derive(Debug, Clone, Default)]
pub(super) struct Pieces {
    knots: Vec<Knot>,
}

/// A bend: its tightest radius and the length over which curvature rises to it, and falls again.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bend {
    pub(super) radius_m: f64,
    pub(super) transition_m: f64,
}

impl Bend {
    /// Length of a bend of the given turn: R·|turn| + T, since each transition turns half of what an arc would.
    pub(super) fn length_m(self, turn_rad: f64) -> f64 {
        self.radius_m * turn_rad.abs() + self.transition_m
    }
}

impl Pieces {
    pub(super) fn end(&self) -> Knot {
        self.knots.last().copied().unwrap_or(Knot { chainage_m: 0.0, curvature_1_m: 0.0, direction_rad: 0.0 })
    }

    fn to(&mut self, length_m: f64, curvature_1_m: f64) {
        if self.knots.is_empty() {
            self.knots.push(self.end());
        }
        let last = self.end();
        self.knots.push(Knot {
            chainage_m: last.chainage_m + length_m,
            curvature_1_m,
            direction_rad: last.direction_rad + 0.5 * (last.curvature_1_m + curvature_1_m) * length_m,
        });
    }

    pub(super) fn straight(&mut self, length_m: f64) {
        self.to(length_m, 0.0);
    }

    /// Transition, arc, transition. Where the transitions alone would turn too far they are shortened.
    pub(super) fn bend(&mut self, turn_rad: f64, bend: Bend) {
        let transition = bend.transition_m.min(bend.radius_m * turn_rad.abs());
        let curvature = turn_rad.signum() / bend.radius_m;
        self.to(transition, curvature);
        self.to(bend.radius_m * turn_rad.abs() - transition, curvature);
        self.to(transition, 0.0);
    }

    /// Curvature, linear in the piece, and its integral, quadratic: both exact.
    pub(super) fn at(&self, chainage_m: f64) -> Knot {
        if self.knots.len() < 2 {
            return self.end();
        }
        let s = chainage_m.rem_euclid(self.end().chainage_m);
        let next = self.knots.partition_point(|k| k.chainage_m <= s).clamp(1, self.knots.len() - 1);
        let (a, b) = (self.knots[next - 1], self.knots[next]);
        let piece = b.chainage_m - a.chainage_m;
        let along = s - a.chainage_m;
        let rate = if piece > 0.0 { (b.curvature_1_m - a.curvature_1_m) / piece } else { 0.0 };
        Knot {
            chainage_m: s,
            curvature_1_m: a.curvature_1_m + rate * along,
            direction_rad: a.direction_rad + along * (a.curvature_1_m + 0.5 * rate * along),
        }
    }
}
