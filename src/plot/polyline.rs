//! Lines made light: broken where values are missing, cut at the panel, thinned to what the eye can see.
//!
//! Given points in mm on the sheet; gives runs of points ready to draw. It knows nothing of data or axes.

use geo::{Coord, LineString, Simplify};

/// A place on the sheet, mm from its upper left corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    pub x: f64,
    pub y: f64,
}

impl Point {
    pub const fn new(x: f64, y: f64) -> Self {
        Point { x, y }
    }

    fn finite(&self) -> bool {
        self.x.is_finite() && self.y.is_finite()
    }
}

/// A rectangle on the sheet, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Frame {
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    pub fn height(&self) -> f64 {
        self.bottom - self.top
    }

    pub fn holds(&self, point: Point) -> bool {
        point.x >= self.left && point.x <= self.right && point.y >= self.top && point.y <= self.bottom
    }
}

/// Columns this wide, mm, keep only their first, lowest, highest and last point.
const COLUMN_MM: f64 = 0.25;
/// A point nearer than this to the line through its neighbours is dropped, mm.
const TOLERANCE_MM: f64 = 0.05;

/// Breaks the points where one is missing, cuts them at the frame and thins each piece. `coarseness` is 1 for a line
/// that stands alone and more where many lines share a figure.
pub fn pieces(points: impl IntoIterator<Item = Point>, frame: &Frame, coarseness: f64) -> Vec<Vec<Point>> {
    let mut all = Vec::new();
    let mut piece: Vec<Point> = Vec::new();
    let mut before: Option<Point> = None;
    for point in points {
        if !point.finite() {
            finish(&mut piece, &mut all, coarseness);
            before = None;
            continue;
        }
        if let Some(start) = before {
            match cut(start, point, frame) {
                Some(segment) => {
                    if piece.last() != Some(&segment.from) {
                        finish(&mut piece, &mut all, coarseness);
                        piece.push(segment.from);
                    }
                    piece.push(segment.to);
                }
                None => finish(&mut piece, &mut all, coarseness),
            }
        }
        before = Some(point);
    }
    finish(&mut piece, &mut all, coarseness);
    all
}

fn finish(piece: &mut Vec<Point>, all: &mut Vec<Vec<Point>>, coarseness: f64) {
    if piece.len() > 1 {
        all.push(simplify(&columns(piece, COLUMN_MM * coarseness), TOLERANCE_MM * coarseness));
    }
    piece.clear();
}

struct Segment {
    from: Point,
    to: Point,
}

/// The part of a segment inside the frame (Liang & Barsky 1984, ACM Trans. Graph. 3:1).
fn cut(from: Point, to: Point, frame: &Frame) -> Option<Segment> {
    if frame.holds(from) && frame.holds(to) {
        return Some(Segment { from, to });
    }
    let (dx, dy) = (to.x - from.x, to.y - from.y);
    let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
    for (p, q) in
        [(-dx, from.x - frame.left), (dx, frame.right - from.x), (-dy, from.y - frame.top), (dy, frame.bottom - from.y)]
    {
        if p == 0.0 {
            if q < 0.0 {
                return None;
            }
        } else if p < 0.0 {
            enter = enter.max(q / p);
        } else {
            leave = leave.min(q / p);
        }
    }
    if enter > leave {
        return None;
    }
    let at = |t: f64| Point::new(from.x + t * dx, from.y + t * dy);
    let start = if enter > 0.0 { at(enter) } else { from };
    let end = if leave < 1.0 { at(leave) } else { to };
    Some(Segment { from: start, to: end })
}

/// Keeps first, lowest, highest and last of the neighbours that fall into one narrow column: the outline of a noisy
/// series stays as it is.
fn columns(points: &[Point], width_mm: f64) -> Vec<Point> {
    let column = |point: &Point| (point.x / width_mm).floor();
    let mut kept = Vec::with_capacity(points.len().min(4096));
    let mut start = 0;
    while start < points.len() {
        let mut end = start + 1;
        while end < points.len() && column(&points[end]) == column(&points[start]) {
            end += 1;
        }
        let group = &points[start..end];
        if group.len() <= 4 {
            kept.extend_from_slice(group);
        } else {
            let by_height = |a: &usize, b: &usize| group[*a].y.total_cmp(&group[*b].y);
            let mut places = vec![
                0,
                (0..group.len()).min_by(by_height).unwrap_or(0),
                (0..group.len()).max_by(by_height).unwrap_or(0),
            ];
            places.push(group.len() - 1);
            places.sort_unstable();
            places.dedup();
            kept.extend(places.into_iter().map(|place| group[place]));
        }
        start = end;
    }
    kept
}

/// Ramer–Douglas–Peucker.
fn simplify(points: &[Point], tolerance_mm: f64) -> Vec<Point> {
    let line: LineString<f64> = points.iter().map(|p| Coord { x: p.x, y: p.y }).collect();
    line.simplify(tolerance_mm).into_iter().map(|c| Point::new(c.x, c.y)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Frame = Frame { left: 0.0, top: 0.0, right: 100.0, bottom: 50.0 };

    #[test]
    fn a_missing_value_breaks_the_line_in_two() {
        let points = [1.0, 2.0, f64::NAN, 3.0, 4.0].map(|x| Point::new(x, 10.0));
        assert_eq!(pieces(points, &FRAME, 1.0).len(), 2);
    }

    #[test]
    fn a_line_that_leaves_the_frame_is_cut_at_its_edge() {
        let cut = pieces([Point::new(50.0, 25.0), Point::new(50.0, 75.0)], &FRAME, 1.0);
        assert_eq!(cut, vec![vec![Point::new(50.0, 25.0), Point::new(50.0, 50.0)]]);
    }

    #[test]
    fn a_line_that_passes_outside_leaves_nothing() {
        assert!(pieces([Point::new(-10.0, -5.0), Point::new(110.0, -5.0)], &FRAME, 1.0).is_empty());
    }

    #[test]
    fn a_day_of_noise_is_thinned_and_keeps_its_extremes() {
        let points: Vec<Point> = (0..86_400)
            .map(|i| Point::new(f64::from(i) / 864.0, 25.0 + 20.0 * f64::from(i * 7919 % 101) / 101.0))
            .collect();
        let thin = pieces(points.iter().copied(), &FRAME, 1.0);
        let count: usize = thin.iter().map(Vec::len).sum();
        assert!(count <= 4 * 401, "{count} points are left");
        let top = |all: &[Point]| all.iter().map(|p| p.y).fold(f64::MIN, f64::max);
        assert_eq!(top(&thin.concat()), top(&points));
    }

    #[test]
    fn huge_and_missing_coordinates_do_no_harm() {
        let odd = [f64::MAX, f64::MIN, f64::INFINITY, f64::NAN, 0.0, 1e300].map(|v| Point::new(v, v));
        let _ = pieces(odd, &FRAME, 1.0);
    }
}
