//! What a solved loop must tell of its laps, its speed delay and its wind.
//!
//! Given a solved loop; gives findings.

use super::loop_venue::LoopVenue;
use crate::finding::{Finding, What};
use crate::sample::Reason;
use crate::solve::fit::LAG_BOUND_S;
use std::collections::BTreeMap;

/// Laps from which the standard errors of a fit are worth their name (common practice, no source).
pub(super) const ENOUGH_LAPS: usize = 8;
/// Change of wind within a run that is worth telling, m/s.
const TOLD_DRIFT_M_S: f64 = 0.7;

/// What the findings of a solved loop are.
pub fn fit_findings(venue: &LoopVenue) -> Vec<Finding> {
    let mut out = Vec::new();
    let total = venue.cut.runs.iter().map(Vec::len).sum::<usize>();
    let used = venue.fit.used.len();
    if used < total {
        let mut reasons: BTreeMap<Reason, usize> = BTreeMap::new();
        for lap in venue.cut.runs.iter().flatten() {
            if let Some(r) = lap.reason {
                *reasons.entry(r).or_default() += 1;
            }
        }
        let reasons: Vec<String> = reasons.iter().map(|(r, n)| format!("{n} {r}")).collect();
        out.push(Finding::of_session(What::LapsLeftOut { used, total, reasons: reasons.join(", ") }));
    }
    if !venue.fit.converged {
        out.push(Finding::of_session(What::NotConverged { iterations: venue.fit.iterations as u64 }));
    }
    for (k, run) in venue.fit.layout.runs.iter().enumerate() {
        if let Some((east, north)) = run.drift_east.zip(run.drift_north) {
            let (v, open) = (&venue.fit.covariance.covariance, &venue.fit.covariance.prior);
            let drift = venue.fit.parameters[east].hypot(venue.fit.parameters[north]);
            let se = [east, north].iter().map(|c| v[(*c, *c)] + open[(*c, *c)]).sum::<f64>().sqrt();
            if 2.0 * drift > TOLD_DRIFT_M_S && drift > 3.0 * se {
                out.push(Finding::of_run(k, What::WindDrifted { change_m_s: 2.0 * drift }));
            }
        }
        if let Some(c) = run.lag {
            let lag_s = venue.fit.parameters[c];
            if lag_s.abs() > LAG_BOUND_S {
                out.push(Finding::of_run(k, What::LagAtBound { lag_s }));
            } else if lag_s.abs() > 1.5 {
                out.push(Finding::of_run(k, What::LagLarge { lag_s }));
            }
        }
    }
    out
}
