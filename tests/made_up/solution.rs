//! The invented results: estimates with both parts of their error, runs with laps, a budget.

use super::{Noise, Request, is_on_rollers};
use loopwright::session::Session;
use loopwright::solution::*;

fn estimate(value: f64, scatter: f64, instrument: f64) -> Estimate {
    let se = scatter.hypot(instrument);
    // Student's t for 14 degrees of freedom at 95 %.
    let half = 2.145 * se;
    Estimate {
        value: Some(value),
        se: Some(se),
        low: Some(value - half),
        high: Some(value + half),
        dof: Some(14.0),
        scatter_se: Some(scatter),
        instrument_se: Some(instrument),
        ..Estimate::default()
    }
}

/// A hedge on one side.
fn wind_along() -> Vec<WindShare> {
    let at = |step: u32| {
        let place = f64::from(step) / 24.0;
        let share = 1.0 - 0.4 * (std::f64::consts::TAU * place).sin().max(0.0);
        WindShare { distance_m: 1268.4 * (place + 1.0 / 48.0), share, low: share - 0.15, high: share + 0.17 }
    };
    (0..24).map(at).collect()
}

fn run_to_run() -> RunToRunResult {
    RunToRunResult {
        of: "resistance".into(),
        supposed_fraction: 0.007,
        fraction: 0.006,
        low: 0.001,
        high: 0.017,
        repeats: 3,
        rests_on_prior: true,
    }
}

/// A set-up less the first one without lap 4 of the second run, and without the third run.
fn without_one(setup: usize) -> LeaveOneOut {
    let watts = power(setup) - power(0);
    LeaveOneOut {
        setup: format!("s{setup}"),
        baseline: "s0".into(),
        lap: Some(Without { run: 2, lap: Some(4), power_w: watts + 0.6, separated: Some(true) }),
        run: Some(Without { run: 3, lap: None, power_w: watts - 0.9, separated: None }),
    }
}

fn crr(setup: usize) -> f64 {
    0.0046 - 0.00013 * setup as f64 + 0.00021 * (setup as f64 * 1.7).sin()
}

fn cda(setup: usize) -> f64 {
    0.312 + 0.004 * (setup as f64 * 2.3).sin()
}

fn power(setup: usize) -> f64 {
    crr(setup) * 84.2 * 9.81 * 11.11 + 0.5 * 1.2 * cda(setup) * 11.11f64.powi(3)
}

pub fn solution(request: Request, session: &Session) -> Solution {
    let setups: Vec<SetupResult> =
        session.setups.iter().enumerate().map(|(s, setup)| setup_result(request, s, setup)).collect();
    let contrasts: Vec<Contrast> = (1..request.setups).map(|s| contrast(request, s)).collect();
    let monte_carlo = request.separable.then(|| drawn(request, &setups));
    Solution {
        leave_one_out: (1..request.setups).map(without_one).collect(),
        run_to_run: Some(run_to_run()),
        yaw: vec![YawResult { setup: None, k: Measured { value: Some(0.4), se: Some(1.1) }, told: false }],
        factors: None,
        model_check: (!request.rollers).then_some(ModelCheck {
            level: 0.01,
            draws: 499,
            p_value: 0.004,
            p_by_run: 0.41,
            p_by_speed: 0.002,
            p_at_one_place: 0.006,
            p_of_turning_wind: 0.03,
            drag_bends: Some(DragBendResult {
                p_value: 0.06,
                power_left_w: vec![1.4, -2.1, 1.2],
            }),
        }),
        schema: SCHEMA,
        loopwright: "0.1.0".into(),
        title: session.title.clone(),
        confidence: 0.95,
        separable: request.separable,
        baseline: "s0".into(),
        reference: ReferenceConditions { speed_km_h: 40.0, mass_kg: 84.2, air_density_kg_m3: 1.2 },
        setups,
        all_pairs: contrasts.clone(),
        contrasts,
        runs: (0..request.setups * 2).map(|run| run_result(request, session, run)).collect(),
        circuit: CircuitResult {
            kind: if request.rollers { "rollers" } else { "road" }.into(),
            length_m: Some(1268.4).filter(|_| !request.rollers),
            gate: Some(Gate { lat_deg: 51.5, lon_deg: 7.25 }).filter(|_| !request.rollers),
            speed_age_s: if request.rollers {
                Measured::default()
            } else {
                Measured { value: Some(0.58), se: Some(0.07) }
            },
            profile: Vec::new(),
            wind_along: if request.rollers { Vec::new() } else { wind_along() },
            ..CircuitResult::default()
        },
        separation: Separation {
            correlation: Some(-0.94),
            condition: Some(38.0),
            speed_min_m_s: Some(8.0),
            speed_max_m_s: Some(11.5),
            first_stage_f: Some(412.0),
            se_crr_if_cda_known: Some(0.00004),
            se_cda_m2_if_crr_known: Some(0.0007),
        },
        budget: budget(request),
        solver: Solver {
            iterations: 9,
            converged: true,
            starts: 3,
            estimator: if request.rollers { "energy account" } else { "instruments" }.into(),
        },
        findings: vec![
            FindingResult { code: "humidity-assumed".into(), run: None, message: "No humidity was stated; 50 % is assumed (its effect on density is small).".into() },
            FindingResult { code: "lag-large".into(), run: Some(2), message: "Speed runs 1.62 s behind power, more than the 1.5 s that sensors usually show; check that both come from one device.".into() },
        ],
        crr_drift: None,
        bootstrap: None,
        venues: request.mixed.then(|| venues(request, session)),
        monte_carlo,
    }
}

/// Crr of every set-up by random draws, a hundredth of the half-width further out at its upper end.
fn drawn(request: Request, setups: &[SetupResult]) -> MonteCarlo {
    let venue: String = if request.rollers { "rollers" } else { "road" }.into();
    let line = |s: &SetupResult| MonteCarloResult {
        venue: venue.clone(),
        setup: s.id.clone(),
        baseline: None,
        quantity: "crr".into(),
        instrument_se: s.crr.instrument_se,
        budget_instrument_se: s.crr.instrument_se,
        low: s.crr.low,
        high: s.crr.high.zip(s.crr.value).map(|(high, value)| high + 0.01 * (high - value)),
        budget_low: s.crr.low,
        budget_high: s.crr.high,
        tolerance: Some(0.00005),
        sampling_se: Some(0.000002),
        failed: 0,
        verdict: "agrees".into(),
    };
    MonteCarlo { draws: 20_000, seed: 1, digits: 1, results: setups.iter().map(line).collect() }
}

fn setup_result(request: Request, s: usize, setup: &loopwright::session::Setup) -> SetupResult {
    let known = |e: Estimate| if request.separable { e } else { Estimate::default() };
    let aero = |e: Estimate| if request.rollers { Estimate::default() } else { known(e) };
    SetupResult {
        cda_m2_with_crr_held: None,
        crr_held: None,
        crr_held_from: None,
        id: setup.id.clone(),
        label: setup.label.clone(),
        crr: known(estimate(crr(s), 0.00006, 0.00009)),
        cda_m2: aero(estimate(cda(s), 0.0011, 0.0035)),
        power_w: aero(estimate(power(s), 0.9, 2.6)),
        rolling_power_w: known(estimate(crr(s) * 9177.0, 0.6, 0.8)),
        aero_power_w: aero(estimate(cda(s) * 823.0, 0.9, 2.8)),
        correlation: Some(-0.9),
        least_squares_crr: Some(crr(s) + 0.00005),
        least_squares_cda_m2: Some(cda(s) - 0.0006),
        drag_at_mean_speed_n: (!request.rollers).then(|| estimate(19.4 + 0.3 * s as f64, 0.1, 0.2)),
        mean_speed_m_s: Some(9.7),
        laps_used: if request.rollers { 0 } else { request.laps * 2 - 3 },
    }
}

fn contrast(request: Request, s: usize) -> Contrast {
    let difference = power(s) - power(0);
    let p = (-(difference / 1.1).powi(2) / 2.0).exp();
    Contrast {
        setup: format!("s{s}"),
        baseline: "s0".into(),
        crr: estimate(crr(s) - crr(0), 0.00008, 0.00001),
        cda_m2: if request.rollers { Estimate::default() } else { estimate(cda(s) - cda(0), 0.0015, 0.0002) },
        power_w: estimate(difference, 1.1, 0.2),
        p_value: Some(p),
        p_holm: Some((p * 2.0).min(1.0)),
        detectable_power_w: Some(3.1),
        p_equivalence: Some(0.2),
        verdict: if p < 0.02 {
            "separated"
        } else if difference.abs() < 0.5 {
            "equivalent"
        } else {
            "not separated"
        }
        .into(),
    }
}

fn run_result(request: Request, session: &Session, run: usize) -> RunResult {
    let mut noise = Noise::new(run as u64 + 100);
    let (east, north) = (1.2 + 0.5 * noise.next(), 0.7 + 0.5 * noise.next());
    let speed = east.hypot(north);
    let lag = 0.62 + 0.1 * noise.next();
    let rollers = is_on_rollers(request, run);
    let solved = request.separable && !rollers;
    RunResult {
        file: session.runs[run].file.clone(),
        sha256: format!("{:064x}", 0x9e37_79b9_7f4a_7c15_u128 * (run as u128 + 1)),
        setup: session.runs[run].setup.clone(),
        venue: if rollers { "rollers" } else { "road" }.into(),
        mass_kg: 84.2 + 0.1 * run as f64,
        records: request.laps * 131,
        started: Some(format!("2031-05-0{}T09:{:02}:00Z", 1 + run % 9, run * 7 % 60)),
        duration_s: request.laps as f64 * 131.0,
        air_density_kg_m3: (!rollers).then_some(1.187 - 0.001 * run as f64),
        temperature_c: (!rollers).then_some(18.5 + 0.4 * run as f64),
        tyre_temperature_c: None,
        crr_over_reference: None,
        tyre_pressure_kpa: run.is_multiple_of(2).then_some(Pressures { front: 480.0, rear: 500.0 }),
        lag_s: if solved { Measured { value: Some(lag), se: Some(0.03) } } else { Measured::default() },
        wind: if !solved {
            WindResult::default()
        } else {
            WindResult {
                drift_east_m_s: Measured::default(),
                drift_north_m_s: Measured::default(),
                speed_m_s: Some(speed),
                from_deg: Some((east.atan2(north).to_degrees() + 180.0) % 360.0),
                east_m_s: Measured { value: Some(east), se: Some(0.12) },
                north_m_s: Measured { value: Some(north), se: Some(0.15) },
                gust_m_s: Some(0.3),
                ..WindResult::default()
            }
        },
        window: rollers.then(|| RollerWindow {
            from_s: request.laps.max(6) as f64 * 27.0,
            to_s: request.laps.max(6) as f64 * 60.0 - 20.0,
            time_constant_s: Some(170.0).filter(|_| run > 0),
            mean_speed_m_s: 10.3,
            mean_power_w: 91.0 + run as f64,
            crr_drum: 0.0088,
            crr: Measured { value: Some(0.0033), se: Some(0.00002) },
        }),
        laps: (1..=if rollers { 0 } else { request.laps }).map(|lap| lap_result(run, lap, &mut noise)).collect(),
    }
}

/// First lap left out by the rider, the fifth for braking.
pub fn is_used(lap: usize) -> bool {
    lap != 1 && lap != 5
}

fn lap_result(run: usize, lap: usize, noise: &mut Noise) -> LapResult {
    let speed = if lap.is_multiple_of(2) { 11.3 } else { 8.1 } + 0.2 * noise.next();
    LapResult {
        lap,
        start_s: 28.0 + 131.0 * (lap - 1) as f64 + run as f64,
        duration_s: 1268.4 / speed,
        distance_m: 1268.4 + 1.5 * noise.next(),
        mean_speed_m_s: speed,
        mean_power_w: Some(170.0 + 90.0 * (speed - 8.0) / 3.3),
        planned_speed_class: Some(lap % 2 + 1),
        misclosure_m: Some(0.15 * noise.next() + if lap == 5 { 2.4 } else { 0.0 }),
        used: is_used(lap),
        share_used: if is_used(lap) { 1.0 } else { 0.0 },
        reason: match lap {
            1 => Some("left out by the rider".into()),
            5 => Some("braking: −41 W of kinetic power unexplained at 612 m".into()),
            _ => None,
        },
    }
}

fn budget(request: Request) -> Vec<BudgetLine> {
    [
        ("power scale", 0.01, "1", 2.4, 0.00005, 0.0034),
        ("speed scale", 0.003, "1", 0.8, 0.00002, 0.0021),
        ("mass", 0.1, "kg", 0.1, 0.000005, 0.0001),
        ("air temperature", 0.5, "°C", 0.4, 0.000002, 0.0006),
        ("air pressure", 1.0, "hPa", 0.2, 0.000001, 0.0003),
        ("humidity", 5.0, "%", 0.1, 0.0000005, 0.0001),
        ("drivetrain efficiency", 0.005, "1", 1.2, 0.000025, 0.0017),
        ("bearing drag", 0.3, "1", 0.3, 0.00003, 0.0002),
    ]
    .into_iter()
    .map(|(source, standard_uncertainty, unit, watts, crr, cda)| {
        (source, standard_uncertainty, unit, watts, crr, (!request.rollers).then_some(cda))
    })
    .map(|(source, standard_uncertainty, unit, watts, crr, cda): (&str, f64, &str, f64, f64, Option<f64>)| BudgetLine {
        source: source.into(),
        standard_uncertainty,
        unit: unit.into(),
        crr: Some(crr).filter(|_| request.separable),
        cda_m2: cda.filter(|_| request.separable),
        power_w: Some(watts).filter(|_| request.separable),
        drag_n: (!request.separable && source.ends_with("scale")).then_some(0.05),
        setups: (0..request.setups)
            .map(|s| Contribution { setup: format!("s{s}"), crr: Some(crr), cda_m2: cda, power_w: Some(watts) })
            .collect(),
        contrasts: (1..request.setups)
            .map(|s| Contribution {
                setup: format!("s{s}"),
                crr: Some(crr * 0.05),
                cda_m2: cda.map(|c| c * 0.04),
                power_w: Some(if source == "mass" { watts } else { watts * 0.05 }),
            })
            .collect(),
        pairs: Vec::new(),
    })
    .filter(|line| line.power_w.is_some() || line.drag_n.is_some() || !line.contrasts.is_empty())
    .collect()
}

/// Rollers read lower than the road by a loss of the surface; the second set-up is where they disagree.
fn venues(request: Request, session: &Session) -> Venues {
    let on_rollers = Request { rollers: true, mixed: false, ..request };
    let result = |venue: &str, request: Request| VenueResult {
        run_to_run: None,
        factors: None,
        venue: venue.into(),
        baseline: "s0".into(),
        setups: session.setups.iter().enumerate().map(|(s, setup)| setup_result(request, s, setup)).collect(),
        contrasts: (1..request.setups).map(|s| contrast(request, s)).collect(),
        all_pairs: Vec::new(),
        budget: budget(request),
    };
    let mut rollers = result("rollers", on_rollers);
    for setup in &mut rollers.setups {
        let lower = |v: Option<f64>| v.map(|v| v - 0.0014);
        let e = &mut setup.crr;
        (e.value, e.low, e.high) = (lower(e.value), lower(e.low), lower(e.high));
    }
    Venues {
        results: vec![result("road", request), rollers],
        combined: (1..request.setups)
            .map(|s| {
                let c = contrast(request, s);
                CombinedContrast {
                    setup: c.setup,
                    baseline: c.baseline,
                    crr: c.crr,
                    rolling_power_w: estimate((crr(s) - crr(0)) * 9177.0, 0.4, 0.1),
                    p_value: c.p_value,
                    p_holm: c.p_holm,
                    detectable_power_w: Some(1.2),
                    p_equivalence: None,
                    verdict: c.verdict,
                    agreement: Agreement { agree: s != 2, q: Some(0.4), dof: Some(1.0), ..Agreement::default() },
                }
            })
            .collect(),
        combined_pairs: Vec::new(),
        surface_loss: session
            .setups
            .iter()
            .map(|setup| SurfaceLoss {
                setup: setup.id.clone(),
                crr: estimate(0.0014, 0.0001, 0.0001),
                rolling_power_w: estimate(12.8, 0.9, 0.9),
            })
            .collect(),
    }
}
