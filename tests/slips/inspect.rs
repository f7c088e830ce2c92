//! What `inspect` calls solvable is solved, and what is not solved was on its page.

use crate::day::{Dice, drums, scale, tyres};
use loopwright::analysis::inspection::inspect;
use loopwright::analysis::{Depth, RiddenSession, analyse};
use loopwright::finding::{RiddenAs, Slip, What};
use loopwright::record::Recording;
use loopwright::session::{Session, Venue};

/// Whether the ride is solved by itself, as a person would who reads the page.
fn is_solved(recording: &Recording, moves: bool) -> bool {
    let text = "[rider_and_bike]\nmass_kg = 88.0\n[[setup]]\nid = \"a\"\n[[run]]\nfile = \"a.fit\"\nsetup = \"a\"\n";
    let mut session = Session::from_toml(text, "s.toml").expect("a session");
    session.circuit.kind = if moves { Venue::Road } else { Venue::Rollers };
    let inputs = RiddenSession { session, recordings: vec![recording.clone()], weather: None, survey: None };
    analyse(&inputs, Depth { budget: true, draws: 0 }).is_ok()
}

#[test]
fn inspection_and_solution_agree_on_rides_sound_and_spoilt() {
    let ride = tyres(90).recordings[0].clone();
    let mut rides: Vec<(&str, Recording)> = vec![("sound", ride.clone()), ("drums", drums(90).recordings[0].clone())];
    for keep in [200, 320, 420] {
        let mut short = ride.clone();
        for column in [&mut short.time_s, &mut short.power_w, &mut short.speed_m_s, &mut short.distance_m] {
            column.truncate(keep);
        }
        for column in [&mut short.latitude_deg, &mut short.longitude_deg, &mut short.altitude_m] {
            column.truncate(keep);
        }
        short.cadence_rpm.truncate(keep);
        short.temperature_c.truncate(keep);
        rides.push(("short", short));
    }
    let mut virtual_ride = ride.clone();
    virtual_ride.findings.push(What::Slip(Slip::RiddenAs(RiddenAs::Virtual)));
    rides.push(("virtual", virtual_ride));
    let mut wrong_unit = ride.clone();
    scale(&mut wrong_unit.speed_m_s, 3.6);
    rides.push(("km/h for m/s", wrong_unit));
    let mut dice = Dice(3);
    let mut noise = ride.clone();
    noise.power_w.iter_mut().for_each(|p| *p = 1000.0 * dice.next());
    rides.push(("noise for power", noise));
    let mut half = ride;
    scale(&mut half.power_w, 0.5);
    rides.push(("half", half));
    for (name, recording) in rides {
        let held = inspect(&recording, None);
        assert_eq!(held.solvable, is_solved(&recording, held.moves != Some(false)), "{name}: {:?}", held.obstacles);
        assert_eq!(held.solvable, !held.obstacles.iter().any(|o| o.prevents), "{name}");
        if name == "half" {
            assert!(held.obstacles.iter().any(|o| o.code == "implausible"), "{:?}", held.obstacles);
        }
    }
}

#[test]
fn drop_outs_stand_among_the_obstacles() {
    let mut ride = tyres(91).recordings[0].clone();
    (0..ride.len()).filter(|i| i % 20 == 7).for_each(|i| ride.power_w[i] = 0.0);
    let held = inspect(&ride, None);
    let obstacle = held.obstacles.iter().find(|o| o.code == "power-drop-outs").expect("told");
    assert!(
        ["4.7 %", "4.8 %", "4.9 %", "5.0 %"].iter().any(|s| obstacle.what.contains(s)) && !obstacle.prevents,
        "{obstacle:?}"
    );
}
