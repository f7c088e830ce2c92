//! Invented input for the figures that are not tied to one solution: pooled results and plans.

use super::{LONG, Request, SHORT};
use loopwright::plot::curves::{Curve, Curves, Level};
use loopwright::plot::forest::{Forest, ForestRow};
use loopwright::plot::{Figure, Style, curves, forest};

fn label(request: Request, index: usize) -> String {
    let names = if request.long_names { &LONG } else { &SHORT };
    names[index % names.len()].to_string()
}

/// A forest with as many rows, and a plan with as many curves, as there are set-ups.
pub fn figures(request: Request, style: &Style) -> Vec<Figure> {
    let rows: Vec<ForestRow> = (0..request.setups)
        .map(|index| {
            let value = -0.0003 + 0.00008 * (index as f64 * 2.1).sin();
            let half = 0.0001 + 0.00002 * (index % 5) as f64;
            ForestRow {
                label: label(request, index),
                value,
                low: value - half,
                high: value + half,
                weight: 1.0 / request.setups as f64,
            }
        })
        .collect();
    let pooled = ForestRow { label: "together".into(), value: -0.0003, low: -0.00034, high: -0.00026, weight: 1.0 };
    let forest = Forest {
        title: "One difference on several days".into(),
        quantity: "Difference in Crr".into(),
        rows,
        pooled: Some(pooled),
        reference: Some(0.0),
        caption: "Difference in Crr on each day with its 95 % interval, at the right its weight in the pooled value."
            .into(),
    };
    let laps: Vec<f64> = (2..=request.laps.max(3)).map(|n| n as f64).collect();
    let plan = Curves {
        name: "plan",
        title: "What the planned day can detect".into(),
        x_title: "Laps a set-up".into(),
        y_title: "Smallest difference detected with 80 % power, W".into(),
        curves: (0..request.setups)
            .map(|index| Curve {
                label: label(request, index),
                x: laps.clone(),
                y: laps.iter().map(|n| (1.0 + 0.6 * index as f64) * 6.0 / n.sqrt()).collect(),
            })
            .collect(),
        level: Some(Level { value: 2.0, label: "target 2 W".into() }),
        from_zero: true,
        caption: "Smallest difference in power that the planned day would find in four of five repeats.".into(),
    };
    [forest::draw(&forest, style), curves::draw(&plan, style)].into_iter().flatten().collect()
}
