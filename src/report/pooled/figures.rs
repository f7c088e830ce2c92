//! Figures of pooled results: a forest for each quantity of each difference, and curves over what was swept.
//!
//! Given a pooled result; gives figures with captions. It pools nothing.

use super::names::{pair, quantities, reference_speed};
use crate::plot::factor_curve::{Curves, drawn};
use crate::plot::forest::{Forest, ForestRow, draw};
use crate::plot::{Figure, Style};
use crate::pool::{DayContrast, PooledContrast, PooledCurve, PooledQuantity, PooledResult};
use crate::report::number::{fixed, p_value, percent};
use crate::report::units::Units;
use crate::solution::Estimate;
use crate::wording::counted;
use std::collections::BTreeSet;

/// A figure and the file it goes to, without extension; the name holds no text of the inputs.
pub struct NamedFigure {
    pub stem: String,
    pub figure: Figure,
}

/// See the module.
pub fn figures(result: &PooledResult, style: &Style, units: Units) -> Vec<NamedFigure> {
    let mut all: Vec<NamedFigure> = curves(result, style, units).into_iter().collect();
    for (index, contrast) in result.contrasts.iter().enumerate() {
        for (name, quantity) in quantities(contrast) {
            let forest = forest(result, contrast, name, quantity, units);
            let stem = format!("forest-{}-{}", index + 1, name.to_lowercase());
            all.extend(draw(&forest, style).map(|figure| NamedFigure { stem, figure }));
        }
    }
    all
}

/// Of watts.
fn curves(result: &PooledResult, style: &Style, units: Units) -> Option<NamedFigure> {
    let all: Vec<&PooledCurve> = result.curves.iter().filter(|c| c.output.ends_with("power_w")).collect();
    let share = percent(result.confidence);
    let at = reference_speed(result, units);
    let said = format!(
        "Watts at {at} above the least of the curve that {} have in common: each mark is a set-up of one result, with the level \
         of that result and what other factors do taken off, its {share} interval without what moves all set-ups of a result alike",
        counted(all.iter().flat_map(|c| &c.days).collect::<BTreeSet<_>>().len(), "result")
    );
    let curves = all.iter().map(|c| &c.curve).collect();
    let figure = drawn(&Curves { curves, axis: format!("Watts at {at}, above the least"), share, said }, style)?;
    Some(NamedFigure { stem: "factor-curve".into(), figure })
}

fn of_day(name: &str, day: &DayContrast) -> Estimate {
    match name {
        "Watts" => day.power_w,
        "Crr" => day.crr,
        _ => day.cda_m2,
    }
}

fn forest(
    result: &PooledResult,
    contrast: &PooledContrast,
    name: &str,
    quantity: &PooledQuantity,
    units: Units,
) -> Forest {
    let row = |label: String, e: &Estimate, weight: f64| {
        let [value, low, high] = [e.value, e.low, e.high].map(|x| x.unwrap_or(f64::NAN));
        ForestRow { label, value, low, high, weight }
    };
    let rows: Vec<ForestRow> = quantity
        .days
        .iter()
        .filter_map(|w| {
            let day = contrast.days.iter().find(|d| d.day == w.day)?;
            let label = result.days.get(w.day.checked_sub(1)?)?.name.clone();
            Some(row(label, &of_day(name, day), w.weight))
        })
        .collect();
    let axis = match name {
        "Watts" => format!("Difference at {}, W", reference_speed(result, units)),
        "Crr" => "Difference in Crr".into(),
        _ => "Difference in CdA, m²".into(),
    };
    let shared = match result.instruments.as_str() {
        "separate" => "All errors are taken as independent from result to result.",
        _ => {
            "Errors of the instruments are taken as one and the same in all results: they are in every interval and do not \
             shrink in the mean."
        }
    };
    let agreement = format!(
        "Cochran's Q {} on {} degrees of freedom, p {}, Birge ratio {}: the results {}.",
        fixed(quantity.q, 1),
        fixed(quantity.q_dof, 0),
        p_value(quantity.p_value),
        fixed(quantity.birge_ratio, 2),
        if quantity.agree {
            "agree, and the diamond is their inverse-variance mean"
        } else {
            "disagree, and the diamond is the mean of DerSimonian and Laird"
        }
    );
    Forest {
        title: format!("{}: {}", pair(result, contrast), if name == "Watts" { "power" } else { name }),
        quantity: axis,
        pooled: Some(row("Together".into(), &quantity.together, 0.0)),
        reference: Some(0.0),
        caption: format!(
            "{} results with their intervals at {} and shares in the mean. {agreement} {shared}",
            rows.len(),
            percent(result.confidence)
        ),
        rows,
    }
}
