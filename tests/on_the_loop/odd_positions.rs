//! Positions that are off, by how much and for how long they are.

use super::days::{has_said, moved, road, said, solved};
use loopwright::analysis::RiddenSession;
use loopwright::solution::Solution;

/// One degree of latitude is some 111 km.
fn off(inputs: &RiddenSession, run: usize, from: usize, seconds: usize, by_m: f64) -> RiddenSession {
    let mut out = inputs.clone();
    out.recordings[run].latitude_deg[from..from + seconds].iter_mut().for_each(|lat| *lat += by_m / 111_000.0);
    out
}

#[test]
fn a_position_that_no_bicycle_reached_moves_nothing_and_is_told() {
    let sound = road(11);
    let before = solved(&sound);
    for (run, from, seconds, by_m) in [
        (0, 300, 1, 200_000.0),
        (1, 0, 1, 200_000.0),
        (2, 400, 1, 3000.0),
        (0, 500, 10, 3000.0),
        (3, 350, 10, 150.0),
        (1, 600, 3, 1_000_000.0),
    ] {
        let now = solved(&off(&sound, run, from, seconds, by_m));
        assert!(moved(&now, &before) < 0.1, "{seconds} s {by_m} m: {}", moved(&now, &before));
        let told = said(&now, "positions-unreachable");
        assert!(told.len() == 1 && told[0].starts_with(&format!("{seconds} position")), "{told:?}");
        assert!(now.runs.iter().flat_map(|r| &r.laps).filter(|l| !l.used).count() <= 1, "{seconds} s {by_m} m");
    }
}

#[test]
fn a_receiver_that_wanders_off_costs_its_own_laps_only() {
    let sound = road(12);
    let before = solved(&sound);
    // Slowly out and back: a step that no single record shows.
    for by_m in [40.0, 120.0] {
        let mut odd = sound.clone();
        for k in 0..60 {
            let share = (std::f64::consts::PI * f64::from(k) / 60.0).sin();
            odd.recordings[2].latitude_deg[300 + k as usize] += share * by_m / 111_000.0;
        }
        let now = solved(&odd);
        let of = |s: &Solution, k: usize| s.runs[k].laps.iter().filter(|l| l.share_used < 1.0).count();
        let lost: Vec<usize> = (0..4).map(|k| of(&now, k)).collect();
        assert!([0, 1, 3].into_iter().all(|k| lost[k] <= of(&before, k)), "{lost:?}");
        assert!((1..=3).contains(&lost[2]), "{by_m}: {lost:?}");
        assert!(moved(&now, &before) < 1.0, "{}", moved(&now, &before));
    }
}

#[test]
fn positions_that_are_sound_are_not_touched() {
    let solution = solved(&road(13));
    for code in ["positions-unreachable", "speed-scale-off", "wheel-differs", "run-left-out"] {
        assert!(!has_said(&solution, code), "{code}");
    }
}
