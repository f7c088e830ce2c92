//! What `[day]` does to a rehearsal: each departure from the plain day shows in the rides as stated, and in the truth.

use loopwright::plan::Plan;
use loopwright::simulate::{Rehearsal, SimulatedRide, simulate};

/// A level road without chance, unless lines say otherwise.
fn day(head: &str, tables: &str, seed: u64) -> Rehearsal {
    let text = format!(
        "laps_per_run = 4\nrider_and_bike.mass_kg = 85.0\n{head}\n[loop]\nlength_m = 1200.0\nelevation_amplitude_m = 0.0\n\
         [noise]\npower_cv = 0.0\ngust_sd_m_s = 0.0\nrider_cv = 0.0\npace_cv = 0.0\nspeed_source = \"exact\"\n\
         instrument_errors = \"none\"\n{tables}\n[[setup]]\nid = \"a\"\ncda_m2 = 0.30\ncrr = 0.0045\n"
    );
    simulate(&Plan::from_toml(&text, "plan.toml").unwrap(), seed).unwrap()
}

const TWO_SPEEDS: &str = "order = [\"a\"]\nspeeds_km_h = [29.0, 41.0]";

/// Mean power of a ride between two passes of the gate.
fn mean_power_w(day: &Rehearsal, run: usize, lap: usize) -> f64 {
    let passes = &day.truth.runs[run].gate_passes_s;
    let readings = &day.rides[run].readings[passes[lap] as usize..passes[lap + 1] as usize];
    readings.iter().map(|r| f64::from(r.power_w.unwrap())).sum::<f64>() / readings.len() as f64
}

fn slowest_m_s(ride: &SimulatedRide, from_s: f64, to_s: f64) -> f64 {
    let within = &ride.readings[from_s as usize..to_s as usize];
    within.iter().map(|r| f64::from(r.speed_mm_s) / 1000.0).fold(f64::MAX, f64::min)
}

#[test]
fn behind_shelter_all_round_the_wind_is_as_good_as_none() {
    let wind = "[wind]\nspeed_m_s = 3.0\nfrom_deg = 200.0\n";
    let sheltered = day(TWO_SPEEDS, &format!("{wind}[day]\nshelter_least = 0.0\nsheltered_part = [0.0, 1.0]"), 1);
    let calm = day(TWO_SPEEDS, "", 1);
    assert_eq!(sheltered.rides, calm.rides);
    // The truth keeps the wind of the open and says what share of it was met.
    assert!((sheltered.truth.runs[0].wind_north_m_s - 3.0 * 20.0_f64.to_radians().cos()).abs() < 1e-3);
    assert!(sheltered.truth.wind_share.iter().all(|share| *share == 0.0));
    assert!(calm.truth.wind_share.is_empty() && calm.truth.yaw_coefficient.is_none());
}

#[test]
fn yaw_slows_a_windy_lap_by_what_the_convention_says() {
    // An oval whose straights lie across the wind; its bends, a third of it, see all directions. At a held power the speed
    // gives way by what the yaw takes, ½ρ CdA k w⊥² w∥/w · v, over the slope of power against speed, F + v dF/dv.
    let wind = "[wind]\nspeed_m_s = 3.0\nfrom_deg = 0.0\n";
    let aims = "order = [\"a\"]\npowers_w = [320.0]";
    let speed = |tables: &str| {
        let day = day(aims, tables, 1);
        let passes = &day.truth.runs[0].gate_passes_s;
        (1200.0 / (passes[3] - passes[2]), day.truth.yaw_coefficient)
    };
    let (plain, _) = speed(wind);
    let (yawed, told) = speed(&format!("{wind}[day]\nyaw_coefficient = 1.5"));
    let per_area = |along: f64, across: f64| 0.5 * 1.19 * 1.5 * across * across * along / along.hypot(across);
    let turned = |h: f64| per_area(plain - 3.0 * h.cos(), 3.0 * h.sin());
    let bends = (0..360).map(|i| turned(f64::from(i).to_radians())).sum::<f64>() / 360.0;
    let extra_n = 0.30 * (0.67 * per_area(plain, 3.0) + 0.33 * bends);
    let slope_n = 3.75 + 0.09 + 3.0 * 0.5 * 1.19 * 0.30 * (plain * plain + 4.0);
    let expected = extra_n * plain / slope_n;
    assert!(((plain - yawed) / expected - 1.0).abs() < 0.15, "{} m/s for {expected} m/s", plain - yawed);
    assert_eq!(told, Some(1.5));
}

#[test]
fn drag_and_rolling_change_from_run_to_run_as_much_as_is_stated() {
    // 60 runs: a standard deviation is known to 9 %; three times this is allowed.
    let order = format!("order = [{}]\nspeeds_km_h = [60.0]", vec!["\"a\""; 60].join(", "));
    let text = order.replace("laps_per_run = 4", "laps_per_run = 1");
    let changed = day(&text, "[day]\ncda_run_to_run = 0.01\ncrr_run_to_run = 0.03", 5);
    let sd = |values: Vec<f64>| {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (values.len() - 1) as f64).sqrt()
    };
    let runs = &changed.truth.runs;
    let drag = sd(runs.iter().map(|r| r.cda_m2.unwrap() / 0.30).collect());
    let rolling = sd(runs.iter().map(|r| r.crr.unwrap() / 0.0045).collect());
    assert!((drag / 0.01 - 1.0).abs() < 0.27 && (rolling / 0.03 - 1.0).abs() < 0.27, "{drag} {rolling}");
    // And they were ridden so: with more drag and rolling, more power at the same speed.
    let cost = |run: usize| 1.19 * 0.5 * runs[run].cda_m2.unwrap() * 16.67_f64.powi(2) + runs[run].crr.unwrap() * 833.6;
    let ratio = |run: usize| mean_power_w(&changed, run, 1) / cost(run);
    let ratios: Vec<f64> = (0..20).map(ratio).collect();
    assert!(sd(ratios.clone()) / ratios[0] < 0.002, "{ratios:?}");
}

#[test]
fn the_rider_stops_at_the_junction_in_the_laps_that_the_truth_names() {
    let tables = "[day]\njunction_at = 0.4\njunction_stops = 0.5\njunction_wait_s = 6.0";
    let stopped = day(TWO_SPEEDS, tables, 3);
    let truth = &stopped.truth.runs[0];
    assert!(!truth.spoiled_s.is_empty() && truth.spoiled_s.len() < 4, "{:?}", truth.spoiled_s);
    for lap in truth.gate_passes_s.windows(2) {
        let stops = truth.spoiled_s.iter().any(|s| (lap[0]..lap[1]).contains(s));
        let slowest = slowest_m_s(&stopped.rides[0], lap[0], lap[1]);
        assert!(if stops { slowest == 0.0 } else { slowest > 4.0 }, "{slowest} m/s, stop planned: {stops}");
    }
    let all = day(TWO_SPEEDS, "[day]\njunction_at = 0.4\njunction_stops = 1.0", 3);
    assert_eq!(all.truth.runs[0].spoiled_s.len(), 4);
    // The wheel stands where the junction lies, to the length of a bicycle or two.
    let ride = &all.rides[0];
    let pass_s = all.truth.runs[0].gate_passes_s[1];
    let at_gate_m = f64::from(ride.readings[pass_s as usize].distance_cm) / 100.0;
    let halt = ride.readings[pass_s as usize..].iter().find(|r| r.speed_mm_s == 0).unwrap();
    let place_m = f64::from(halt.distance_cm) / 100.0 - at_gate_m;
    assert!((place_m - 480.0).abs() < 20.0, "{place_m}");
}

/// Drag area of a lap in still air from its own account: work less rolling, bearings and motion over ½ρ ∫v³dt.
fn drag_area_m2(day: &Rehearsal, lap: usize) -> f64 {
    let passes = &day.truth.runs[0].gate_passes_s;
    let readings = &day.rides[0].readings[passes[lap] as usize..=passes[lap + 1] as usize];
    let speeds: Vec<f64> = readings.iter().map(|r| f64::from(r.speed_mm_s) / 1000.0).collect();
    // A power is the mean of the second before its stamp, a speed that of the instant.
    let supplied_j: f64 = 0.976 * readings[1..].iter().map(|r| f64::from(r.power_w.unwrap())).sum::<f64>();
    let over = |f: &dyn Fn(f64) -> f64| speeds.windows(2).map(|v| 0.5 * (f(v[0]) + f(v[1]))).sum::<f64>();
    let motion_j = 0.5 * (85.0 + 0.14 / 0.335_f64.powi(2)) * (speeds[speeds.len() - 1].powi(2) - speeds[0].powi(2));
    let rolling_j = over(&|v| (0.0045 * 85.0 * 9.78 + 0.091 + 0.0087 * v) * v);
    (supplied_j - motion_j - rolling_j) / (0.5 * day.truth.instruments.air_density_kg_m3 * over(&|v| v.powi(3)))
}

#[test]
fn a_rider_who_sits_up_in_slow_laps_has_more_drag_there_only() {
    let upright = day(TWO_SPEEDS, "[day]\nslow_lap_cda_excess = 0.10", 1);
    let plain = day(TWO_SPEEDS, "", 1);
    // The plain day vouches for the account, the lean in bends apart, which the ratio takes out.
    assert!((drag_area_m2(&plain, 2) - 0.30).abs() < 0.006, "{}", drag_area_m2(&plain, 2));
    let [slow, fast] = [2, 3].map(|lap| drag_area_m2(&upright, lap) / drag_area_m2(&plain, lap));
    assert!((slow - 1.10).abs() < 0.01 && (fast - 1.0).abs() < 0.005, "{slow} {fast}");
}

#[test]
fn laps_planned_by_power_are_ridden_at_that_power_whatever_the_wind() {
    let windy = day("order = [\"a\"]\npowers_w = [180.0, 320.0]", "[wind]\nspeed_m_s = 3.0\nfrom_deg = 90.0", 1);
    let passes = &windy.truth.runs[0].gate_passes_s;
    for (lap, planned_w) in [(1, 320.0), (2, 180.0), (3, 320.0)] {
        // The legs follow within a few seconds of the gate.
        let held = &windy.rides[0].readings[passes[lap] as usize + 6..passes[lap + 1] as usize - 1];
        assert!(held.iter().all(|r| (f64::from(r.power_w.unwrap()) - planned_w).abs() < 1.5), "lap {}", lap + 1);
        let speed = |pick: fn(f64, f64) -> f64, start: f64| {
            held.iter().map(|r| f64::from(r.speed_mm_s) / 1000.0).fold(start, pick)
        };
        assert!(speed(f64::max, 0.0) - speed(f64::min, 99.0) > 1.5, "the wind moves the speed of lap {}", lap + 1);
    }
    // The session names the speeds that these powers hold, as a tester would expect them.
    let speeds = &windy.session.runs[0].planned_speed_km_h;
    assert!(speeds.len() == 2 && (29.0..34.0).contains(&speeds[0]) && (37.0..42.0).contains(&speeds[1]), "{speeds:?}");
}

#[test]
fn a_track_in_the_open_has_positions_that_go_round_its_bends() {
    let text = "order = [\"a\"]\nspeeds_km_h = [36.0]\nlaps_per_run = 3\nrider_and_bike.mass_kg = 85.0\n\
                [loop]\nkind = \"track\"\nlength_m = 452.0\nbend_radius_m = 42.0\npositions = true\n\
                [noise]\nposition_sd_m = 0.0\nposition_white_m = 0.0\n\
                [[setup]]\nid = \"a\"\ncda_m2 = 0.30\ncrr = 0.0045\n";
    let day = simulate(&Plan::from_toml(text, "plan.toml").unwrap(), 1).unwrap();
    let track = day.rides[0].to_recording();
    let passes = &day.truth.runs[0].gate_passes_s;
    let (first, last) = (passes[1] as usize, passes[2] as usize);
    // Metres on the ellipsoid near the equator: 111 319 m a degree of longitude there, 110 574 m of latitude.
    let east = |i: usize| track.longitude_deg[i] * 111_319.0 * track.latitude_deg[i].to_radians().cos();
    let north = |i: usize| track.latitude_deg[i] * 110_574.0;
    let way: f64 = (first..last).map(|i| (east(i + 1) - east(i)).hypot(north(i + 1) - north(i))).sum();
    assert!((way - 452.0).abs() < 12.0, "{way} m in a lap");
    let span = |of: &dyn Fn(usize) -> f64| {
        let all = (first..=last).map(of);
        all.clone().fold(f64::MIN, f64::max) - all.fold(f64::MAX, f64::min)
    };
    // Two half turns with transitions stand a little more than two radii apart, and the track is longer than wide.
    let (long, wide) = (span(&east).max(span(&north)), span(&east).min(span(&north)));
    assert!((84.0..100.0).contains(&wide) && (150.0..185.0).contains(&long), "{long} by {wide} m");
    assert_eq!(day.session.circuit.bend_radius_m, Some(42.0));
}
