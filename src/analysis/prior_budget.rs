//! Budget lines of what the rides left to what was expected: wind, its share along the loop, yaw, delay, and CdA or Crr.
//!
//! Given a fit and the reported quantities; gives one line for each kind of expectation. It propagates nothing.

use super::contrasts::Pair;
use super::quantities::{Linear, SetupQuantities};
use crate::session::Session;
use crate::solution::{BudgetLine, Contribution, PairContribution};
use crate::solve::fit::LoopFit;
use crate::solve::prior::Expected;

/// Contributions of one kind to Crr, CdA and watts.
fn of_kind(fit: &LoopFit, kinds: &[Option<Expected>], kind: Expected, q: &SetupQuantities) -> [f64; 3] {
    let part = |linear: &Linear| {
        let parts = fit.covariance.prior_parts(&linear.coefficients);
        parts.iter().zip(kinds).filter(|(_, k)| **k == Some(kind)).map(|(v, _)| v).sum::<f64>().max(0.0).sqrt()
    };
    [part(&q.crr), part(&q.cda), part(&q.power)]
}

/// One line for each kind of expectation of which there is a parameter.
pub fn prior_lines(
    session: &Session,
    fit: &LoopFit,
    quantities: &[SetupQuantities],
    differences: &[Pair],
) -> Vec<BudgetLine> {
    let kinds = fit.layout.kinds();
    let id = |s: usize| session.setups[s].id.clone();
    let present = Expected::ALL.into_iter().filter(|kind| kinds.contains(&Some(*kind)));
    let line = |kind: Expected| {
        let contribution = |setup: usize, q: &SetupQuantities| {
            let [crr, cda_m2, power_w] = of_kind(fit, &kinds, kind, q).map(Some);
            Contribution { setup: id(setup), crr, cda_m2, power_w }
        };
        let difference = |p: &Pair| quantities[p.setup].minus(&quantities[p.baseline]);
        let pair = |p: &Pair| {
            let [crr, cda_m2, power_w] = of_kind(fit, &kinds, kind, &difference(p)).map(Some);
            PairContribution { setup: id(p.setup), baseline: id(p.baseline), crr, cda_m2, power_w }
        };
        let setups: Vec<Contribution> = quantities.iter().enumerate().map(|(s, q)| contribution(s, q)).collect();
        let first = setups.get(session.baseline()).cloned().unwrap_or_default();
        let (standard_uncertainty, unit) = expected_of(session, fit, kind);
        BudgetLine {
            source: kind.line().to_string(),
            standard_uncertainty,
            unit: unit.to_string(),
            crr: first.crr,
            cda_m2: first.cda_m2,
            power_w: first.power_w,
            drag_n: None,
            contrasts: differences.iter().map(|p| contribution(p.setup, &difference(p))).collect(),
            setups,
            pairs: Pair::all(session).iter().map(pair).collect(),
        }
    };
    present.map(line).collect()
}

/// Standard deviation of what is expected, and its unit.
fn expected_of(session: &Session, fit: &LoopFit, kind: Expected) -> (f64, &'static str) {
    use crate::solve::fit::{DRIFT_SHARE, Expectations, LAG_SD_S};
    use crate::solve::wind_along::Waves;
    let wind_m_s = session.wind.expected_m_s;
    match kind {
        Expected::Cda => (session.expected.cda_sd_m2, "m²"),
        Expected::Crr => (session.expected.crr_fraction, "1"),
        Expected::Lag => (LAG_SD_S, "s"),
        Expected::Wind => (wind_m_s, "m/s"),
        Expected::WindDrift => (DRIFT_SHARE * wind_m_s, "m/s"),
        Expected::WindAlong => (fit.scatter.spread.along * Waves::expected_sd(0), "1"),
        Expected::Yaw => (Expectations::default().yaw_sd, "1"),
        Expected::OpenHeight => (fit.open_height_sd_m, "m"),
    }
}
