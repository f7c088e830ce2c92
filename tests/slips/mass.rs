//! Masses with exchanged digits or in pounds, and files of the wrong set-up.

use crate::day::{codes, drums, solved, told, tyres, warns_first};

#[test]
fn the_mass_of_one_run_is_told_by_what_is_stated_or_by_its_twins() {
    // 86.0 kg is true; 3 kg moves Crr by 3.5 %.
    for (mass_kg, code) in [(68.3, "mass-odd"), (80.0, "mass-odd"), (81.8, "mass-odd"), (174.8, "mass-odd")] {
        let mut day = tyres(60);
        day.session.runs[1].mass_kg = Some(mass_kg);
        let solution = solved(&day);
        assert!(!told(&solution, code).is_empty() && warns_first(&solution), "{mass_kg}: {:?}", codes(&solution));
    }
    let mut day = tyres(60);
    day.session.runs.iter_mut().for_each(|r| r.mass_kg = Some(189.6));
    day.session.rider_and_bike.mass_kg = 189.6;
    let pounds = solved(&day);
    assert!(told(&pounds, "mass-odd")[0].message.contains("lb would be 86.0 kg"), "{:?}", codes(&pounds));
}

#[test]
fn runs_of_one_tyre_that_differ_are_told_with_what_to_check() {
    // The ride of another rider, 20 kg lighter, under the mass of this one: nothing stated is odd.
    for (seed, factor) in [(61, 0.8), (62, 1.25)] {
        let mut day = drums(seed);
        crate::day::scale(&mut day.recordings[2].power_w, factor);
        let solution = solved(&day);
        let found = told(&solution, "runs-of-setup-differ");
        assert_eq!(found.len(), 1, "{:?}", codes(&solution));
        for word in ["run-2.fit", "run-3.fit", "masses", "zero of the power meter", "mixed up"] {
            assert!(found[0].message.contains(word), "{}", found[0].message);
        }
    }
}

#[test]
fn files_of_exchanged_set_ups_are_found() {
    let mut found = 0;
    for seed in 63..66 {
        let mut day = tyres(seed);
        // The files of run 2 (set-up b) and run 3 (set-up c), Crr 0.0040 and 0.0051, trade places.
        day.session.runs[1].setup = "c".into();
        day.session.runs[2].setup = "b".into();
        let solution = solved(&day);
        let about = ["setups-swapped", "runs-of-setup-differ"];
        assert!(codes(&solution).iter().any(|c| about.contains(c)), "seed {seed}: {:?}", codes(&solution));
        found += told(&solution, "setups-swapped").len();
    }
    assert!(found >= 2, "{found} of 3 named as exchanged");
}
