//! The figure of a plan: watts that can be found against laps, for a few winds.
//!
//! Given a forecast; gives the curves for `plot::curves`. It draws nothing.

use super::number::{percent, significant};
use super::units::Units;
use crate::forecast::{Forecast, Measure, place_of};
use crate::plan::Plan;
use crate::plot::curves::{Curve, Curves, Level};

/// The curves, or `None` when nothing can be told with any number of laps.
pub fn laps_curves(plan: &Plan, forecast: &Forecast, units: Units) -> Option<Curves> {
    let said = |words: String| units.in_words(&words, &[]);
    let table = forecast.laps.as_ref()?;
    let curves: Vec<Curve> = table
        .winds
        .iter()
        .map(|w| {
            let known =
                table.laps_per_setup.iter().zip(&w.detectable_power_w).filter_map(|(l, d)| Some((*l as f64, (*d)?)));
            let (x, y) = known.unzip();
            Curve { label: said(format!("gusts {} m/s", significant(w.gust_sd_m_s, 2))), x, y }
        })
        .filter(|c: &Curve| c.x.len() > 1)
        .collect();
    if curves.is_empty() {
        return None;
    }
    let target = forecast.goals.iter().find(|g| g.goal.measure == Measure::PowerW).map(|g| g.goal.target);
    let venue = place_of(plan);
    let together = forecast.together.as_ref().and_then(|both| Measure::PowerW.of_all(&both.differences));
    let alone = match (forecast.together.is_some(), together) {
        (true, Some(watts)) => format!(
            ", on the {venue} alone; {venue} and rollers together find {} W of rolling with the laps as planned",
            significant(watts, 2)
        ),
        (true, None) => format!(", on the {venue} alone"),
        (false, _) => String::new(),
    };
    let line = match (target, together) {
        (Some(_), _) => " The dashed line is the target.".to_string(),
        (None, Some(_)) => format!(" The dashed line is what {venue} and rollers find together."),
        (None, None) => String::new(),
    };
    Some(Curves {
        name: "plan",
        title: "What this plan can find".into(),
        x_title: "Laps of each set-up".into(),
        y_title: "Smallest detectable difference, W".into(),
        caption: said(format!(
            "Smallest difference at {} km/h that {} of such days show between two set-ups, against the laps ridden of each, for gusts \
             of three strengths{alone}.{line}",
            significant(forecast.reference_speed_km_h, 3),
            percent(forecast.power)
        )),
        level: match (target, together) {
            (Some(value), _) => Some(Level { value, label: format!("target {} W", significant(value, 2)) }),
            (None, Some(value)) => {
                Some(Level { value, label: format!("{venue} and rollers together {} W", significant(value, 2)) })
            }
            (None, None) => None,
        },
        from_zero: true,
        curves,
    })
}
