//! Predicted against rehearsed standard errors.
use loopwright::analysis::{Depth, Inputs, analyse};
use loopwright::plan::{Plan, Prediction, predict_plan, simulate};
use loopwright::solution::{Estimate, Solution};
use rayon::prelude::*;

fn plan(order: &str, laps: usize, speeds: &str, gust: f64, extra: &str) -> Plan {
    let more = if order.contains('b') { "[[setup]]\nid = \"b\"\ncda_m2 = 0.262\ncrr = 0.0041\n" } else { "" };
    let c = if order.contains('c') { "[[setup]]\nid = \"c\"\ncda_m2 = 0.262\ncrr = 0.0045\n" } else { "" };
    let cda = if order.contains('b') { "common" } else { "per-setup" };
    let text = format!(
        "order = {order}\nlaps_per_run = {laps}\nspeeds_km_h = {speeds}\n[rider_and_bike]\nmass_kg = 86.0\n[loop]\nlength_m = 1250.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n[wind]\nspeed_m_s = 1.5\nfrom_deg = 240.0\n[solve]\ncda = \"{cda}\"\n[noise]\ngust_sd_m_s = {gust}\n{extra}\n[[setup]]\nid = \"a\"\ncda_m2 = 0.262\ncrr = 0.0045\n{more}{c}"
    );
    Plan::from_toml(&text, "grid").unwrap()
}

fn row(name: &str, predicted: Option<loopwright::plan::Predicted>, rehearsed: &[(Estimate, f64)]) {
    let Some(p) = predicted else { println!("{name:36} not predicted"); return };
    let known: Vec<&(Estimate, f64)> = rehearsed.iter().filter(|(e, _)| e.se.is_some()).collect();
    let n = known.len() as f64;
    let rms = |f: &dyn Fn(&Estimate) -> f64| (known.iter().map(|(e, _)| f(e).powi(2)).sum::<f64>() / n).sqrt();
    let se = rms(&|e| e.se.unwrap());
    let scatter = rms(&|e| e.scatter_se.unwrap());
    let ins = rms(&|e| e.instrument_se.unwrap_or(0.0));
    let err: Vec<f64> = known.iter().map(|(e, t)| e.value.unwrap() - t).collect();
    let mean = err.iter().sum::<f64>() / n;
    let sd = (err.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    let dof = known.iter().map(|(e, _)| e.dof.unwrap()).sum::<f64>() / n;
    println!("{name:36} n {n:3} predicted {:.6} (scatter {:.6} ins {:.6} dof {:.1}) reported {se:.6} ({scatter:.6} {ins:.6} {dof:.1}) spread {sd:.6} bias {mean:+.6} | pred/rep {:.3} scatter {:.3} pred/spread {:.3}",
        p.se, p.scatter_se, p.instrument_se, p.dof.unwrap_or(0.0), p.se / se, p.scatter_se / scatter, p.se / sd);
}

#[test]
#[ignore = "minutes"]
fn grid() {
    let days: u64 = std::env::var("LOOPWRIGHT_DAYS").ok().and_then(|d| d.parse().ok()).unwrap_or(40);
    let tyres = "[\"a\",\"b\",\"c\",\"c\",\"b\",\"a\"]";
    let grid: Vec<(&str, Plan)> = vec![
        ("calm 8", plan(tyres, 8, "[29,41]", 0.15, "")),
        ("light 4", plan(tyres, 4, "[29,41]", 0.3, "")),
        ("light 8", plan(tyres, 8, "[29,41]", 0.3, "")),
        ("light 16", plan(tyres, 16, "[29,41]", 0.3, "")),
        ("gusty 8", plan(tyres, 8, "[29,41]", 0.8, "")),
        ("light 8 close", plan(tyres, 8, "[33,38]", 0.3, "")),
        ("light 8 one", plan(tyres, 8, "[36]", 0.3, "")),
        ("light 12 single", plan("[\"a\"]", 12, "[29,41]", 0.3, "")),
        ("sat 8", plan(tyres, 8, "[29,41]", 0.3, "speed_source = \"satellite\"")),
        ("slow gusts 8", plan(tyres, 8, "[29,41]", 0.3, "gust_time_s = 20.0")),
        ("power 2% 8", plan(tyres, 8, "[29,41]", 0.3, "power_cv = 0.02")),
    ];
    let only = std::env::var("ONLY").ok();
    for (name, plan) in grid {
        if only.as_deref().is_some_and(|o| !name.contains(o)) { continue; }
        let t0 = std::time::Instant::now();
        let p: Prediction = predict_plan(&plan).unwrap();
        let t1 = t0.elapsed();
        let solved: Vec<(Solution, loopwright::plan::Truth)> = (0..days).into_par_iter().filter_map(|d| {
            let day = simulate(&plan, 5000 + d).unwrap();
            let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
            let inputs = Inputs { session: day.session.clone(), recordings, weather: None, survey: None };
            analyse(&inputs, Depth { budget: true, draws: 0 }).map_err(|e| println!("{e}")).ok().map(|a| (a.solution, day.truth))
        }).collect();
        println!("== {name}: predict {:.2} s, {days} days {:.1} s; row sd {:.4}, laps {} ratio {:.3} {:?}", t1.as_secs_f64(), t0.elapsed().as_secs_f64(), p.row_sd_m, p.laps_of_run, p.scatter_ratio, p.not_separable.is_some());
        let laps: Vec<usize> = solved.iter().map(|(s, _)| s.setups[0].laps_used).collect();
        println!("laps used {:?}", &laps[..laps.len().min(12)]);
        let t = |f: &dyn Fn(&Solution, &loopwright::plan::Truth) -> (Estimate, f64)| solved.iter().map(|(s, t)| f(s, t)).collect::<Vec<_>>();
        row(&format!("{name} crr"), p.setups[0].crr, &t(&|s, t| (s.setups[0].crr, t.setups[0].crr)));
        row(&format!("{name} cda"), p.setups[0].cda_m2, &t(&|s, t| (s.setups[0].cda_m2, t.setups[0].cda_m2)));
        row(&format!("{name} power"), p.setups[0].power_w, &t(&|s, _| (s.setups[0].power_w, 0.0)));
        row(&format!("{name} drag"), Some(p.setups[0].drag_n), &t(&|s, _| (s.setups[0].drag_at_mean_speed_n.unwrap_or_default(), 0.0)));
        if let Some(d) = p.differences.first() {
            row(&format!("{name} d crr"), d.crr, &t(&|s, t| (s.contrasts[0].crr, t.setups[1].crr - t.setups[0].crr)));
            row(&format!("{name} d power"), d.power_w, &t(&|s, _| (s.contrasts[0].power_w, 0.0)));
        }
    }
}
