//! The figure of a plan: watts that can be found against laps, for a few winds.
//!
//! Given a forecast; gives the curves for `plot::curves`. It draws nothing.

use super::number::{percent, significant};
use crate::forecast::{Forecast, Measure};
use crate::plot::curves::{Curve, Curves, Level};

/// The curves, or `None` when nothing can be told with any number of laps.
pub fn laps_curves(forecast: &Forecast) -> Option<Curves> {
    let table = forecast.laps.as_ref()?;
    let curves: Vec<Curve> = table
        .winds
        .iter()
        .map(|w| {
            let known =
                table.laps_per_setup.iter().zip(&w.detectable_power_w).filter_map(|(l, d)| Some((*l as f64, (*d)?)));
            let (x, y) = known.unzip();
            Curve { label: format!("gusts {} m/s", significant(w.gust_sd_m_s, 2)), x, y }
        })
        .filter(|c: &Curve| c.x.len() > 1)
        .collect();
    if curves.is_empty() {
        return None;
    }
    let target = forecast.goals.iter().find(|g| g.goal.measure == Measure::PowerW).map(|g| g.goal.target);
    let alone = if forecast.together.is_some() { ", on the loop alone" } else { "" };
    let line = if target.is_some() { " The dashed line is the target." } else { "" };
    Some(Curves {
        name: "plan",
        title: "What this plan can find".into(),
        x_title: "Laps of each set-up".into(),
        y_title: "Smallest detectable difference, W".into(),
        caption: format!(
            "Smallest difference at {} km/h that {} of such days show between two set-ups, against the laps ridden of each, for gusts \
             of three strengths{alone}.{line}",
            significant(forecast.reference_speed_km_h, 3),
            percent(forecast.power)
        ),
        level: target.map(|value| Level { value, label: format!("target {} W", significant(value, 2)) }),
        from_zero: true,
        curves,
    })
}
