//! White paper in dots: forms are laid on it with an ink, smooth at their edges, and it becomes a PNG.
//!
//! Given paths in dots; gives the bytes of the file. It knows nothing of marks or letters.

use super::style::Ink;
use png::{BitDepth, ColorType, Encoder, PixelDimensions, Unit};
use zeno::{Command, Mask, Point, Style};

/// What printers of journals ask of lines and letters (common practice, no source).
pub const DOTS_PER_INCH: f64 = 300.0;
/// As the file states it.
const DOTS_PER_METRE: u32 = (DOTS_PER_INCH / 0.0254) as u32;
/// Most dots of a sheet; more would take a gigabyte.
const MOST_DOTS: usize = 1 << 28;

/// A sheet of dots, each red, green and blue.
pub struct Canvas {
    width: u32,
    height: u32,
    dots: Vec<u8>,
}

/// Part of the canvas, dots.
struct Window {
    left: u32,
    top: u32,
    width: u32,
    height: u32,
}

impl Canvas {
    /// White paper; `None` when it would be too large.
    pub fn new(width: u32, height: u32) -> Option<Canvas> {
        let count = (width as usize).checked_mul(height as usize).filter(|count| *count <= MOST_DOTS)?;
        Some(Canvas { width, height, dots: vec![255; 3 * count] })
    }

    /// Lays a form on the paper: filled, or its line.
    pub fn lay(&mut self, path: &[Command], style: Style, ink: Ink, opacity: f64) {
        let reach = match style {
            Style::Stroke(stroke) => stroke.width,
            Style::Fill(_) => 0.0,
        };
        let Some(window) = self.window(path, reach) else { return };
        let offset = (-(window.left as f32), -(window.top as f32));
        let (cover, _) = Mask::new(path).style(style).offset(offset).size(window.width, window.height).render();
        // Parts of 255, so that rounding is the same everywhere.
        let opaque = (opacity.clamp(0.0, 1.0) * 255.0).round() as u32;
        let ink = [ink.red, ink.green, ink.blue];
        for (row, covered) in cover.chunks_exact(window.width as usize).enumerate() {
            let start = 3 * ((window.top as usize + row) * self.width as usize + window.left as usize);
            let dots = &mut self.dots[start..start + 3 * covered.len()];
            for (dot, &cover) in dots.chunks_exact_mut(3).zip(covered).filter(|(_, cover)| **cover > 0) {
                let share = u32::from(cover) * opaque;
                for (paper, ink) in dot.iter_mut().zip(ink) {
                    let mixed = u32::from(*paper) * (255 * 255 - share) + u32::from(ink) * share;
                    *paper = ((mixed + 255 * 255 / 2) / (255 * 255)) as u8;
                }
            }
        }
    }

    /// What of the canvas a path and its line can touch; `None` when nothing.
    fn window(&self, path: &[Command], reach: f32) -> Option<Window> {
        let mut low = Point::new(f32::INFINITY, f32::INFINITY);
        let mut high = Point::new(f32::NEG_INFINITY, f32::NEG_INFINITY);
        for point in path.iter().flat_map(points) {
            low = Point::new(low.x.min(point.x), low.y.min(point.y));
            high = Point::new(high.x.max(point.x), high.y.max(point.y));
        }
        // Where a number is not finite the conversions end at the edges of the canvas.
        let first = |x: f32| (x - reach).floor().max(0.0) as u32;
        let behind = |x: f32, most: u32| ((x + reach).ceil().max(0.0) as u32).min(most);
        let (left, top) = (first(low.x), first(low.y));
        let width = behind(high.x, self.width).checked_sub(left)?;
        let height = behind(high.y, self.height).checked_sub(top)?;
        (width > 0 && height > 0).then_some(Window { left, top, width, height })
    }

    /// The file; `None` when it cannot be encoded.
    pub fn png(&self) -> Option<Vec<u8>> {
        let mut bytes = Vec::new();
        let mut encoder = Encoder::new(&mut bytes, self.width, self.height);
        encoder.set_color(ColorType::Rgb);
        encoder.set_depth(BitDepth::Eight);
        encoder.set_pixel_dims(Some(PixelDimensions { xppu: DOTS_PER_METRE, yppu: DOTS_PER_METRE, unit: Unit::Meter }));
        let mut writer = encoder.write_header().ok()?;
        writer.write_image_data(&self.dots).ok()?;
        writer.finish().ok()?;
        Some(bytes)
    }
}

/// The points of one step of a path, those that pull at a curve too.
fn points(command: &Command) -> impl Iterator<Item = Point> + use<> {
    let points = match *command {
        Command::MoveTo(to) | Command::LineTo(to) => [Some(to), None, None],
        Command::QuadTo(pull, to) => [Some(pull), Some(to), None],
        Command::CurveTo(pull, other, to) => [Some(pull), Some(other), Some(to)],
        Command::Close => [None, None, None],
    };
    points.into_iter().flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use zeno::{Fill, PathBuilder, Stroke};

    const BLACK: Ink = Ink::grey(0);

    fn laid(path: &[Command], style: Style, opacity: f64) -> Canvas {
        let mut canvas = Canvas::new(8, 4).unwrap();
        canvas.lay(path, style, BLACK, opacity);
        canvas
    }

    fn level(canvas: &Canvas, x: usize, y: usize) -> u8 {
        canvas.dots[3 * (y * canvas.width as usize + x)]
    }

    fn area(left: f32, top: f32, width: f32, height: f32) -> Vec<Command> {
        let mut path = Vec::new();
        path.add_rect((left, top), width, height);
        path
    }

    #[test]
    fn ink_covers_a_dot_by_the_share_that_lies_under_the_form() {
        let canvas = laid(&area(2.0, 1.0, 1.5, 2.0), Fill::NonZero.into(), 1.0);
        assert_eq!([1, 2, 3, 4].map(|x| level(&canvas, x, 1)), [255, 0, 128, 255]);
        assert_eq!([0, 1, 2, 3].map(|y| level(&canvas, 2, y)), [255, 0, 0, 255]);
    }

    #[test]
    fn paper_shows_through_ink_that_is_not_opaque() {
        assert_eq!(level(&laid(&area(0.0, 0.0, 8.0, 4.0), Fill::NonZero.into(), 0.2), 3, 3), 204);
    }

    #[test]
    fn forms_that_leave_the_canvas_are_cut_and_far_or_endless_ones_cost_nothing() {
        let canvas = laid(&area(-1e6, -1e6, 2e6, 1e6 + 2.0), Fill::NonZero.into(), 1.0);
        assert_eq!([0, 1, 2, 3].map(|y| level(&canvas, 5, y)), [0, 0, 255, 255]);
        for path in [area(1e6, 1.0, 5.0, 5.0), area(f32::NAN, 1.0, 1.0, 1.0), Vec::new()] {
            assert!(laid(&path, Fill::NonZero.into(), 1.0).dots.iter().all(|level| *level == 255));
        }
        let mut endless = Vec::new();
        endless.move_to((-1e6, 2.0)).line_to((1e6, 2.0));
        let stroke = Stroke::new(2.0);
        assert_eq!([0, 1, 2, 3].map(|y| level(&laid(&endless, stroke.into(), 1.0), 7, y)), [255, 0, 0, 255]);
    }

    #[test]
    fn paper_that_would_take_gigabytes_is_refused() {
        assert!(Canvas::new(u32::MAX, u32::MAX).is_none() && Canvas::new(1 << 20, 1 << 20).is_none());
    }
}
