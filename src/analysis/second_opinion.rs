//! The second opinion on standard errors: whole laps drawn again, set beside the sandwich.
//!
//! Given a solved loop and its solution; gives both standard errors of every known quantity and says where they disagree.
//! It changes no estimate and no interval.

use super::contrasts::Pair;
use super::loop_venue::LoopVenue;
use super::quantities::{Linear, PowerAt, SetupQuantities};
use crate::finding::{Finding, What};
use crate::session::Session;
use crate::solution::{BootstrapLine, BootstrapResult, Estimate, Resampled, Solution};
use crate::solve::solved::{Drawing, Solved};
use crate::uncertainty::bootstrap::Bootstrap;
use crate::uncertainty::cluster::ClusterRobust;

/// Ratio of two standard errors from which they disagree.
const DISAGREE_FROM: f64 = 1.25;
/// Standard deviations of the bootstrap's own noise that are let pass.
const NOISE_SDS: f64 = 2.0;

/// What was found.
#[derive(Debug, Clone, Default)]
pub struct SecondOpinion {
    pub result: Option<BootstrapResult>,
    pub findings: Vec<Finding>,
}

/// Draws laps again, unless `draws` is 0.
pub fn second_opinion(
    session: &Session,
    venue: &LoopVenue,
    solved: &Solved,
    solution: &Solution,
    draws: usize,
) -> SecondOpinion {
    if draws == 0 {
        return SecondOpinion::default();
    }
    let drawing = Drawing { draws, seed: session.solve.seed };
    let bootstrap = match solved.resample(drawing) {
        Ok(bootstrap) => bootstrap,
        Err(e) => {
            let said = What::BootstrapNotDone { reason: e.to_string() };
            return SecondOpinion { result: None, findings: vec![Finding::of_session(said)] };
        }
    };
    if bootstrap.lone_laps == venue.fit.used.len() {
        let said = What::BootstrapNotDone { reason: "every lap is the only one at its speed in its run".into() };
        return SecondOpinion { result: None, findings: vec![Finding::of_session(said)] };
    }
    let (power, covariance) = (PowerAt::reference(session), &venue.fit.covariance);
    let of = |s: usize| SetupQuantities::new(&venue.fit.layout, s, &power);
    let line = |setup: &str, baseline: Option<&str>, q: &SetupQuantities, [crr, cda_m2, power_w]: [&Estimate; 3]| {
        BootstrapLine {
            setup: setup.to_string(),
            baseline: baseline.map(str::to_string),
            crr: resampled(covariance, &bootstrap, &q.crr, crr),
            cda_m2: resampled(covariance, &bootstrap, &q.cda, cda_m2),
            power_w: resampled(covariance, &bootstrap, &q.power, power_w),
        }
    };
    let each = solution.setups.iter().enumerate();
    let setups: Vec<BootstrapLine> =
        each.map(|(s, r)| line(&r.id, None, &of(s), [&r.crr, &r.cda_m2, &r.power_w])).collect();
    let pairs = Pair::against_baseline(session).into_iter().zip(&solution.contrasts);
    let contrasts: Vec<BootstrapLine> = pairs
        .map(|(pair, c)| {
            let q = of(pair.setup).minus(&of(pair.baseline));
            line(&c.setup, Some(&c.baseline), &q, [&c.crr, &c.cda_m2, &c.power_w])
        })
        .collect();
    let limit = DISAGREE_FROM.ln() + NOISE_SDS / (2.0 * draws as f64).sqrt();
    let all = || setups.iter().chain(&contrasts);
    if all().all(|l| [l.crr, l.cda_m2, l.power_w].iter().all(|r| r.sandwich_se.is_none())) {
        return SecondOpinion::default();
    }
    // A lap alone at its speed in its run never changes, so that too small an error means nothing there.
    let both_ways = bootstrap.lone_laps == 0;
    let worst = worst(session, all(), both_ways).filter(|d| d.distance > limit);
    let result = BootstrapResult {
        draws: bootstrap.draws,
        seed: drawing.seed,
        failed: bootstrap.singular,
        lone_laps: bootstrap.lone_laps,
        disagrees: worst.is_some(),
        setups,
        contrasts,
    };
    let findings = worst.map(|d| Finding::of_session(d.what)).into_iter().collect();
    SecondOpinion { result: Some(result), findings }
}

fn resampled(covariance: &ClusterRobust, bootstrap: &Bootstrap, linear: &Linear, estimate: &Estimate) -> Resampled {
    if estimate.scatter_se.is_none() {
        return Resampled::default();
    }
    let finite = |se: f64| Some(se).filter(|se| se.is_finite());
    let se = bootstrap.standard_error(&linear.coefficients);
    let sandwich_se = covariance.variance(&linear.coefficients).sqrt();
    Resampled { sandwich_se: finite(sandwich_se), bootstrap_se: finite(se) }
}

/// A quantity whose two standard errors differ.
struct Disagreement {
    /// Size of the logarithm of their ratio.
    distance: f64,
    what: What,
}

/// The quantity whose standard errors differ most; watts follow from the others. `both_ways` counts a bootstrap that is too
/// small as well.
fn worst<'a>(
    session: &Session,
    lines: impl Iterator<Item = &'a BootstrapLine>,
    both_ways: bool,
) -> Option<Disagreement> {
    let name = |id: &str| session.setups.iter().find(|s| s.id == id).map_or(id, |s| s.name()).to_string();
    let mut worst: Option<Disagreement> = None;
    for line in lines {
        let of = match &line.baseline {
            Some(baseline) => format!("{} less {}", name(&line.setup), name(baseline)),
            None => name(&line.setup),
        };
        for (quantity, r) in [("Crr", &line.crr), ("CdA", &line.cda_m2)] {
            let Some((cluster_se, bootstrap_se)) = r.sandwich_se.zip(r.bootstrap_se) else { continue };
            let larger = (bootstrap_se / cluster_se).ln();
            let distance = if both_ways { larger.abs() } else { larger };
            if distance.is_finite() && worst.as_ref().is_none_or(|w| distance > w.distance) {
                let what = What::BootstrapDisagrees { quantity, of: of.clone(), cluster_se, bootstrap_se };
                worst = Some(Disagreement { distance, what });
            }
        }
    }
    worst
}

#[cfg(test)]
mod tests {
    use super::super::loop_venue;
    use super::super::ridden_session::RiddenSession;
    use super::*;
    use crate::sample::align;
    use crate::solve::design::LapBlock;
    use nalgebra::DMatrix;

    #[test]
    fn counting_a_lap_twice_is_solving_with_the_lap_twice_in_the_data() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-loops/three-tyres/");
        let text = std::fs::read_to_string(format!("{folder}session.toml")).unwrap();
        let session = Session::from_toml(&text, "session.toml").unwrap();
        let read = |file: &String| crate::record::read(format!("{folder}{file}").as_ref()).unwrap();
        let recordings: Vec<_> = session.runs.iter().map(|run| read(&run.file)).collect();
        let rides: Vec<_> = recordings.iter().map(|recording| align(recording).0).collect();
        let inputs = RiddenSession { session, recordings, weather: None, survey: None };
        let venue = loop_venue::solve(&inputs, &rides).unwrap();
        let fit = &venue.fit;
        let frame = venue.frame();
        let solved = frame.solved(&venue.laps, fit).unwrap();
        let problem = &solved.problem;
        // Every fifth lap is missing and the one before it is there twice.
        let counts: Vec<f64> = (0..problem.laps.len()).map(|lap| [1.0, 1.0, 1.0, 2.0, 0.0][lap % 5]).collect();
        let drawn: Vec<usize> = (0..counts.len()).flat_map(|lap| vec![lap; counts[lap] as usize]).collect();
        // The definition: rows of the drawn laps one under another, the weighted mean of each step taken out but for the
        // mean over the lap, in which laps differ.
        let (steps, total) = (problem.steps(), drawn.iter().map(|g| problem.weight[*g]).sum::<f64>());
        let projected = |rows: &dyn Fn(usize) -> DMatrix<f64>| {
            let mut mean: DMatrix<f64> =
                drawn.iter().map(|g| rows(*g) * problem.weight[*g]).sum::<DMatrix<f64>>() / total;
            for mut column in mean.column_iter_mut() {
                let level = column.mean();
                column.add_scalar_mut(-level);
            }
            let mut all = DMatrix::zeros(drawn.len() * steps, mean.ncols());
            for (i, g) in drawn.iter().enumerate() {
                all.rows_mut(i * steps, steps).copy_from(&((rows(*g) - &mean) * problem.weight[*g].sqrt()));
            }
            all
        };
        let columns = |blocks: &[LapBlock]| projected(&|g| problem.rows(&blocks[g], 1.0));
        let (z, x) = (columns(&solved.z), columns(&solved.x));
        let residual = projected(&|g| DMatrix::from_column_slice(steps, 1, &solved.x[g].residual));
        let prior = DMatrix::from_diagonal(&problem.precision(&fit.parameters));
        let right = z.tr_mul(&residual) + problem.pull(&fit.parameters);
        let expected = (z.tr_mul(&x) + prior).lu().solve(&right).unwrap();
        let got = solved.recounted(&counts).unwrap();
        assert!((&got - &expected).amax() < 1e-9 * expected.amax(), "{got} {expected}");
        assert!(expected.amax() > 1e-3, "the draw moves something");
    }

    fn session() -> Session {
        let text = "rider_and_bike.mass_kg = 80.0\n[[setup]]\nid = \"a\"\nlabel = \"old\"\n[[setup]]\nid = \"b\"\n\
                    [[run]]\nfile = \"1.fit\"\nsetup = \"a\"\n[[run]]\nfile = \"2.fit\"\nsetup = \"b\"\n";
        Session::from_toml(text, "session.toml").unwrap()
    }

    fn line(baseline: Option<&str>, crr: f64, cda: f64) -> BootstrapLine {
        let of = |ratio: f64| Resampled { sandwich_se: Some(1e-4), bootstrap_se: Some(ratio * 1e-4) };
        let setup = if baseline.is_some() { "b" } else { "a" };
        let baseline = baseline.map(str::to_string);
        BootstrapLine { setup: setup.into(), baseline, crr: of(crr), cda_m2: of(cda), power_w: of(9.0) }
    }

    #[test]
    fn the_quantity_that_differs_most_is_named_and_watts_do_not_count() {
        let session = session();
        let lines = [line(None, 1.1, 1.3), line(Some("a"), 0.6, 1.0)];
        let found = worst(&session, lines.iter(), true).unwrap();
        // |ln 0.6| = 0.51 is more than ln 1.3 = 0.26 (arithmetic).
        assert!((found.distance - 0.6f64.ln().abs()).abs() < 1e-12);
        let message = found.what.message();
        assert!(
            message.contains("Crr of b less old") && message.contains("0.000060") && message.contains("0.00010"),
            "{message}"
        );
    }

    #[test]
    fn where_some_laps_cannot_change_only_a_larger_error_counts() {
        let session = session();
        let lines = [line(None, 0.2, 1.3)];
        let found = worst(&session, lines.iter(), false).unwrap();
        assert!((found.distance - 1.3f64.ln()).abs() < 1e-12);
    }
}
