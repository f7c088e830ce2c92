//! A day that the model does not explain: what pattern is left, what may have made it, what to do.
//!
//! Given the probability of the pattern and where it is strongest; gives a code and a message. It judges nothing.

use crate::wording::listed;

/// Where the most is left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MostLeft {
    pub power_w: f64,
    pub distance_m: f64,
}

/// Power that the model leaves at a planned speed, mean over the lap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeftAtSpeed {
    pub speed_km_h: f64,
    pub power_w: f64,
}

/// The catalogue.
#[derive(Debug, Clone, PartialEq)]
pub enum Misfit {
    /// Runs differ along the loop, this one most.
    ByRun { p_value: f64, most: MostLeft },
    /// The wind turns along the loop, by so much at most to either side.
    WindTurns { p_value: f64, turn_deg: f64 },
    /// Laps of one speed differ from laps of another along the loop.
    BySpeed { p_value: f64, speed_km_h: f64, most: MostLeft },
    /// Drag does not grow with speed as one CdA and one Crr have it.
    DragBends { p_value: f64, speeds: Vec<LeftAtSpeed> },
}

impl LeftAtSpeed {
    fn words(&self) -> String {
        format!("{:+.1} W at {:.0} km/h", self.power_w, self.speed_km_h)
    }
}

/// "below 0.003" or "0.013".
fn probability(p: f64) -> String {
    if p < 0.003 { "below 0.003".into() } else { format!("{p:.3}") }
}

/// Beyond 60° the first order says no more than that.
fn turn(degrees: f64) -> String {
    if degrees < 60.0 { format!("up to some {degrees:.0}°") } else { "more than 60°".into() }
}

fn strongest(most: &MostLeft) -> String {
    format!("{:+.0} W at {:.0} m from the gate (figure model-residual)", most.power_w, most.distance_m)
}

impl Misfit {
    pub fn code(&self) -> &'static str {
        match self {
            Misfit::ByRun { .. } => "runs-unexplained",
            Misfit::WindTurns { .. } => "wind-turns",
            Misfit::BySpeed { .. } => "speeds-unexplained",
            Misfit::DragBends { .. } => "drag-bends",
        }
    }

    pub fn message(&self) -> String {
        match self {
            Misfit::ByRun { p_value, most } => format!(
                "What the model leaves along the loop differs from run to run by more than scatter explains (p {}). \
                 Most is left in this run: {}. Something with a place on the loop changed between runs, such as a wind that \
                 turned, shelter, the line ridden or traffic. Differences between set-ups may hold part of it, and CdA and Crr may lie outside their intervals. Look at \
                 that run; leave it out or ride it again.",
                probability(*p_value),
                strongest(most)
            ),
            Misfit::WindTurns { p_value, turn_deg } => format!(
                "What is left along the loop is what a wind makes that turns along it, by {} to either side (p {}). \
                 Valleys and hills turn it so, and scatter hardly looks like that. The model has one direction for the whole \
                 loop, so CdA and Crr themselves may lie outside their intervals; differences between set-ups that were ridden alike \
                 hardly suffer (figure model-residual). For values ride in calmer air or on an open loop.",
                turn(*turn_deg),
                probability(*p_value)
            ),
            Misfit::BySpeed { p_value, speed_km_h, most } => format!(
                "What the model leaves along the loop differs between slow and fast laps by more than scatter explains (p {}). Most is left in \
                 laps near {speed_km_h:.0} km/h: {}. \
                 Something depends on place and speed that the model does not know: a wind whose direction changes along the loop, as \
                 in a valley, braking or coasting in bends, another line, or bends of another radius. CdA and Crr themselves may \
                 lie outside their intervals; differences between set-ups that were ridden alike hardly suffer. Ride in calmer air or \
                 on an open loop, and pedal through the bends.",
                probability(*p_value),
                strongest(most)
            ),
            Misfit::DragBends { p_value, speeds } => format!(
                "Drag does not grow with speed as one CdA and one Crr have it (p {}). Beyond the model the \
                 rider puts in {}. A rider who sits up in slow laps, a zero of the power meter that is off, or a loss of the chain that does not grow with power does that. CdA and Crr themselves may lie \
                 outside their intervals; differences hardly suffer. Zero the meter, and hold one position at all speeds.",
                probability(*p_value),
                listed(&speeds.iter().map(LeftAtSpeed::words).collect::<Vec<_>>())
            ),
        }
    }
}
