//! An invented test day for figures and reports: plausible numbers, no ride behind them.
//!
//! Given how many set-ups and laps; gives session, solution and evidence that fit together. The same request gives the
//! same day. Nothing here is a reference value: only looks, sizes and words are tested with it.
#![allow(dead_code)]

mod evidence;
pub mod generic;
pub mod hostile;
mod solution;

use loopwright::evidence::Evidence;
use loopwright::session::Session;
use loopwright::solution::Solution;

/// What kind of day.
#[derive(Debug, Clone, Copy)]
pub struct Request {
    pub setups: usize,
    /// Laps of each run; every set-up is ridden in two runs.
    pub laps: usize,
    pub long_names: bool,
    pub separable: bool,
    pub rollers: bool,
    /// The second half of the runs is on rollers.
    pub mixed: bool,
}

impl Request {
    pub fn new(setups: usize, laps: usize) -> Self {
        Request { setups, laps, long_names: false, separable: true, rollers: false, mixed: false }
    }
}

/// A whole invented day.
pub struct Day {
    pub session: Session,
    pub solution: Solution,
    pub evidence: Evidence,
}

pub fn day(request: Request) -> Day {
    let session = session(request);
    let solution = solution::solution(request, &session);
    let evidence = evidence::evidence(request, &solution);
    Day { session, solution, evidence }
}

/// A small repeatable source of numbers between −1 and 1 (multiplier of Knuth's MMIX generator).
pub struct Noise(u64);

impl Noise {
    pub fn new(seed: u64) -> Self {
        Noise(seed.wrapping_mul(2_862_933_555_777_941_757).wrapping_add(3_037_000_493))
    }

    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

const SHORT: [&str; 12] = [
    "butyl tube",
    "latex tube",
    "tubeless",
    "25 mm",
    "28 mm",
    "32 mm",
    "hoods",
    "drops",
    "loose jersey",
    "race suit",
    "deep rims",
    "bottle moved",
];

const LONG: [&str; 12] = [
    "28 mm tubeless ready clincher, file tread, latex sealant 30 ml, 4.8 bar warm",
    "28 mm tubeless ready clincher, same casing with butyl inner tube",
    "Reifen für Straßenrennen, Größe 30-622, mit Pannenschutzeinlage",
    "25 mm tubular glued on box-section rims of the winter training wheels",
    "WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW",
    "long-sleeved wool jersey <untucked> & \"open\" collar",
    "hands on the hoods, forearms level, head up, as in the morning session",
    "drops, elbows bent",
    "шоссейная покрышка двадцать восемь миллиметров, давление пять бар",
    "道路用タイヤ二十八ミリ、ラテックスチューブ、四・八バール",
    "x",
    "deep rims front and rear with taped valve holes and the noisy freehub of last season",
];

fn session(request: Request) -> Session {
    let names = if request.long_names { &LONG } else { &SHORT };
    let mut text = String::from(
        "title = \"Invented day on the brickyard circuit\"\n[rider_and_bike]\nmass_kg = 84.2\n[air]\ntemperature_c = 18.5\npressure_hpa = 1004.0\nhumidity_pct = 62\n[solve]\nnegligible_power_w = 1.0\n",
    );
    if request.rollers {
        text.push_str("[loop]\nkind = \"rollers\"\n");
    }
    if request.rollers || request.mixed {
        text.push_str("[rollers]\nno_load_power_w_at_40_km_h = 4.0\n");
    }
    for index in 0..request.setups {
        let label = names[index % names.len()].replace('\\', "").replace('"', "\\\"");
        text.push_str(&format!("[[setup]]\nid = \"s{index}\"\nlabel = \"{label}\"\n"));
    }
    for run in 0..request.setups * 2 {
        text.push_str(&format!(
            "[[run]]\nfile = \"ride-{}.fit\"\nsetup = \"s{}\"\nplanned_speed_km_h = [29, 41]\nleave_out = [1]\n",
            run + 1,
            setup_of(request, run)
        ));
        if request.mixed && is_on_rollers(request, run) {
            text.push_str("on = \"rollers\"\n");
        }
    }
    Session::from_toml(&text, "made-up.toml").expect("the invented session is sound")
}

pub fn is_on_rollers(request: Request, run: usize) -> bool {
    request.rollers || (request.mixed && run >= request.setups)
}

/// A B C … C B A.
pub fn setup_of(request: Request, run: usize) -> usize {
    if run < request.setups { run } else { 2 * request.setups - 1 - run }
}

/// Every number of the evidence and of the solution's estimates run through a function, for spoiling a day.
pub fn spoil(day: &mut Day, change: &dyn Fn(f64) -> f64) {
    for run in &mut day.evidence.runs {
        for column in [&mut run.time_s, &mut run.speed_m_s, &mut run.power_w, &mut run.residual_m] {
            column.iter_mut().for_each(|v| *v = change(*v));
        }
        for lap in &mut run.laps {
            for column in [&mut lap.chainage_m, &mut lap.elevation_m, &mut lap.residual_m] {
                column.iter_mut().for_each(|v| *v = change(*v));
            }
            lap.misclosure_m = change(lap.misclosure_m);
            lap.mean_speed_m_s = change(lap.mean_speed_m_s);
        }
    }
    for point in &mut day.evidence.profile {
        (point.chainage_m, point.elevation_m, point.se_m) =
            (change(point.chainage_m), change(point.elevation_m), change(point.se_m));
    }
    for point in &mut day.evidence.reference_line {
        (point.east_m, point.north_m, point.residual_m) =
            (change(point.east_m), change(point.north_m), change(point.residual_m));
    }
    for region in &mut day.evidence.regions {
        for value in [&mut region.crr, &mut region.cda_m2, &mut region.var_crr, &mut region.var_cda] {
            *value = change(*value);
        }
        region.covariance = change(region.covariance);
        region.dof = change(region.dof);
    }
    for run in &mut day.evidence.warm_ups {
        for column in [&mut run.time_s, &mut run.crr, &mut run.decay] {
            column.iter_mut().for_each(|v| *v = change(*v));
        }
        run.mean_crr = change(run.mean_crr);
        run.window_from_s = change(run.window_from_s);
        run.window_to_s = change(run.window_to_s);
    }
    spoil_solution(day, change);
}

fn spoil_solution(day: &mut Day, change: &dyn Fn(f64) -> f64) {
    let spoil = |e: &mut loopwright::solution::Estimate| {
        for value in
            [&mut e.value, &mut e.se, &mut e.low, &mut e.high, &mut e.dof, &mut e.scatter_se, &mut e.instrument_se]
        {
            *value = value.map(change);
        }
    };
    let solution = &mut day.solution;
    for setup in &mut solution.setups {
        for estimate in [&mut setup.crr, &mut setup.cda_m2, &mut setup.power_w, &mut setup.rolling_power_w] {
            spoil(estimate);
        }
        setup.drag_at_mean_speed_n.as_mut().map(spoil);
        setup.mean_speed_m_s = setup.mean_speed_m_s.map(change);
    }
    for contrast in &mut solution.contrasts {
        for estimate in [&mut contrast.crr, &mut contrast.cda_m2, &mut contrast.power_w] {
            spoil(estimate);
        }
        contrast.p_holm = contrast.p_holm.map(change);
        contrast.detectable_power_w = contrast.detectable_power_w.map(change);
    }
    for line in solution.monte_carlo.iter_mut().flat_map(|made| &mut made.results) {
        for value in [&mut line.low, &mut line.high, &mut line.budget_low, &mut line.instrument_se] {
            *value = value.map(change);
        }
    }
    for line in &mut solution.budget {
        line.standard_uncertainty = change(line.standard_uncertainty);
        for value in [&mut line.crr, &mut line.cda_m2, &mut line.power_w] {
            *value = value.map(change);
        }
    }
    for run in &mut solution.runs {
        for value in [&mut run.wind.east_m_s.value, &mut run.wind.north_m_s.value, &mut run.wind.east_m_s.se] {
            *value = value.map(change);
        }
        run.lag_s.value = run.lag_s.value.map(change);
        run.mass_kg = change(run.mass_kg);
        if let Some(window) = &mut run.window {
            for value in
                [&mut window.from_s, &mut window.mean_speed_m_s, &mut window.mean_power_w, &mut window.crr_drum]
            {
                *value = change(*value);
            }
            window.crr.se = window.crr.se.map(change);
        }
        for lap in &mut run.laps {
            lap.duration_s = change(lap.duration_s);
            lap.misclosure_m = lap.misclosure_m.map(change);
        }
    }
    if let Some(venues) = &mut solution.venues {
        for result in &mut venues.results {
            result.setups.iter_mut().for_each(|s| spoil(&mut s.crr));
            result.contrasts.iter_mut().for_each(|c| spoil(&mut c.crr));
        }
        for combined in &mut venues.combined {
            spoil(&mut combined.crr);
            spoil(&mut combined.rolling_power_w);
        }
        for loss in &mut venues.surface_loss {
            spoil(&mut loss.crr);
            spoil(&mut loss.rolling_power_w);
        }
    }
    solution.reference.speed_km_h = change(solution.reference.speed_km_h);
    solution.confidence = change(solution.confidence);
}
