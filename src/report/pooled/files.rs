//! Every file of a folder of pooled results, as names and bytes.
//!
//! Given a pooled result; gives files that lie side by side. It writes nothing.

use super::figures::{NamedFigure, figures};
use super::names::quantities;
use super::page::page;
use super::{summary, tables};
use crate::error::Error;
use crate::plot::{Figure, Style};
use crate::pool::{PooledContrast, PooledResult};
use crate::report::files::{ResultFile, number, of_figure, table};
use crate::report::units::Units;
use crate::solution::Estimate;

/// Width of the text file, columns.
const TEXT_WIDTH: usize = 80;

/// `pool.json`, `pool.html`, `pool.txt`, `pool.csv`, `days.csv`, `captions.txt`, `effects.csv` and `curves.csv` where factors were
/// stated, and the figures; the same input gives the same bytes.
///
/// Errors: [`Error::Page`] when a table cannot be put together, a fault of the program.
pub fn files(result: &PooledResult, style: &Style, units: Units) -> Result<Vec<ResultFile>, Error> {
    let figures = self::figures(result, style, units);
    let of = |named: &[NamedFigure]| -> Vec<Figure> { named.iter().map(|f| f.figure.clone()).collect() };
    let narrow = self::figures(result, &style.for_phone(), units);
    let page = page(result, &of(&figures), &of(&narrow), units)?;
    let mut json = serde_json::to_vec_pretty(result).map_err(|e| Error::Page { reason: e.to_string() })?;
    json.push(b'\n');
    let file = |name: &str, bytes: Vec<u8>| ResultFile { name: name.into(), bytes };
    let mut files = vec![
        file("pool.json", json),
        file("pool.html", page.into_bytes()),
        file("pool.txt", summary(result, TEXT_WIDTH, units).into_bytes()),
        file("pool.csv", means_csv(result)?),
        file("days.csv", days_csv(result)?),
        file("captions.txt", captions(&figures).into_bytes()),
    ];
    // A file without a row would only raise questions.
    if !result.effects.is_empty() {
        files.push(file("effects.csv", effects_csv(result)?));
    }
    if !result.curves.is_empty() {
        files.push(file("curves.csv", tables::curves(result).csv()?));
    }
    files.extend(figures.into_iter().flat_map(|f| of_figure(&f.stem, f.figure)));
    Ok(files)
}

fn captions(figures: &[NamedFigure]) -> String {
    let one = |(index, f): (usize, &NamedFigure)| {
        format!("Figure {} ({}.svg). {}. {}\n", index + 1, f.stem, f.figure.title, f.figure.caption)
    };
    figures.iter().enumerate().map(one).collect::<Vec<_>>().join("\n")
}

/// Key of a quantity in the solution.
fn key(name: &str) -> &'static str {
    match name {
        "Watts" => "power_w",
        "Crr" => "crr",
        _ => "cda_m2",
    }
}

/// One line a pooled quantity.
fn means_csv(result: &PooledResult) -> Result<Vec<u8>, Error> {
    let header = [
        "setup",
        "baseline",
        "quantity",
        "value",
        "se",
        "low",
        "high",
        "dof",
        "own_se",
        "shared_se",
        "results",
        "agree",
        "q",
        "q_dof",
        "q_p_value",
        "birge_ratio",
        "between_sd",
        "p_holm",
        "verdict",
    ];
    let rows = result.contrasts.iter().flat_map(|c| {
        quantities(c).into_iter().map(move |(name, q)| {
            // Tests are of one quantity alone.
            let tested = c.tested.as_deref() == Some(key(name));
            let e = &q.together;
            let mut row = vec![c.setup.clone(), c.baseline.clone(), key(name).to_string()];
            row.extend([e.value, e.se, e.low, e.high, e.dof, e.scatter_se, e.instrument_se].map(number));
            row.extend([q.days.len().to_string(), q.agree.to_string()]);
            row.extend([q.q, q.q_dof, q.p_value, q.birge_ratio, q.between_sd, c.p_holm.filter(|_| tested)].map(number));
            row.push(if tested { c.verdict.clone() } else { String::new() });
            row
        })
    });
    table(&header, rows)
}

/// One line a day and effect, and one for all days together.
fn effects_csv(result: &PooledResult) -> Result<Vec<u8>, Error> {
    let header = [
        "output", "factor", "level", "against", "result", "value", "se", "low", "high", "dof", "weight", "p_value",
        "p_holm", "agree",
    ];
    let rows = result.effects.iter().flat_map(|e| {
        let name = vec![e.output.clone(), e.factor.clone(), e.level.clone(), e.against.clone()];
        let t = &e.effect.together;
        let mut whole = name.clone();
        whole.push("together".into());
        whole.extend([t.value, t.se, t.low, t.high, t.dof, None, e.p_value, e.p_holm].map(number));
        whole.push(e.effect.agree.to_string());
        let of_days = e.days.iter().map(move |day| {
            let weight = e.effect.days.iter().find(|w| w.day == day.day).map(|w| w.weight);
            let mut row = name.clone();
            row.push(
                day.day.checked_sub(1).and_then(|i| result.days.get(i)).map_or_else(String::new, |d| d.name.clone()),
            );
            row.extend([Some(day.value), Some(day.se), None, None, None, weight, None, None].map(number));
            row.push(String::new());
            row
        });
        std::iter::once(whole).chain(of_days).collect::<Vec<_>>()
    });
    table(&header, rows)
}

/// One line a day and quantity, pooled or not.
fn days_csv(result: &PooledResult) -> Result<Vec<u8>, Error> {
    let header = [
        "result",
        "file",
        "setup",
        "baseline",
        "quantity",
        "sign_turned",
        "value",
        "se",
        "low",
        "high",
        "dof",
        "weight",
        "left_out",
    ];
    let rows = result.contrasts.iter().flat_map(|c| days_of(result, c));
    table(&header, rows)
}

fn days_of(result: &PooledResult, c: &PooledContrast) -> Vec<Vec<String>> {
    let mut rows = Vec::new();
    for day in &c.days {
        let Some(place) = day.day.checked_sub(1).and_then(|i| result.days.get(i)) else { continue };
        let all: [(&str, &Estimate, &Option<_>); 3] =
            [("power_w", &day.power_w, &c.power_w), ("crr", &day.crr, &c.crr), ("cda_m2", &day.cda_m2, &c.cda_m2)];
        for (quantity, e, pooled) in all.into_iter().filter(|(_, e, _)| e.value.is_some()) {
            let weight = pooled
                .as_ref()
                .and_then(|q: &crate::pool::PooledQuantity| q.days.iter().find(|w| w.day == day.day).map(|w| w.weight));
            let reason = match (weight, e.se, &day.power_left_out) {
                (Some(_), _, _) => String::new(),
                (None, None, _) => "shared".into(),
                (None, _, Some(why)) if quantity == "power_w" => why.clone(),
                _ => "measured once".into(),
            };
            let mut row = vec![place.name.clone(), place.file.clone(), c.setup.clone(), c.baseline.clone()];
            row.extend([quantity.to_string(), day.turned.to_string()]);
            row.extend([e.value, e.se, e.low, e.high, e.dof, weight].map(number));
            row.push(reason);
            rows.push(row);
        }
    }
    rows
}
