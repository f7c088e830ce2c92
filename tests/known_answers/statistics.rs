//! Published worked examples and tables of statistics and of uncertainty, each with its source beside it.

use loopwright::compare::multiplicity::holm;
use loopwright::compare::order::drift_left;
use loopwright::compare::pooling::{Measurement, Pooled};
use loopwright::uncertainty::anova::{Group, OneWay};
use loopwright::uncertainty::budget::{Budget, Combined, Source, welch_satterthwaite};
use loopwright::uncertainty::monte_carlo::{InputDistribution, propagate};
use loopwright::uncertainty::power::{detectable_difference, noncentral_t_upper_tail, two_sided_power};
use loopwright::uncertainty::serial::{autocovariance, mean, naive_standard_error, newey_west_of_mean};
use loopwright::uncertainty::student::{chi_squared_upper_tail, coverage_factor, f_upper_tail, t_quantile};

fn near(what: &str, got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{what}: {got}, {expected} ± {tolerance} expected");
}

// -- distributions and power -----------------------------------------------------------------

#[test]
fn student_quantiles_match_the_tables() {
    // Any table of Student's t; digits from an independent library (scipy), hence 1e-6.
    for (dof, expected) in [
        (1.0, 12.706205),
        (2.0, 4.302653),
        (3.0, 3.182446),
        (4.0, 2.776445),
        (5.0, 2.570582),
        (6.0, 2.446912),
        (8.0, 2.306004),
        (9.0, 2.262157),
        (10.0, 2.228139),
        (15.0, 2.131450),
        (20.0, 2.085963),
        (30.0, 2.042272),
        (100.0, 1.983972),
    ] {
        near("t 0.975", t_quantile(0.975, dof), expected, 1e-6);
        near("t 0.025", t_quantile(0.025, dof), -expected, 1e-6);
    }
    for (dof, expected) in [(3.0, 5.840909), (5.0, 4.032143), (10.0, 3.169273), (16.0, 2.920782), (30.0, 2.749996)] {
        near("t 0.995", t_quantile(0.995, dof), expected, 1e-6);
    }
}

#[test]
fn noncentral_t_matches_an_independent_library() {
    // scipy nct.sf and a 30-digit quadrature agree on these to all digits shown.
    for (dof, noncentrality, t, expected) in [
        (1.0, 16.0, 12.7062, 0.790646815666864),
        (2.5, 3.0, 4.0, 0.397152576734642),
        (40.0, 3.0, 2.0, 0.838475805109704),
        (7.0, 3.2697, 2.364624, 0.799985451252032),
    ] {
        near("P(T' > t)", noncentral_t_upper_tail(t, dof, noncentrality), expected, 1e-10);
    }
}

#[test]
fn power_and_sample_size_match_the_classical_examples() {
    // statsmodels; the first and the fourth are also the classical textbook examples (from memory).
    let two_sample = |n: f64, d: f64| two_sided_power(d, (2.0 / n).sqrt(), 2.0 * (n - 1.0), 0.05);
    let paired = |n: f64, d: f64| two_sided_power(d, (1.0 / n).sqrt(), n - 1.0, 0.05);
    near("20 a group", two_sample(20.0, 1.0), 0.8689530, 1e-6);
    near("22.02109 a group", two_sample(22.02109, 1.0), 0.90, 1e-6);
    near("63.7656 a group", two_sample(63.7656, 0.5), 0.80, 1e-6);
    near("10 pairs", paired(10.0, 1.0), 0.8030969, 1e-6);
    near("33.3671 pairs", paired(33.3671, 0.5), 0.80, 1e-6);
    near("8 pairs", detectable_difference((1.0_f64 / 8.0).sqrt(), 7.0, 0.05, 0.8), 1.156035, 1e-6);
    near("5 a group", detectable_difference((2.0_f64 / 5.0).sqrt(), 8.0, 0.05, 0.8), 2.024440, 1e-6);
    near("10 a group", detectable_difference((2.0_f64 / 10.0).sqrt(), 18.0, 0.05, 0.8), 1.324947, 1e-6);
}

// -- GUM (JCGM 100:2008) ---------------------------------------------------------------------

#[test]
fn the_gum_end_gauge_example_h1_is_met() {
    // JCGM 100 H.1; unrounded parts recomputed with scipy. The GUM prints u 32 nm, ν 16, U99 93 nm.
    let length = |standard: f64, d: f64, alpha: f64, theta: f64, alpha_difference: f64, theta_difference: f64| {
        standard + d - standard * (alpha_difference * theta + alpha * theta_difference)
    };
    let difference = welch_satterthwaite(&[
        Combined { standard_uncertainty: 5.8, dof: 24.0 },
        Combined { standard_uncertainty: 3.9, dof: 5.0 },
        Combined { standard_uncertainty: 6.7, dof: 8.0 },
    ]);
    near("u(d)", difference.standard_uncertainty, 9.68194, 1e-5);
    near("ν(d)", difference.dof, 25.447, 1e-3);
    let best = [50000623.0, 215.0, 11.5e-6, -0.1, 0.0, 0.0];
    let at = |x: [f64; 6]| length(x[0], x[1], x[2], x[3], x[4], x[5]);
    near("l", at(best), 50000838.0, 1e-6);
    let rectangle = 1.0 / 3.0_f64.sqrt();
    let inputs = [
        (0, 25.0, 18.0),
        (1, difference.standard_uncertainty, difference.dof),
        (4, 1e-6 * rectangle, 50.0),
        (5, 0.05 * rectangle, 2.0),
    ];
    let sources = inputs.map(|(which, u, dof)| {
        let moved = |sign: f64| {
            let mut x = best;
            x[which] += sign * u;
            vec![at(x) - at(best)]
        };
        Source {
            name: format!("{which}"),
            standard_uncertainty: u,
            unit: "nm".into(),
            dof,
            plus: moved(1.0),
            minus: moved(-1.0),
        }
    });
    let budget = Budget::new(sources.to_vec()).unwrap();
    for (part, expected) in budget.contributions(&[1.0]).iter().zip([25.0, 9.68194, 2.88679, 16.5990]) {
        near("part", part.abs(), expected, 1e-4);
    }
    let combined = budget.combined(&[1.0]);
    near("u(l)", combined.standard_uncertainty, 31.6639, 1e-4);
    near("ν", combined.dof, 16.752, 1e-3);
    // The GUM cuts the degrees of freedom to a whole number before it looks up t.
    near("U99", coverage_factor(0.99, combined.dof.floor()) * combined.standard_uncertainty, 92.48, 0.01);
}

#[test]
fn the_gum_day_to_day_example_h5_is_met() {
    // JCGM 100 H.5, table H.9; the GUM prints 57 µV, 85 µV and F 2.25 from rounded parts.
    let means =
        [10.000172, 10.000116, 10.000013, 10.000144, 10.000106, 10.000031, 10.000060, 10.000125, 10.000163, 10.000041];
    let sds_uv = [60.0, 77.0, 111.0, 101.0, 67.0, 93.0, 80.0, 73.0, 88.0, 86.0];
    let days: Vec<Group> =
        means.iter().zip(sds_uv).map(|(mean, sd)| Group { count: 5, mean: *mean, sd: sd * 1e-6 }).collect();
    let table = OneWay::of(&days).unwrap();
    near("grand mean", table.grand_mean, 10.000097, 1e-6);
    near("s within", table.within_sd() * 1e6, 84.887, 1e-3);
    near("F", table.f, 2.2615, 1e-4);
    near("p", f_upper_tail(table.f, table.dof_between, table.dof_within), 0.0374, 5e-5);
    near("F 0.95", f_upper_tail(2.1240, 9.0, 40.0), 0.05, 2e-5);
}

#[test]
fn welch_and_satterthwaites_formula_meets_the_ratio_example() {
    // y = X1/X2·Y of published course notes: u 0.00494, ν 27.7, U95 0.0101. The uncertainties of the inputs are printed
    // to two digits, the largest to ±0.5 % of itself, which leaves 0.3 % of u (1.5e-5) and 0.6 of ν open.
    let y = |x: [f64; 3]| x[0] / x[1] * x[2];
    let best = [0.1820, 0.1823, 0.6978];
    let sources = [(0.00093, 9.0), (0.00058, 19.0), (0.0026, 19.0)].into_iter().enumerate().map(|(which, (u, dof))| {
        let moved = |sign: f64| {
            let mut x = best;
            x[which] += sign * u;
            vec![y(x) - y(best)]
        };
        Source {
            name: which.to_string(),
            standard_uncertainty: u,
            unit: "1".into(),
            dof,
            plus: moved(1.0),
            minus: moved(-1.0),
        }
    });
    let combined = Budget::new(sources.collect()).unwrap().combined(&[1.0]);
    near("y", y(best), 0.6967, 5e-5);
    near("u", combined.standard_uncertainty, 0.00494, 1.5e-5);
    near("ν", combined.dof, 27.7, 0.6);
    near("U95", coverage_factor(0.95, combined.dof) * combined.standard_uncertainty, 0.0101, 5e-5);
}

#[test]
fn analysis_of_variance_of_unequal_groups_matches_a_textbook_table() {
    // Glantz, Primer of Biostatistics, table 7-5. Standard deviations are printed to ±0.05, which leaves 2.7 % of the
    // scatter within groups, and so of F, open.
    let group = |count, mean, sd| Group { count, mean, sd };
    let table = OneWay::of(&[group(16, 9.2, 2.9), group(22, 10.7, 2.8), group(18, 13.5, 4.7)]).unwrap();
    near("SSB", table.sum_of_squares_between, 164.7, 0.05);
    near("MSB", table.sum_of_squares_between / table.dof_between, 82.3, 0.05);
    near("F", table.f, 6.612, 0.18);
    near("p", f_upper_tail(table.f, table.dof_between, table.dof_within), 0.003, 5e-4);
}

// -- JCGM 101:2008 ---------------------------------------------------------------------------

#[test]
fn sums_of_four_normal_and_of_four_rectangular_inputs_match_jcgm_101() {
    // JCGM 101, 9.2.2 table 2 and 9.2.3 table 3; exact ends ±3.919928 and ±2√3[2 − (3/5)^¼]. With 4e5 draws the end of
    // the interval has a standard error of 0.009 (normal), hence 0.03; the standard deviation one of 0.0022.
    let sum = |x: &[f64], y: &mut [f64]| y[0] = x.iter().sum();
    let normal =
        &propagate(&[InputDistribution::Normal { mean: 0.0, sd: 1.0 }; 4], 1, 400_000, 0.95, 11, sum).unwrap()[0];
    near("mean", normal.mean, 0.0, 0.01);
    near("u", normal.sd, 2.0, 0.008);
    near("low", normal.symmetric.low, -3.919928, 0.03);
    near("high", normal.symmetric.high, 3.919928, 0.03);
    let half = 3.0_f64.sqrt();
    let flat = &propagate(&[InputDistribution::Rectangular { low: -half, high: half }; 4], 1, 400_000, 0.95, 12, sum)
        .unwrap()[0];
    near("u", flat.sd, 2.0, 0.008);
    near("high", flat.symmetric.high, 3.879407, 0.03);
    near("shortest", flat.shortest.width(), 2.0 * 3.879407, 0.06);
}

#[test]
fn the_mass_calibration_example_of_jcgm_101_is_met() {
    // JCGM 101, 9.3 (from memory), recomputed with 2e7 draws: 1.23402, 0.07548, shortest [1.0842, 1.3833]; first
    // order gives u 0.0539. The tolerance on the ends is the noise of the published run.
    let inputs = [
        InputDistribution::Normal { mean: 100_000.0, sd: 0.05 },
        InputDistribution::Normal { mean: 1.234, sd: 0.020 },
        InputDistribution::Rectangular { low: 1.1, high: 1.3 },
        InputDistribution::Rectangular { low: 7000.0, high: 9000.0 },
        InputDistribution::Rectangular { low: 7950.0, high: 8050.0 },
    ];
    let model =
        |x: &[f64], y: &mut [f64]| y[0] = (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 100_000.0;
    let mass = &propagate(&inputs, 1, 1_000_000, 0.95, 13, model).unwrap()[0];
    near("mean", mass.mean, 1.2340, 3e-4);
    near("u", mass.sd, 0.0754, 3e-4);
    near("low", mass.shortest.low, 1.0842, 0.0015);
    near("high", mass.shortest.high, 1.3833, 0.0015);
}

#[test]
fn a_logarithm_far_from_linear_matches_the_published_interval() {
    // NPL report DEM-ES-011, 9.2: ln of U(0.1, 1.1); exact ends ln 0.15 and ln 1.1, mean −0.664900, u 0.606227.
    let input = [InputDistribution::Rectangular { low: 0.1, high: 1.1 }];
    let fixed = &propagate(&input, 1, 400_000, 0.95, 14, |x, y| y[0] = x[0].ln()).unwrap()[0];
    near("mean", fixed.mean, -0.664900, 0.004);
    near("u", fixed.sd, 0.606227, 0.003);
    near("low", fixed.shortest.low, 0.15_f64.ln(), 0.02);
    near("high", fixed.shortest.high, 1.1_f64.ln(), 0.001);
}

// -- pooling, multiplicity, order ------------------------------------------------------------

#[test]
fn nine_laboratories_pool_as_published() {
    // Kacker 2004, Metrologia 41:132, nine laboratories; Q from an independent package, the rest
    // recomputed with statsmodels and numpy.
    let y = [61.0, 61.4, 62.21, 62.3, 62.34, 62.6, 62.7, 62.84, 65.9];
    let v: [f64; 9] = [0.2025, 1.21, 0.09, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225];
    let results: Vec<Measurement> = y
        .iter()
        .zip(v)
        .map(|(value, v)| Measurement { value: *value, standard_error: v.sqrt(), dof: f64::INFINITY })
        .collect();
    let pooled = Pooled::of(&results).unwrap();
    near("fixed", pooled.common.value, 62.58339709, 1e-8);
    near("fixed se", pooled.common.standard_error, 0.10784571, 1e-8);
    near("Q", pooled.q, 24.80189774, 1e-8);
    near("p", pooled.p_value, 0.00167935, 1e-8);
    near("Birge", pooled.birge_ratio, 1.76074905, 1e-8);
    near("Birge se", pooled.birge_se(), 0.18988922, 1e-8);
    near("DL τ²", pooled.between_variance, 0.28804925, 1e-8);
    near("DL mean", pooled.random.value, 62.39013860, 1e-8);
    near("DL se", pooled.random.standard_error, 0.24574967, 1e-8);
    near("HK se", pooled.hartung_knapp_se, 0.29477606, 1e-8);
}

#[test]
fn thirteen_vaccine_trials_pool_as_published() {
    // The standard textbook set of 13 BCG trials, log risk ratios (counts from memory); published −0.7141 ± 0.1788, τ²
    // 0.3088; digits recomputed with statsmodels.
    let trials: [[f64; 4]; 13] = [
        [4.0, 119.0, 11.0, 128.0],
        [6.0, 300.0, 29.0, 274.0],
        [3.0, 228.0, 11.0, 209.0],
        [62.0, 13536.0, 248.0, 12619.0],
        [33.0, 5036.0, 47.0, 5761.0],
        [180.0, 1361.0, 372.0, 1079.0],
        [8.0, 2537.0, 10.0, 619.0],
        [505.0, 87886.0, 499.0, 87892.0],
        [29.0, 7470.0, 45.0, 7232.0],
        [17.0, 1699.0, 65.0, 1600.0],
        [186.0, 50448.0, 141.0, 27197.0],
        [5.0, 2493.0, 3.0, 2338.0],
        [27.0, 16886.0, 29.0, 17825.0],
    ];
    let results = trials.map(|[ill, well, ill_control, well_control]| Measurement {
        value: (ill / (ill + well) / (ill_control / (ill_control + well_control))).ln(),
        standard_error: (ill.recip() - (ill + well).recip() + ill_control.recip()
            - (ill_control + well_control).recip())
        .sqrt(),
        dof: f64::INFINITY,
    });
    let pooled = Pooled::of(&results).unwrap();
    near("τ²", pooled.between_variance, 0.3087603, 1e-7);
    near("pooled", pooled.random.value, -0.7141172, 1e-7);
    near("se", pooled.random.standard_error, 0.1787421, 1e-7);
    near("Q", pooled.q, 152.2330, 1e-4);
    near("I²", pooled.i_squared, 0.92117, 1e-5);
    near("fixed", pooled.common.value, -0.4302852, 1e-7);
    near("fixed se", pooled.common.standard_error, 0.0404988, 1e-7);
    near("p", chi_squared_upper_tail(pooled.q, 12.0), pooled.p_value, 0.0);
}

#[test]
fn holm_adjusts_as_published() {
    // Holm 1979; digits from statsmodels.
    for (p, expected) in [
        (vec![0.01, 0.04, 0.03, 0.005], vec![0.03, 0.06, 0.06, 0.02]),
        (vec![0.01, 0.02, 0.03, 0.04, 0.05], vec![0.05, 0.08, 0.09, 0.09, 0.09]),
    ] {
        for (got, expected) in holm(&p).iter().zip(expected) {
            near("Holm", *got, expected, 1e-12);
        }
    }
}

#[test]
fn palindromic_orders_cancel_the_drifts_that_algebra_says_they_do() {
    // Exact integers, equal slots from 0.
    for (order, left) in [(&[0, 1, 1, 0][..], [0.0, -2.0, -9.0]), (&[0, 1, 1, 0, 1, 0, 0, 1][..], [0.0, 0.0, 12.0])] {
        for (power, expected) in (1..=3).zip(left) {
            assert_eq!(drift_left(order, power), expected, "{order:?} power {power}");
        }
    }
}

// -- serial correlation ----------------------------------------------------------------------

#[test]
fn newey_west_error_of_a_mean_matches_an_independent_computation() {
    // First 20 values of the NIST set Lew; digits by numpy and statsmodels, divisor n.
    let x = [
        -213.0, -564.0, -35.0, -15.0, 141.0, 115.0, -420.0, -360.0, 203.0, -338.0, -431.0, 194.0, -220.0, -513.0,
        154.0, -125.0, -559.0, 92.0, -21.0, -579.0,
    ];
    near("mean", mean(&x), -174.7, 1e-12);
    near("r1", autocovariance(&x, 1) / autocovariance(&x, 0), -0.219046710750266, 1e-14);
    near("naive", naive_standard_error(&x), 62.40795749, 1e-8);
    near("L = 2", newey_west_of_mean(&x, 2), 36.94965584, 1e-8);
    near("L = 4", newey_west_of_mean(&x, 4), 37.95934404, 1e-8);
}
