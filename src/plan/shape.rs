//! Form of a loop: curvature and direction of travel along one lap.
//!
//! Given the loop of a plan; gives a [`Shape`] that turns once and closes. Left bends count positive. It knows
//! no height, no place on Earth and no rider.

use super::bean::bean;
use super::curve::{Waves, curve};
use super::pieces::{Bend, Pieces};
use super::planned_loop::{LoopShape, PlannedLoop};
use crate::session::Venue;
use std::f64::consts::{FRAC_PI_2, PI};

/// Radius of a track bend when none is stated, m (common practice for a 250 m track, no source).
const TRACK_RADIUS_M: f64 = 22.0;
/// Radius at the ends of an out-and-back when none is stated, m (a wide turning place; common practice, no source).
const TURN_RADIUS_M: f64 = 20.0;
/// Transition when none is stated, m (common practice, no source).
const TRANSITION_M: f64 = 12.0;

/// Direction θ of travel as a function of chainage, counter-clockwise from the direction at the gate.
#[derive(Debug, Clone)]
pub(super) enum Shape {
    /// Straights, arcs and transitions.
    Pieces(Pieces),
    /// θ = 2πs/L + Σ (aₖ cos 2πks/L + bₖ sin 2πks/L).
    Waves(Waves),
}

impl Shape {
    /// The form that a plan asks for. The message of an error says what does not fit.
    pub(super) fn of(plan: &PlannedLoop) -> Result<Shape, String> {
        let Some(length_m) = plan.length_m else {
            return Err("a loop needs length_m, the length of one lap".into());
        };
        if let Some(ridden) = &plan.ridden {
            return Ok(Shape::Waves(ridden.waves(length_m)));
        }
        let form = plan.form();
        let bend = plan.bend(length_m);
        match form {
            LoopShape::Oval | LoopShape::OutAndBack => oval(length_m, bend),
            LoopShape::RoundedRectangle => rectangle(length_m, bend, plan.aspect),
            LoopShape::Bean => Ok(Shape::Pieces(bean(length_m, bend)?)),
            LoopShape::Curve => Ok(Shape::Waves(curve(length_m, plan.shape_seed)?)),
        }
    }

    pub(super) fn curvature_1_m(&self, chainage_m: f64) -> f64 {
        match self {
            Shape::Pieces(p) => p.at(chainage_m).curvature_1_m,
            Shape::Waves(w) => w.curvature_1_m(chainage_m),
        }
    }

    pub(super) fn direction_rad(&self, chainage_m: f64) -> f64 {
        match self {
            Shape::Pieces(p) => p.at(chainage_m).direction_rad,
            Shape::Waves(w) => w.direction_rad(chainage_m),
        }
    }

    pub(super) fn length_m(&self) -> f64 {
        match self {
            Shape::Pieces(p) => p.end().chainage_m,
            Shape::Waves(w) => w.length_m,
        }
    }
}

impl PlannedLoop {
    fn form(&self) -> LoopShape {
        if self.kind == Venue::Track { LoopShape::Oval } else { self.shape }
    }

    /// Bends as stated or usual for the form.
    fn bend(&self, length_m: f64) -> Bend {
        let usual_m = match (self.kind, self.form()) {
            (Venue::Track, _) => TRACK_RADIUS_M,
            (_, LoopShape::OutAndBack) => TURN_RADIUS_M,
            _ => length_m / 20.0,
        };
        Bend {
            radius_m: self.bend_radius_m.unwrap_or(usual_m),
            transition_m: self.transition_m.unwrap_or(TRANSITION_M),
        }
    }

    /// The bends that a tester would state: those of a track, unless its form was ridden.
    pub(super) fn track_bend(&self) -> Option<Bend> {
        let length_m = self.length_m.filter(|_| self.kind == Venue::Track && self.ridden.is_none())?;
        Some(self.bend(length_m))
    }
}

fn too_long(count: &str, bend: Bend, bends_m: f64, length_m: f64) -> String {
    format!(
        "{count} bends of {:.1} m radius with transitions of {:.1} m take {bends_m:.1} m, more than the lap of {length_m:.1} m; make \
         bend_radius_m smaller or length_m larger",
        bend.radius_m, bend.transition_m
    )
}

/// The timing line of an oval lies in the middle of the home straight.
fn oval(length_m: f64, bend: Bend) -> Result<Shape, String> {
    let straight = 0.5 * length_m - bend.length_m(PI);
    if straight < 0.0 {
        return Err(too_long("two", bend, 2.0 * bend.length_m(PI), length_m));
    }
    let mut p = Pieces::default();
    p.straight(0.5 * straight);
    p.bend(PI, bend);
    p.straight(straight);
    p.bend(PI, bend);
    p.straight(0.5 * straight);
    Ok(Shape::Pieces(p))
}

fn rectangle(length_m: f64, bend: Bend, aspect: f64) -> Result<Shape, String> {
    let straights = 0.5 * length_m - 2.0 * bend.length_m(FRAC_PI_2);
    if straights < 0.0 {
        return Err(too_long("four", bend, 4.0 * bend.length_m(FRAC_PI_2), length_m));
    }
    let short = straights / (1.0 + aspect);
    let long = straights - short;
    let mut p = Pieces::default();
    p.straight(0.5 * long);
    for side in [short, long, short] {
        p.bend(FRAC_PI_2, bend);
        p.straight(side);
    }
    p.bend(FRAC_PI_2, bend);
    p.straight(0.5 * long);
    Ok(Shape::Pieces(p))
}
