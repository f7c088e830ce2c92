//! The wind of each run as a point in a dial, north up: how far out is how strong, the side is where it blows from, as in
//! every table.
//!
//! Given wind vectors with their standard errors; draws them with error bars and an arrow from the middle. It
//! estimates nothing.

use super::lettering::Letters;
use super::polyline::{Frame, Point};
use super::scale::{Range, Ticks, number, plain};
use super::sheet::{Anchor, Note, Sheet};
use super::style::{AXIS, GRID, MUTED, Stroke, TEXT};
use crate::solution::WindResult;
use crate::units::Units;

/// One wind to show.
#[derive(Debug, Clone, PartialEq)]
pub struct DialWind {
    /// From 0.
    pub run: usize,
    /// Where the air comes from: the opposite of the way it moves.
    pub east: f64,
    pub north: f64,
    pub east_se: f64,
    pub north_se: f64,
}

/// The wind of a run in components and in the reader's unit; `None` when it is not known or the air is still by statement.
pub fn of_run(run: usize, wind: &WindResult, units: Units) -> Option<DialWind> {
    if wind.speed_m_s == Some(0.0) && wind.east_m_s.se.is_none() {
        return None;
    }
    let finite = |v: Option<f64>| v.filter(|v| v.is_finite() && v.abs() < 1e3);
    let components = (finite(wind.east_m_s.value), finite(wind.north_m_s.value));
    let (east, north) = match components {
        (Some(east), Some(north)) => (-east, -north),
        _ => {
            let (sin, cos) = finite(wind.from_deg)?.to_radians().sin_cos();
            let speed = finite(wind.speed_m_s)?;
            (speed * sin, speed * cos)
        }
    };
    let se = |v: Option<f64>| finite(v).unwrap_or(0.0).max(0.0);
    let in_unit = |speed_m_s: f64| units.wind_value(speed_m_s);
    let (east_se, north_se) = (in_unit(se(wind.east_m_s.se)), in_unit(se(wind.north_m_s.se)));
    Some(DialWind { run, east: in_unit(east), north: in_unit(north), east_se, north_se })
}

/// Height of the dial with its words above and below, mm.
pub fn height(sheet: &Sheet, radius: f64) -> f64 {
    2.0 * radius + 2.0 * sheet.style.leading(Letters::Body) + 3.0 * sheet.style.leading(Letters::Small) + 2.0
}

/// Draws the dial with its upper edge at `top`.
pub fn draw(sheet: &mut Sheet, centre_x: f64, top: f64, radius: f64, winds: &[DialWind]) {
    let farthest = winds
        .iter()
        .map(|w| (w.east.abs() + w.east_se).hypot(w.north.abs() + w.north_se))
        .fold(0.0_f64, f64::max)
        .max(0.2);
    let rings = Ticks::new(Range { low: 0.0, high: farthest }, 4, &sheet.style);
    let step = rings.values.iter().copied().find(|v| *v > 0.0).unwrap_or(farthest);
    let outer = step * (farthest / step).ceil();
    let per_m_s = radius / outer;
    let small = sheet.style.size(Letters::Small);
    let title = "Wind, from where it blows";
    let base = top + sheet.style.size(Letters::Body);
    sheet.words(Point::new(centre_x, base), title, Letters::Body, Anchor::Middle, TEXT);
    let centre = Point::new(centre_x, base + sheet.style.leading(Letters::Small) + 1.6 + radius);
    sheet.words(Point::new(centre.x, centre.y - radius - 0.8), "N", Letters::Small, Anchor::Middle, MUTED);
    sheet.ring(centre, radius, Stroke::new(AXIS, 0.2), &Note::default());
    for value in rings.values.iter().filter(|v| **v > 0.0 && **v < outer * 0.999) {
        sheet.ring(centre, value * per_m_s, Stroke::new(GRID, 0.2), &Note::default());
    }
    for (dx, dy) in [(radius, 0.0), (0.0, radius)] {
        let (a, b) = (Point::new(centre.x - dx, centre.y - dy), Point::new(centre.x + dx, centre.y + dy));
        sheet.rule(a, b, Stroke::new(GRID, 0.15));
    }
    let place = |east: f64, north: f64| Point::new(centre.x + east * per_m_s, centre.y - north * per_m_s);
    // The wind is no set-up's: it gets no set-up's ink.
    let ink = MUTED;
    for wind in winds {
        let at = place(wind.east, wind.north);
        let bars = [
            (place(wind.east - wind.east_se, wind.north), place(wind.east + wind.east_se, wind.north)),
            (place(wind.east, wind.north - wind.north_se), place(wind.east, wind.north + wind.north_se)),
        ];
        sheet.rule(centre, at, Stroke::new(ink, 0.25));
        for (from, to) in bars {
            sheet.rule(from, to, Stroke::new(ink, 0.2));
        }
        let tip = format!(
            "run {}: {} {}",
            wind.run + 1,
            number(wind.east.hypot(wind.north), 1, &sheet.style),
            sheet.style.units.wind_unit()
        );
        sheet.disc(at, 0.65, ink, &Note::tip(tip));
    }
    number_points(sheet, winds, centre, radius, &place);
    let spacing = plain(step, &sheet.style);
    let unit = sheet.style.units.wind_unit();
    let below = centre.y + radius + small * 1.25;
    let mut say = |lines: f64, text: &str| {
        let at = Point::new(centre.x, below + lines * sheet.style.leading(Letters::Small));
        sheet.words(at, text, Letters::Small, Anchor::Middle, MUTED);
    };
    say(0.0, &format!("rings every {spacing} {unit}"));
    say(1.0, "numbers: runs");
}

/// Run numbers right beside their points, outward first; where no place is free, over an error bar rather than far away.
fn number_points(sheet: &mut Sheet, winds: &[DialWind], centre: Point, radius: f64, place: &dyn Fn(f64, f64) -> Point) {
    let size = sheet.style.size(Letters::Small);
    let points: Vec<Point> = winds.iter().map(|w| place(w.east, w.north)).collect();
    let box_of = |a: Point, b: Point, room: f64| Frame {
        left: a.x.min(b.x) - room,
        right: a.x.max(b.x) + room,
        top: a.y.min(b.y) - room,
        bottom: a.y.max(b.y) + room,
    };
    let mut taken: Vec<Frame> = points.iter().map(|p| box_of(*p, *p, 0.7)).collect();
    let mut bars: Vec<Frame> = Vec::new();
    for w in winds {
        let level = (place(w.east - w.east_se, w.north), place(w.east + w.east_se, w.north));
        let upright = (place(w.east, w.north - w.north_se), place(w.east, w.north + w.north_se));
        bars.extend([level, upright].map(|(a, b)| box_of(a, b, 0.2)));
    }
    for (wind, point) in winds.iter().zip(&points) {
        let text = format!("{}", wind.run + 1);
        let width = sheet.width_of(&text, Letters::Small);
        let outward = (point.y - centre.y).atan2(point.x - centre.x);
        let angles = || (0..16).map(|i| outward + f64::from(i) * std::f64::consts::FRAC_PI_8);
        let tries = [(1.3, true), (1.3, false), (2.1, true), (2.1, false)];
        let tries = tries.into_iter().flat_map(|(away, clear)| angles().map(move |angle| (angle, away, clear)));
        let free = tries.into_iter().find_map(|(angle, away, clear_of_bars)| {
            let (dx, dy) = (angle.cos() * (away + width / 2.0), angle.sin() * (away - 0.3 + size / 2.0));
            let middle = Point::new(point.x + dx, point.y + dy);
            let frame = Frame {
                left: middle.x - width / 2.0 - 0.2,
                right: middle.x + width / 2.0 + 0.2,
                top: middle.y - size * 0.45,
                bottom: middle.y + size * 0.45,
            };
            let inside = (middle.x - centre.x).hypot(middle.y - centre.y) < radius - size * 0.6;
            let clear = taken
                .iter()
                .chain(bars.iter().filter(|_| clear_of_bars))
                .all(|t| frame.right < t.left || frame.left > t.right || frame.bottom < t.top || frame.top > t.bottom);
            (inside && clear).then_some(frame)
        });
        if let Some(frame) = free {
            let base = Point::new((frame.left + frame.right) / 2.0, (frame.top + frame.bottom) / 2.0 + size * 0.36);
            sheet.words_over(base, &text, Letters::Small, Anchor::Middle, TEXT);
            taken.push(frame);
        }
    }
}
