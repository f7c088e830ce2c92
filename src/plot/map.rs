//! Figure `map`: the loop seen from above with the gate, the direction of travel, the wind of each run, and where laps
//! disagree.
//!
//! Given the reference line in a local plane; draws it true to scale, north up, thicker and darker where the residual is
//! larger. No map material of others is used.

use super::figure::Figure;
use super::key::{self, Entry, Sample, heading, strip};
use super::lettering::Letters;
use super::polyline::{self, Frame, Point};
use super::scale::{Range, Ticks, number, plain};
use super::sheet::{Anchor, Note, Sheet};
use super::style::{Ink, PAPER, Stroke, Style, TEXT};
use super::wind_dial::{self, DialWind};
use crate::evidence::{Evidence, LinePoint};
use crate::solution::Solution;
use crate::wording::venue_name;

/// Steps of thickness and darkness.
const CLASSES: usize = 4;

/// See the module. `None` without positions.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let long = |metres: f64| style.units.length_value(metres);
    let in_unit =
        |p: &LinePoint| LinePoint { east_m: long(p.east_m), north_m: long(p.north_m), residual_m: long(p.residual_m) };
    let line: Vec<LinePoint> =
        evidence.reference_line.iter().filter(|p| p.east_m.abs() < 1e6 && p.north_m.abs() < 1e6).map(in_unit).collect();
    let east = Range::of(line.iter().map(|p| p.east_m))?;
    let north = Range::of(line.iter().map(|p| p.north_m))?;
    if line.len() < 3 || east.span().max(north.span()) <= 0.0 {
        return None;
    }
    let winds: Vec<DialWind> =
        solution.runs.iter().enumerate().filter_map(|(r, run)| wind_dial::of_run(r, &run.wind, style.units)).collect();

    let mut sheet = Sheet::new(*style);
    let title = format!("The {} from above", venue_name(&solution.circuit.kind));
    let mut top = heading(&mut sheet, &title);
    let steps = Steps::of(&line, style);
    if let Some(steps) = &steps {
        top = strip(&mut sheet, top, &steps.entries(&line, style));
    }

    let beside = !winds.is_empty() && !style.narrow();
    let room = Frame {
        left: 10.0,
        top: top + 6.0,
        right: style.width() - 10.0 - if beside { 52.0 } else { 0.0 },
        bottom: top + 6.0 + if style.narrow() { 70.0 } else { 96.0 },
    };
    let mm_per_m = (room.width() / east.span().max(1e-9)).min(room.height() / north.span().max(1e-9));
    let drawn_height = north.span() * mm_per_m;
    let dial_radius = if style.narrow() { 17.0 } else { 19.0 };
    let least = if beside { wind_dial::height(&sheet, dial_radius) } else { 12.0 };
    let map_height = drawn_height.max(least);
    let middle = Point::new((room.left + room.right) / 2.0, room.top + map_height / 2.0);
    let place = |p: &LinePoint| {
        Point::new(
            middle.x + (p.east_m - (east.low + east.high) / 2.0) * mm_per_m,
            middle.y - (p.north_m - (north.low + north.high) / 2.0) * mm_per_m,
        )
    };
    course(&mut sheet, &line, steps.as_ref(), &place);
    gate(&mut sheet, &line, &place, middle);

    let compass = evidence.line_by_compass;
    let mut bottom = scale_bar(&mut sheet, room.top + map_height + 8.0, room, mm_per_m, compass);
    if beside {
        let top = room.top + (map_height - least) / 2.0;
        wind_dial::draw(&mut sheet, style.width() - 27.0, top, dial_radius, &winds);
    } else if !winds.is_empty() {
        wind_dial::draw(&mut sheet, style.width() / 2.0, bottom + 2.0, dial_radius, &winds);
        bottom += 2.0 + wind_dial::height(&sheet, dial_radius);
    }
    let mut caption = String::from(if compass {
        "The line ridden, mean of all laps, true to scale and north up; the arrow at the gate shows the direction of travel."
    } else {
        "The track by its stated length, bends and transitions, true to scale; its bearing is not known and the home straight \
         points up. The arrow at the gate shows the direction of travel."
    });
    if steps.is_some() {
        caption.push_str(
            " Thicker and darker: places where the laps differ more from the common profile (root-mean-square residual).",
        );
    }
    if !winds.is_empty() {
        caption.push_str(
            " Dial: wind of each run at rider height with its standard errors, on the side where it blows from; numbers are \
             runs.",
        );
    }
    Figure::of(sheet, bottom + 1.0, "map", &title, caption)
}

/// Classes of residual.
struct Steps {
    /// Upper bound of each class, m.
    bounds: Vec<f64>,
    inks: Vec<Ink>,
}

impl Steps {
    fn of(line: &[LinePoint], style: &Style) -> Option<Steps> {
        let largest = Range::of(line.iter().map(|p| p.residual_m))?.high;
        let smallest = Range::of(line.iter().map(|p| p.residual_m))?.low;
        if largest <= 0.0 || largest - smallest < 1e-9 {
            return None;
        }
        let ticks = Ticks::new(Range { low: 0.0, high: largest }, CLASSES, style);
        let mut bounds: Vec<f64> = ticks.values.into_iter().filter(|v| *v > 0.0 && *v < largest).collect();
        bounds.push(largest);
        let dark = if style.grey { Ink::grey(0) } else { Ink::new(0, 72, 130) };
        let count = bounds.len();
        let mix = |to: u8, share: f64| (185.0 + (f64::from(to) - 185.0) * share).round() as u8;
        let inks = (0..count)
            .map(|i| {
                let share = (i + 1) as f64 / count as f64;
                Ink::new(mix(dark.red, share), mix(dark.green, share), mix(dark.blue, share))
            })
            .collect();
        Some(Steps { bounds, inks })
    }

    fn class(&self, residual: f64) -> usize {
        self.bounds.iter().position(|bound| residual <= *bound).unwrap_or(0)
    }

    fn stroke(&self, class: usize) -> Stroke {
        let ink = self.inks.get(class).copied().unwrap_or(TEXT);
        Stroke::new(ink, 0.7 + 1.6 * class as f64 / self.bounds.len().max(2) as f64)
    }

    /// Of the classes that occur on the line.
    fn entries(&self, line: &[LinePoint], style: &Style) -> Vec<Entry> {
        let unit = style.units.length_unit();
        let mut low = 0.0;
        let last = self.bounds.len() - 1;
        self.bounds
            .iter()
            .enumerate()
            .filter_map(|(class, bound)| {
                let text = if class == last && class > 0 {
                    format!("residual above {} {unit}", plain(low, style))
                } else {
                    format!("{} {unit} to {} {unit}", plain(low, style), plain(*bound, style))
                };
                low = *bound;
                let occurs = line.iter().any(|point| self.class(point.residual_m) == class);
                occurs.then(|| Entry::new(Sample::Line(self.stroke(class)), text))
            })
            .collect()
    }
}

/// The line, one piece for each stretch of one class.
fn course(sheet: &mut Sheet, line: &[LinePoint], steps: Option<&Steps>, place: &dyn Fn(&LinePoint) -> Point) {
    let whole = Frame { left: 0.0, top: 0.0, right: 1e4, bottom: 1e4 };
    let mut stretch: Vec<Point> = Vec::new();
    let mut class = 0;
    let flush = |sheet: &mut Sheet, stretch: &[Point], class: usize| {
        let stroke = steps.map_or(Stroke::new(TEXT, 0.8), |s| s.stroke(class));
        for piece in polyline::pieces(stretch.iter().copied(), &whole, 1.0) {
            sheet.line(&piece, stroke, &Note::default());
        }
    };
    for point in line.iter().chain(line.first()) {
        let at = place(point);
        let own = steps.map_or(0, |s| s.class(point.residual_m));
        stretch.push(at);
        if own != class && stretch.len() > 1 {
            flush(sheet, &stretch, class);
            stretch = vec![at];
        }
        class = own;
    }
    flush(sheet, &stretch, class);
}

/// A bar across the line, its name on the outer side, and an arrow along the first stretch.
fn gate(sheet: &mut Sheet, line: &[LinePoint], place: &dyn Fn(&LinePoint) -> Point, middle: Point) {
    let Some(first) = line.first().map(place) else { return };
    let Some(ahead) = line.iter().map(place).find(|p| (p.x - first.x).hypot(p.y - first.y) > 2.0) else { return };
    let length = (ahead.x - first.x).hypot(ahead.y - first.y);
    let (ux, uy) = ((ahead.x - first.x) / length, (ahead.y - first.y) / length);
    // The normal that points away from the middle of the loop.
    let side = if (first.x - middle.x) * -uy + (first.y - middle.y) * ux >= 0.0 { 1.0 } else { -1.0 };
    let (nx, ny) = (-uy * side, ux * side);
    let along =
        |forward: f64, out: f64| Point::new(first.x + forward * ux + out * nx, first.y + forward * uy + out * ny);
    sheet.rule(along(0.0, -2.6), along(0.0, 2.6), Stroke::new(PAPER, 1.6));
    sheet.rule(along(0.0, -2.4), along(0.0, 2.4), Stroke::new(TEXT, 0.8));
    sheet.rule(along(1.5, 2.2), along(7.0, 2.2), Stroke::new(TEXT, 0.35));
    sheet.area(&[along(8.8, 2.2), along(6.6, 3.1), along(6.6, 1.3)], TEXT, 1.0, &Note::default());
    let size = sheet.style.size(Letters::Small);
    let at = along(0.0, 4.2);
    let anchor = if nx > 0.4 {
        Anchor::Start
    } else if nx < -0.4 {
        Anchor::End
    } else {
        Anchor::Middle
    };
    let wide = sheet.width_of("gate", Letters::Small);
    let (from, to) = match anchor {
        Anchor::Start => (0.0, wide),
        Anchor::Middle => (wide / 2.0, wide / 2.0),
        Anchor::End => (wide, 0.0),
    };
    let x = at.x.clamp(key::MARGIN + from, sheet.style.width() - key::MARGIN - to);
    let base = at.y
        + if ny > 0.4 {
            size * 0.6
        } else if ny < -0.4 {
            0.0
        } else {
            size * 0.36
        };
    sheet.words_over(Point::new(x, base), "gate", Letters::Small, anchor, TEXT);
}

/// A round length under the map; returns how far down it reaches.
fn scale_bar(sheet: &mut Sheet, y: f64, room: Frame, mm_per_m: f64, compass: bool) -> f64 {
    let wanted = room.width() / 3.5 / mm_per_m;
    let power = 10f64.powf(wanted.log10().floor());
    let length = [5.0, 2.0, 1.0].into_iter().map(|m| m * power).find(|l| *l <= wanted).unwrap_or(power);
    let (left, right) = (room.left, room.left + length * mm_per_m);
    let stroke = Stroke::new(TEXT, 0.4);
    sheet.rule(Point::new(left, y), Point::new(right, y), stroke);
    for x in [left, right] {
        sheet.rule(Point::new(x, y - 1.0), Point::new(x, y + 1.0), stroke);
    }
    let way = if compass { ", north up" } else { ", home straight up" };
    let unit = sheet.style.units.length_unit();
    let text = if length >= 1000.0 && unit == "m" {
        format!("{} km{way}", plain(length / 1000.0, &sheet.style))
    } else {
        format!("{} {unit}{way}", number(length, if length < 1.0 { 2 } else { 0 }, &sheet.style))
    };
    let base = y + sheet.style.size(Letters::Small) * 0.36;
    sheet.words(Point::new(right + 2.0, base), &text, Letters::Small, Anchor::Start, TEXT);
    y + 3.0
}
