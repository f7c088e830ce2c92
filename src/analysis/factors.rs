//! What the factors of the set-ups do, from the differences of all pairs as they are reported.
//!
//! Given a session that states factors and a solution with all its pairs; gives effects and curves. It fits no ride: whatever a
//! reported difference allows for (laps, priors, changes from run to run, instruments) is allowed for here too.
//!
//! The variances of all pairs are all that effects and curves need of the joint covariance of the set-ups
//! (`factor::pairs`).

use crate::factor::model::{Joint, common_dof};
use crate::factor::pairs::covariance;
use crate::factor::{Answer, FactorLevels, FactorResult, answer};
use crate::session::Session;
use crate::solution::{Contrast, Estimate, Solution};
use nalgebra::{DMatrix, DVector};

/// One of the differences that a contrast holds.
type OfContrast = fn(&Contrast) -> &Estimate;

/// `None` where no factors are stated or a single set-up is left.
pub fn factors(session: &Session, solution: &Solution) -> Option<FactorResult> {
    let factors = session.factors()?;
    let place = |id: &str| solution.setups.iter().position(|s| s.id == id);
    // The solution of one venue holds the set-ups ridden there.
    let setups: Vec<usize> = (0..session.setups.len()).filter(|s| place(&session.setups[*s].id).is_some()).collect();
    let factors = factors.of_some(&setups)?;
    let ids: Vec<&str> = setups.iter().map(|s| session.setups[*s].id.as_str()).collect();
    let runs: Vec<usize> = ids.iter().map(|id| runs_of(solution, id)).collect();
    let baseline = ids.iter().position(|id| *id == solution.baseline).unwrap_or(0);
    let one = |(output, pick): (&str, OfContrast)| -> Option<Answer> {
        let joint = joint(solution, &ids, &runs, pick)?;
        Some(answer(output, &factors, &joint, baseline, session.solve.confidence))
    };
    let rolls_only = solution.setups.iter().all(|s| s.power_w.value.is_none() && s.rolling_power_w.value.is_some());
    let watts = if rolls_only { "rolling_power_w" } else { "power_w" };
    let outputs: [(&str, OfContrast); 3] = [(watts, |c| &c.power_w), ("crr", |c| &c.crr), ("cda_m2", |c| &c.cda_m2)];
    Some(FactorResult { factors: FactorLevels::of(&factors), outputs: outputs.into_iter().filter_map(one).collect() })
}

fn runs_of(solution: &Solution, id: &str) -> usize {
    let used = |run: &&crate::solution::RunResult| run.window.is_some() || run.laps.iter().any(|l| l.used);
    solution.runs.iter().filter(|r| r.setup == id).filter(used).count().max(1)
}

/// Values relative to the first set-up (with its own value where that is known) and a covariance that has the variances of all
/// pairs. `None` where a pair is not known or has no error, as of a shared coefficient.
fn joint(solution: &Solution, ids: &[&str], runs: &[usize], pick: OfContrast) -> Option<Joint> {
    let k = ids.len();
    let mut variance = DMatrix::zeros(k, k);
    let mut values = DVector::zeros(k);
    let mut dof = Vec::new();
    for a in 0..k {
        for b in a + 1..k {
            let (estimate, sign) = pair(solution, ids[a], ids[b], pick)?;
            let se = estimate.se.filter(|se| *se > 0.0)?;
            variance[(a, b)] = se * se;
            variance[(b, a)] = se * se;
            dof.push(estimate.dof.unwrap_or(f64::INFINITY));
            if a == 0 {
                values[b] = sign * estimate.value?;
            }
        }
    }
    let level = solution.setups.iter().find(|s| s.id == ids[0]).and_then(|s| {
        let contrast = Contrast { crr: s.crr, cda_m2: s.cda_m2, power_w: s.power_w, ..Contrast::default() };
        pick(&contrast)
            .value
            .or(s.rolling_power_w.value.filter(|_| s.power_w.value.is_none() && s.cda_m2.value.is_none()))
    });
    values.add_scalar_mut(level.unwrap_or(0.0));
    Some(Joint {
        values,
        covariance: covariance(&variance)?,
        dof: common_dof(&dof),
        runs: runs.to_vec(),
        day: vec![0; k],
    })
}

/// The difference b less a, and −1 where it stands the other way round.
fn pair<'a>(solution: &'a Solution, a: &str, b: &str, pick: fn(&Contrast) -> &Estimate) -> Option<(&'a Estimate, f64)> {
    solution.all_pairs.iter().find_map(|c| match (c.setup.as_str(), c.baseline.as_str()) {
        (setup, baseline) if setup == b && baseline == a => Some((pick(c), 1.0)),
        (setup, baseline) if setup == a && baseline == b => Some((pick(c), -1.0)),
        _ => None,
    })
}
