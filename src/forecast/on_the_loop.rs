//! The runs of a plan by venue: those on the loop are predicted from the design, those on rollers by rehearsals.
//!
//! Given a plan; gives the part of it that is on the loop. It rides nothing.

use crate::plan::Plan;
use crate::session::Venue;

/// The runs that are not on rollers, with their set-ups; `None` when there are none.
pub(super) fn on_the_loop(plan: &Plan) -> Option<Plan> {
    let kept: Vec<usize> = (0..plan.order.len()).filter(|run| plan.venue_of(*run) != Venue::Rollers).collect();
    if kept.is_empty() {
        return None;
    }
    if kept.len() == plan.order.len() {
        return Some(plan.clone());
    }
    let mut out = plan.clone();
    let keep = |run: usize| kept.contains(&run);
    out.order = kept.iter().map(|&run| plan.order[run].clone()).collect();
    let of_kept = |values: &[f64]| {
        values.iter().enumerate().filter(|(run, _)| keep(*run)).map(|(_, value)| *value).collect::<Vec<f64>>()
    };
    out.run_mass_kg = of_kept(&plan.run_mass_kg);
    out.run_tyre_temperature_c = of_kept(&plan.run_tyre_temperature_c);
    out.on.clear();
    out.setups.retain(|s| out.order.contains(&s.id));
    out.baseline = out.baseline.filter(|b| out.order.contains(b));
    out.mishaps.clear();
    Some(out)
}
