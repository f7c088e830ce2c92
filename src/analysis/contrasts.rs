//! Differences between set-ups as they are written, whatever the venue: estimates, p-values, verdicts.
//!
//! Given the differences of a family of pairs; judges them together. It estimates nothing.

use super::known::Known;
use crate::compare::contrast::{Assessed, Judged, judge};
use crate::session::Session;
use crate::solution::Contrast;

/// Two set-ups by their place in the session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pair {
    pub setup: usize,
    pub baseline: usize,
}

impl Pair {
    /// Every set-up against the baseline.
    pub fn against_baseline(session: &Session) -> Vec<Pair> {
        let baseline = session.baseline();
        (0..session.setups.len()).filter(|s| *s != baseline).map(|setup| Pair { setup, baseline }).collect()
    }

    /// Each pair once, the later set-up less the earlier.
    pub fn all(session: &Session) -> Vec<Pair> {
        let count = session.setups.len();
        (0..count).flat_map(|b| (b + 1..count).map(move |s| Pair { setup: s, baseline: b })).collect()
    }
}

/// The differences of one pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairDifference {
    pub pair: Pair,
    pub crr: Known,
    pub cda_m2: Known,
    /// The one that is tested.
    pub power_w: Known,
}

/// What a number that is not finite is written as.
fn known(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

/// p-values are adjusted over the list (Holm); a difference that is not known counts as not separated.
pub fn contrasts(session: &Session, family: &[PairDifference]) -> Vec<Contrast> {
    let confidence = session.solve.confidence;
    let margin = session.solve.negligible_power_w;
    let assessed: Vec<Assessed> = family.iter().map(|d| d.power_w.assess(confidence, margin)).collect();
    let judged: Vec<Judged> = judge(&assessed, confidence);
    let rows = family.iter().zip(&assessed).zip(&judged);
    rows.map(|((d, tests), Judged { p_holm, verdict })| Contrast {
        setup: session.setups[d.pair.setup].id.clone(),
        baseline: session.setups[d.pair.baseline].id.clone(),
        crr: d.crr.estimate(confidence),
        cda_m2: d.cda_m2.estimate(confidence),
        power_w: d.power_w.estimate(confidence),
        p_value: known(tests.p_value),
        p_holm: known(*p_holm),
        detectable_power_w: known(tests.detectable),
        p_equivalence: tests.p_equivalence.and_then(known),
        verdict: verdict.to_string(),
    })
    .collect()
}
