//! The length of a lap by positions alone, whatever the wheel says.
//!
//! Given places with their chainage along a loop; gives the length of the line they were seen on, less what averaging cuts
//! off its bends. It averages robustly and knows no wheel.

use super::lap_length::LengthReading;
use super::plane::Place;
use super::reference_line::{ReferenceLine, robust_mean, smooth};

/// Spacing of the vertices, m.
const SPACING_M: f64 = 5.0;
/// Standard deviation of the smoothing along the line, m, with few laps and with many.
const SMOOTHING_M: [f64; 2] = [7.0, 4.0];
const MANY: usize = 8;
/// Places further apart than this say nothing of the line between them, m.
const LONGEST_CHORD_M: f64 = 40.0;
/// Share of the vertices that must have been seen.
const SEEN: f64 = 0.95;
/// Bends tighter than this once smoothed are left to the wheel, 1/m, with so much of the line on either side, m: there averaging
/// cuts off more than can be put back.
const TIGHT_1_M: f64 = 1.0 / 22.0;
const TIGHT_REACH_M: f64 = 20.0;
/// Share of the lap that must be gentler.
const GENTLE: f64 = 0.4;
/// What stays wrong of an average of positions however long it is, share of the length, and the error of a lap's length that
/// averages out, m, over the time for which a position's error stays the same, s (common practice, no source; the studies in
/// `tests/on_the_loop` hold them).
const SYSTEMATIC: f64 = 0.0025;
const WANDER_M: f64 = 2.0;
const WANDER_TIME_S: f64 = 60.0;

/// Places of all laps, collected by vertex.
pub(super) struct Mapped {
    length_m: f64,
    seen: Vec<Vec<Place>>,
    /// Sum over the chords at a vertex of what a chord cuts off a bend there, per unit of curvature, m².
    cut_off_m2: Vec<f64>,
    time_s: f64,
}

/// A place with its chainage, counted on from lap to lap.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    pub time_s: f64,
    pub chainage_m: f64,
    pub place: Place,
}

impl Mapped {
    /// For a loop whose chainage grows by `length_m` a lap.
    pub(super) fn new(length_m: f64) -> Mapped {
        let n = ((length_m / SPACING_M).round() as usize).clamp(24, 20_000);
        Mapped { length_m, seen: vec![Vec::new(); n], cut_off_m2: vec![0.0; n], time_s: 0.0 }
    }

    /// Takes in places that follow each other.
    pub(super) fn add(&mut self, spots: impl Iterator<Item = Spot>) {
        let n = self.seen.len();
        let spacing = self.length_m / n as f64;
        let mut before: Option<Spot> = None;
        for b in spots {
            if let Some(a) = before
                && (0.0..LONGEST_CHORD_M).contains(&(b.chainage_m - a.chainage_m))
            {
                self.time_s += b.time_s - a.time_s;
                let mut k = (a.chainage_m / spacing).ceil();
                while k * spacing < b.chainage_m {
                    let (from, to) = (k * spacing - a.chainage_m, b.chainage_m - k * spacing);
                    let vertex = k.rem_euclid(n as f64) as usize % n;
                    self.seen[vertex].push(a.place.toward(b.place, from / (from + to)));
                    self.cut_off_m2[vertex] += 0.5 * from * to;
                    k += 1.0;
                }
            }
            before = Some(b);
        }
    }

    /// `None` where the places do not go round or bends are tight nearly everywhere.
    ///
    /// An average over a spread σ along the line lies σ²/2 · κ inside a bend of curvature κ, and so does the middle of a chord,
    /// so that the line is shorter by ∫ σ²/2 κ² ds, to second order in σκ; that is put back. Where bends are gentle the line is so many times
    /// as long as its chainage, and so is the lap.
    pub(super) fn length(&self) -> Option<LengthReading> {
        let n = self.seen.len();
        let count = self.seen.iter().filter(|s| !s.is_empty()).count();
        if (count as f64) < SEEN * n as f64 || self.time_s <= 0.0 {
            return None;
        }
        let spacing = self.length_m / n as f64;
        let laps = self.seen.iter().map(Vec::len).sum::<usize>() / n;
        let width_m = SMOOTHING_M[usize::from(laps >= MANY)].min(self.length_m / 40.0);
        let mean: Vec<Place> = self.seen.iter().map(|s| robust_mean(s)).collect();
        let line = ReferenceLine::of_places(smooth(&mean, width_m / spacing), self.length_m);
        let step = |i: usize| {
            let (a, b) = (line.place[i], line.place[(i + 1) % n]);
            (b.east_m - a.east_m).hypot(b.north_m - a.north_m)
        };
        let reach = (TIGHT_REACH_M / spacing).ceil() as usize;
        let is_gentle =
            |i: usize| (0..=2 * reach).all(|k| line.curvature_1_m[(i + n + k - reach) % n].abs() < TIGHT_1_M);
        let (mut seen_m, mut by_chainage_m) = (0.0, 0.0);
        for i in (0..n).filter(|i| is_gentle(*i)) {
            let chords = self.cut_off_m2[i] / self.seen[i].len().max(1) as f64;
            // Spreads are counted along the chainage, and the bend in metres seen.
            let seen_by_chainage = step(i) / spacing;
            let inside = (chords + 0.5 * width_m * width_m + spacing * spacing / 24.0) * seen_by_chainage.powi(2);
            seen_m += step(i) * (1.0 + inside * line.curvature_1_m[i].powi(2));
            by_chainage_m += spacing;
        }
        if by_chainage_m < GENTLE * self.length_m {
            return None;
        }
        let length_m = seen_m / by_chainage_m * self.length_m;
        let sd_m = (SYSTEMATIC * length_m).hypot(WANDER_M / (self.time_s / WANDER_TIME_S).sqrt());
        length_m.is_finite().then_some(LengthReading { length_m, sd_m })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{PI, TAU};

    /// Laps of a circle, seen every `chord_m`, with chainage counted by a wheel that is off by `scale`.
    fn round(radius_m: f64, laps: usize, chord_m: f64, scale: f64) -> Option<LengthReading> {
        let mut mapped = Mapped::new(TAU * radius_m * scale);
        let count = (laps as f64 * TAU * radius_m / chord_m) as usize;
        mapped.add((0..count).map(|i| {
            let way = i as f64 * chord_m;
            let (sin, cos) = (way / radius_m).sin_cos();
            let place = Place { east_m: radius_m * cos, north_m: radius_m * sin };
            Spot { time_s: way / 10.0, chainage_m: way * scale, place }
        }));
        mapped.length()
    }

    #[test]
    fn a_circle_has_its_length_whatever_the_wheel_and_however_coarse_the_chords() {
        for radius_m in [30.0, 80.0, 200.0] {
            for chord_m in [3.0, 8.0, 13.0] {
                // Where km/h stand for m/s the smoothing is so much shorter against the bend that a tight one is off by 2 %,
                // which hides no factor of 3.6.
                for scale in [0.9, 1.0, 1.02, 3.6].into_iter().filter(|s| *s < 2.0 || radius_m > 50.0) {
                    let Some(seen) = round(radius_m, 12, chord_m, scale) else {
                        assert!(chord_m * scale >= LONGEST_CHORD_M, "{radius_m} {chord_m} {scale}");
                        continue;
                    };
                    let relative = seen.length_m / (2.0 * PI * radius_m) - 1.0;
                    // Terms of fourth order in σκ are left; they must stay within the error that is stated for them.
                    assert!(relative.abs() < SYSTEMATIC, "{radius_m} {chord_m} {scale}: {relative}");
                }
            }
        }
    }

    #[test]
    fn half_a_circle_has_no_length() {
        assert_eq!(round(100.0, 0, 8.0, 1.0), None);
    }
}
