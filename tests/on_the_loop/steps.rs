//! Which steps of a lap are spoiled, on a simulated day with a mishap.

use super::days::{NOISE, ROAD, day};
use loopwright::analysis::RiddenSession;
use loopwright::circuit::{FoundLoop, Lap, LapCut, RunToCut, SpeedDelay};
use loopwright::sample::{Reason, Ride, align};

const ONE: &str = "order = [\"a\", \"b\"]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]";

fn cut(inputs: &RiddenSession) -> LapCut {
    let rides: Vec<Ride> = inputs.recordings.iter().map(|r| align(r).0).collect();
    let runs: Vec<RunToCut> = inputs
        .session
        .runs
        .iter()
        .zip(&rides)
        .map(|(run, ride)| RunToCut { file: &run.file, ride, source: run.laps })
        .collect();
    let found = FoundLoop::new(&runs, &inputs.session.circuit).unwrap_or_else(|e| panic!("{e}"));
    let delay_s = found.speed_delay().unwrap_or(SpeedDelay::USUAL).mean_s;
    found.cut(delay_s)
}

fn marked(lap: &Lap) -> usize {
    lap.step_reason.iter().flatten().count()
}

#[test]
fn a_lost_meter_costs_its_steps_and_not_the_lap() {
    for (seconds, steps) in [(8, 2..=5), (20, 3..=8), (40, 6..=16)] {
        let sound = day(ONE, ROAD, NOISE, 61);
        let mut spoiled = sound.clone();
        spoiled.recordings[0].power_w[400..400 + seconds].fill(f64::NAN);
        let [sound, spoiled] = [cut(&sound), cut(&spoiled)];
        let i = sound.runs[0].iter().position(|l| l.start_s <= 400.0 && 400.0 < l.end_s).expect("its lap");
        assert_eq!(marked(&sound.runs[0][i]), 0);
        let lap = &spoiled.runs[0][i];
        assert_eq!(lap.reason, None, "{seconds} s");
        let total: usize = spoiled.runs[0].iter().map(marked).sum();
        assert!(steps.contains(&total), "{seconds} s: {total} of {}", lap.step_reason.len());
        assert!(lap.step_reason.iter().flatten().all(|r| *r == Reason::PowerMissing));
        assert_eq!(lap.edge_s, sound.runs[0][i].edge_s, "places stay");
    }
}

#[test]
fn a_lap_of_which_little_is_left_is_left_out() {
    let mut spoiled = day(ONE, ROAD, NOISE, 62);
    spoiled.recordings[0].power_w[400..530].fill(f64::NAN);
    assert!(cut(&spoiled).runs[0].iter().any(|l| l.reason == Some(Reason::PowerMissing)));
}

#[test]
fn a_break_in_the_record_costs_its_steps_whether_the_bicycle_moves_or_not() {
    for seconds in [10, 30, 45] {
        let sound = day(ONE, ROAD, NOISE, 63);
        let before = cut(&sound);
        let lap = before.runs[0].iter().find(|l| l.start_s > 350.0).expect("a lap").clone();
        // The records of some seconds within it are not there.
        let from = (lap.start_s + 0.4 * lap.duration_s()) as usize;
        let mut broken = sound.clone();
        let r = &mut broken.recordings[0];
        let kept: Vec<bool> = (0..r.len()).map(|i| !(from..from + seconds).contains(&i)).collect();
        r.keep_rows(&kept);
        let broken = cut(&broken);
        let placed = broken.runs[0].iter().find(|l| (l.start_s - lap.start_s).abs() < 5.0).expect("the lap");
        assert_eq!(placed.reason, None, "{seconds} s");
        assert!(placed.step_reason.iter().flatten().all(|r| *r == Reason::Gap) && marked(placed) >= 2);
        for (k, (now, then)) in placed.edge_s.iter().zip(&lap.edge_s).enumerate() {
            let beside = placed.step_reason.get(k).copied().flatten().or(placed.step_reason[k.saturating_sub(1)]);
            // Positions wander by 1.5 m, which a line tied to fewer laps follows a little.
            assert!(beside.is_some() || (now - then).abs() < 0.3, "{seconds} s, edge {k}: {now} {then}");
        }
    }
}
