//! Tests of power drop-outs: what is a fault of the meter and what is a rider who stops pedalling.

use super::*;

/// A minute at 250 W and 11 m/s, with zeros from `at` on; `falls` is by how much speed falls while they last, m/s a second.
struct Made {
    power_w: Vec<f64>,
    speed_m_s: Vec<f64>,
    cadence_rpm: Vec<f64>,
}

impl Made {
    fn with_zeros(at: usize, count: usize, falls: f64) -> Made {
        let n = 60;
        let mut made = Made { power_w: vec![0.0; n], speed_m_s: vec![11.0; n], cadence_rpm: vec![f64::NAN; n] };
        for i in 0..n {
            let lost = i.clamp(at, at + count) - at;
            made.speed_m_s[i] -= falls * lost as f64;
            // A meter scatters.
            made.power_w[i] = if (at..at + count).contains(&i) { 0.0 } else { 250.0 + (i % 5) as f64 * 4.0 };
        }
        made
    }

    fn cadence(mut self, rpm: f64, rpm_in_zeros: f64) -> Made {
        self.cadence_rpm = self.power_w.iter().map(|p| if *p == 0.0 { rpm_in_zeros } else { rpm }).collect();
        self
    }

    fn found(&self) -> DropOuts {
        let time_s: Vec<f64> = (0..60).map(f64::from).collect();
        drop_outs(&Columns {
            time_s: &time_s,
            power_w: &self.power_w,
            speed_m_s: &self.speed_m_s,
            cadence_rpm: &self.cadence_rpm,
            stretch: &[0; 60],
        })
    }
}

/// Freewheeling at 250 W and 11 m/s: 250 / (85 · 11) = 0.27 m/s a second, by arithmetic.
const FREEWHEELING: f64 = 0.27;

#[test]
fn a_single_zero_among_pedalling_seconds_is_bridged() {
    let made = Made::with_zeros(30, 1, 0.0);
    let found = made.found();
    assert_eq!((&found.bridged[..], &found.lost[..]), (&[30][..], &[][..]));
    assert!((found.share - 1.0 / 60.0).abs() < 1e-12);
    let time_s: Vec<f64> = (0..60).map(f64::from).collect();
    let mended = found.mended(&time_s, &made.power_w);
    assert!((mended[30] - 0.5 * (made.power_w[29] + made.power_w[31])).abs() < 1e-9);
}

#[test]
fn several_zeros_are_a_fault_where_the_crank_turns_or_speed_holds() {
    assert_eq!(Made::with_zeros(30, 3, FREEWHEELING).cadence(90.0, 88.0).found().bridged, [30, 31, 32]);
    assert_eq!(Made::with_zeros(30, 2, 0.0).found().bridged, [30, 31]);
    assert_eq!(Made::with_zeros(30, 6, 0.0).found().lost, [30, 31, 32, 33, 34, 35]);
}

#[test]
fn a_rider_who_freewheels_keeps_the_zeros() {
    for count in 2..12 {
        let by_cadence = Made::with_zeros(25, count, FREEWHEELING).cadence(90.0, 0.0).found();
        let by_speed = Made::with_zeros(25, count, FREEWHEELING).found();
        assert_eq!((by_cadence.count(), by_speed.count()), (0, 0), "{count} s");
    }
    // A crank at rest is believed for several seconds even where speed holds, as down a hill.
    assert_eq!(Made::with_zeros(25, 4, 0.0).cadence(90.0, 0.0).found().count(), 0);
}

#[test]
fn zeros_at_the_ends_in_a_standstill_or_across_a_gap_are_left_alone() {
    assert_eq!(Made::with_zeros(0, 1, 0.0).found().count(), 0);
    assert_eq!(Made::with_zeros(59, 1, 0.0).found().count(), 0);
    let mut slow = Made::with_zeros(30, 1, 0.0);
    slow.speed_m_s = vec![1.0; 60];
    assert_eq!(slow.found().count(), 0);
    // Riders who hold back after a fast lap pedal softly.
    let mut soft = Made::with_zeros(30, 1, 0.0);
    soft.power_w.iter_mut().for_each(|p| *p *= 0.12);
    assert_eq!(soft.found().bridged, [30]);
    let mut weak = Made::with_zeros(30, 1, 0.0);
    weak.power_w[29] = 40.0;
    assert_eq!(weak.found().count(), 0, "the power beside it had gone down already");
}
