//! Small invented results: set-ups, differences with their errors, rides with sums of their own.

use loopwright::pool::Day;
use loopwright::solution::*;

/// A difference, with what scatter and the power scale make of its error.
#[derive(Clone, Copy)]
pub struct Told {
    pub setup: &'static str,
    pub baseline: &'static str,
    pub crr: f64,
    pub scatter: f64,
    pub scale: f64,
}

/// Watts of a unit of Crr at the reference.
pub const W_PER_CRR: f64 = 9600.0;

pub fn estimate(value: f64, scatter: f64, instrument: f64) -> Estimate {
    let se = scatter.hypot(instrument);
    Estimate {
        value: Some(value),
        se: Some(se),
        low: Some(value - 2.0 * se),
        high: Some(value + 2.0 * se),
        dof: None,
        scatter_se: Some(scatter),
        instrument_se: Some(instrument),
        ..Estimate::default()
    }
}

/// A tyre test on a road: CdA is shared.
pub fn result(name: &str, baseline: &str, told: &[Told]) -> Solution {
    let mut ids: Vec<&str> = vec![baseline];
    for t in told {
        for id in [t.baseline, t.setup] {
            if !ids.contains(&id) {
                ids.push(id);
            }
        }
    }
    let contrast = |t: &Told| Contrast {
        setup: t.setup.into(),
        baseline: t.baseline.into(),
        crr: estimate(t.crr, t.scatter, t.scale),
        cda_m2: Estimate { value: Some(0.0), ..Estimate::default() },
        power_w: estimate(t.crr * W_PER_CRR, t.scatter * W_PER_CRR, t.scale * W_PER_CRR),
        verdict: "not separated".into(),
        ..Contrast::default()
    };
    let contrasts: Vec<Contrast> = told.iter().filter(|t| t.baseline == baseline).map(contrast).collect();
    Solution {
        schema: SCHEMA,
        loopwright: "0.1.0".into(),
        title: name.into(),
        confidence: 0.95,
        separable: true,
        baseline: baseline.into(),
        reference: ReferenceConditions { speed_km_h: 40.0, mass_kg: 86.0, air_density_kg_m3: 1.2 },
        setups: ids
            .iter()
            .map(|id| SetupResult { id: id.to_string(), label: format!("tyre {id}"), ..SetupResult::default() })
            .collect(),
        contrasts,
        all_pairs: told.iter().map(contrast).collect(),
        runs: vec![RunResult {
            file: "run-1.fit".into(),
            sha256: format!("sum of the ride of {name}"),
            started: Some("2031-05-04T09:00:00Z".into()),
            ..RunResult::default()
        }],
        circuit: CircuitResult { kind: "road".into(), ..CircuitResult::default() },
        budget: vec![BudgetLine {
            source: "power scale".into(),
            standard_uncertainty: 0.01,
            unit: "1".into(),
            pairs: told
                .iter()
                .map(|t| PairContribution {
                    setup: t.setup.into(),
                    baseline: t.baseline.into(),
                    crr: Some(t.scale),
                    cda_m2: Some(0.0),
                    power_w: Some(t.scale * W_PER_CRR),
                })
                .collect(),
            ..BudgetLine::default()
        }],
        ..Solution::default()
    }
}

/// The same day on rollers: no air, and watts of rolling alone.
pub fn on_rollers(mut solution: Solution) -> Solution {
    solution.circuit.kind = "rollers".into();
    for c in solution.contrasts.iter_mut().chain(&mut solution.all_pairs) {
        c.cda_m2 = Estimate::default();
    }
    solution
}

pub fn bytes(solution: &Solution) -> Vec<u8> {
    serde_json::to_vec_pretty(solution).expect("a solution is JSON")
}

/// As the program reads them.
pub fn days(solutions: &[Solution]) -> Vec<Day> {
    let read = |(i, s): (usize, &Solution)| Day::read(&format!("day-{}/solution.json", i + 1), &bytes(s));
    solutions.iter().enumerate().flat_map(|d| read(d).unwrap_or_else(|e| panic!("{e}"))).collect()
}
