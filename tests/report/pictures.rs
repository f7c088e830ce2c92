//! Every figure as a PNG: its size, its words where the SVG has them, its lines where a browser paints those of the SVG, and
//! the same bytes twice. The pictures are also left in the test folder of the target directory, to be looked at.

use crate::made_up::{self, Request, day};
use crate::reading::{self, Words};
use loopwright::plot::{Figure, Style, draw_all};
use png::{ColorType, Decoder, Unit};
use std::io::Cursor;
use std::path::PathBuf;

/// Units of a view box to the dot: 16 to the mm and 300 dots to the inch.
const UNITS_PER_DOT: f64 = 16.0 * 25.4 / 300.0;
/// Levels of grey below which a dot counts as ink of words; grid and bands are paler.
const DARK: u8 = 140;

/// Levels by which two painters may differ, less than a grid line differs from paper.
const LEVELS: u8 = 16;

/// A picture read back.
struct Dots {
    width: usize,
    height: usize,
    dots_per_metre: Option<(u32, u32)>,
    /// Red, green and blue of each.
    levels: Vec<[u8; 3]>,
}

impl Dots {
    fn read(bytes: &[u8]) -> Dots {
        let mut reader = Decoder::new(Cursor::new(bytes)).read_info().expect("a PNG");
        let mut raw = vec![0; reader.output_buffer_size().expect("a size")];
        let frame = reader.next_frame(&mut raw).expect("whole");
        let channels = if frame.color_type == ColorType::Rgba { 4 } else { 3 };
        assert!(matches!(frame.color_type, ColorType::Rgb | ColorType::Rgba));
        let stated = reader.info().pixel_dims.filter(|d| d.unit == Unit::Meter);
        Dots {
            width: frame.width as usize,
            height: frame.height as usize,
            dots_per_metre: stated.map(|d| (d.xppu, d.yppu)),
            levels: raw.chunks_exact(channels).map(|dot| [dot[0], dot[1], dot[2]]).collect(),
        }
    }

    fn at(&self, x: usize, y: usize) -> [u8; 3] {
        self.levels[y * self.width + x]
    }

    /// Whether a colour lies between those of this dot and the ones beside it, as the edge of a form does that is up to a dot
    /// apart.
    fn passes(&self, x: usize, y: usize, colour: [u8; 3]) -> bool {
        let (mut low, mut high) = ([255; 3], [0; 3]);
        for y in y.saturating_sub(1)..(y + 2).min(self.height) {
            for dot in (x.saturating_sub(1)..(x + 2).min(self.width)).map(|x| self.at(x, y)) {
                low = std::array::from_fn(|i| dot[i].min(low[i]));
                high = std::array::from_fn(|i| dot[i].max(high[i]));
            }
        }
        (0..3).all(|i| colour[i].saturating_add(LEVELS) >= low[i] && colour[i] <= high[i].saturating_add(LEVELS))
    }

    /// How many dots of a part of the sheet, in units, are dark.
    fn dark(&self, left: f64, right: f64, top: f64, bottom: f64) -> usize {
        let range = |low: f64, high: f64, most: usize| {
            let dot = |units: f64| ((units / UNITS_PER_DOT).round().max(0.0) as usize).min(most);
            dot(low)..dot(high)
        };
        let rows = range(top, bottom, self.height);
        let is_dark = |dot: [u8; 3]| dot.iter().all(|level| *level < DARK);
        rows.map(|y| range(left, right, self.width).filter(|x| is_dark(self.at(*x, y))).count()).sum()
    }
}

fn painted(request: Request, style: &Style) -> Vec<Figure> {
    let day = day(request);
    let style = Style { picture: true, ..*style };
    let mut figures = draw_all(&day.solution, &day.evidence, &style);
    figures.extend(made_up::generic::figures(request, &style));
    figures
}

fn dots(figure: &Figure) -> Dots {
    Dots::read(figure.png.as_ref().expect("painted"))
}

fn folder() -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("pictures");
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    folder
}

#[test]
fn a_picture_has_the_size_of_the_sheet_at_300_dots_an_inch() {
    for (width_mm, across) in [(160.0, 1890), (80.0, 945)] {
        for figure in painted(Request::new(3, 8), &Style { width_mm, ..Style::default() }) {
            let dots = dots(&figure);
            let [_, height] = reading::view_box(&figure.svg);
            assert_eq!(dots.width, across, "{}", figure.name);
            assert_eq!(dots.height, (height / UNITS_PER_DOT).round() as usize, "{}", figure.name);
            assert_eq!(dots.dots_per_metre, Some((11811, 11811)));
            std::fs::write(folder().join(format!("{}-{width_mm}.png", figure.name)), figure.png.as_ref().unwrap())
                .unwrap();
        }
    }
}

#[test]
fn a_figure_is_painted_only_where_asked_and_the_svg_is_the_same() {
    let day = day(Request::new(2, 6));
    let plain = draw_all(&day.solution, &day.evidence, &Style::default());
    let with = draw_all(&day.solution, &day.evidence, &Style { picture: true, ..Style::default() });
    assert!(plain.iter().all(|f| f.png.is_none()));
    assert!(with.iter().all(|f| f.png.is_some()));
    assert!(plain.iter().zip(&with).all(|(a, b)| a.svg == b.svg));
}

#[test]
fn the_same_figure_gives_the_same_picture() {
    let request = Request { long_names: true, ..Request::new(4, 6) };
    for (one, other) in painted(request, &Style::default()).iter().zip(&painted(request, &Style::default())) {
        assert!(one.png == other.png, "{}", one.name);
    }
}

#[test]
fn words_stand_where_they_were_laid_out() {
    let requests = [
        Request::new(3, 8),
        Request { long_names: true, ..Request::new(7, 4) },
        Request { rollers: true, ..Request::new(3, 10) },
        Request { mixed: true, ..Request::new(3, 8) },
    ];
    let mut words_seen = 0;
    for request in requests {
        for figure in painted(request, &Style::default()) {
            let (dots, words) = (dots(&figure), reading::words(&figure.svg));
            for w in words.iter().filter(|w| w.text.chars().any(char::is_alphanumeric)) {
                // Thin letters and a rim of half-covered dots: a twentieth of the room is dark at least.
                let room = (w.right - w.left) * (w.bottom - w.top) / UNITS_PER_DOT.powi(2);
                let dark = dots.dark(w.left, w.right, w.top, w.bottom);
                assert!(dark as f64 > room / 20.0, "{}: «{}» has {dark} dark dots of {room:.0}", figure.name, w.text);
                // Letters of this font are little narrower than the room, so a word of some length reaches both its ends.
                let ends = [(w.left, w.left + 0.4 * (w.right - w.left)), (w.right - 0.4 * (w.right - w.left), w.right)];
                for (left, right) in ends.into_iter().filter(|_| w.text.chars().count() > 3) {
                    assert!(
                        dots.dark(left, right, w.top, w.bottom) > 0,
                        "{}: an end of «{}» is empty",
                        figure.name,
                        w.text
                    );
                }
                words_seen += 1;
            }
            let heading = &words[0];
            let behind = dots.dark(heading.right + 1.0, dots.width as f64 * UNITS_PER_DOT, heading.top, heading.bottom);
            let before = dots.dark(0.0, heading.left - 1.0, heading.top, heading.bottom);
            assert_eq!((before, behind), (0, 0), "{}: ink beside the heading «{}»", figure.name, heading.text);
        }
    }
    assert!(words_seen > 500, "{words_seen} words");
}

/// The picture that headless Chromium takes of an SVG at the same scale.
fn in_browser(chromium: &std::path::Path, figure: &Figure, dots: &Dots) -> Dots {
    let scale = 300.0 / 96.0;
    let side = |dots: usize| (dots as f64 / scale).ceil() as usize;
    let (page, shot) =
        (folder().join(format!("{}.html", figure.name)), folder().join(format!("{}-browser.png", figure.name)));
    std::fs::write(&page, format!("<!doctype html><style>*{{margin:0}}svg{{display:block}}</style>{}", figure.svg))
        .unwrap();
    let arguments = [
        format!("--force-device-scale-factor={scale}"),
        format!("--window-size={},{}", side(dots.width) + 1, side(dots.height) + 1),
        format!("--screenshot={}", shot.display()),
    ];
    reading::browse(chromium, &arguments.each_ref().map(String::as_str), &page);
    Dots::read(&std::fs::read(shot).expect("a screenshot"))
}

#[test]
fn lines_and_forms_stand_where_a_browser_paints_them() {
    let Some(chromium) = reading::chromium() else {
        reading::missing("Chromium");
        return;
    };
    // Lines of every dash, bands, rings, boxes, all forms of points.
    let kinds = ["differences", "elevation", "misclosure", "joint-region", "map", "warm-up"];
    let mut figures = painted(Request::new(7, 4), &Style::default());
    figures.extend(painted(Request { rollers: true, ..Request::new(2, 10) }, &Style::default()));
    figures.retain(|f| kinds.contains(&f.name));
    figures.dedup_by(|a, b| a.name == b.name);
    assert!(figures.len() >= kinds.len());
    for figure in figures {
        let ours = dots(&figure);
        std::fs::write(folder().join(format!("{}-ours.png", figure.name)), figure.png.as_ref().unwrap()).unwrap();
        let theirs = in_browser(&chromium, &figure, &ours);
        // Letters are those of another font; their rooms, with the rim around them, are left out.
        let rim = 20.0;
        let rooms: Vec<Words> = reading::words(&figure.svg);
        let is_word = |x: usize, y: usize| {
            let (x, y) = (x as f64 * UNITS_PER_DOT, y as f64 * UNITS_PER_DOT);
            rooms.iter().any(|w| x > w.left - rim && x < w.right + rim && y > w.top - rim && y < w.bottom + rim)
        };
        let (mut inked, mut apart) = (0, 0);
        for y in 0..ours.height.min(theirs.height) {
            for x in 0..ours.width.min(theirs.width) {
                let (a, b) = (ours.at(x, y), theirs.at(x, y));
                if (a != [255; 3] || b != [255; 3]) && !is_word(x, y) {
                    inked += 1;
                    // The browser sets its sheet on whole dots of the screen, so lines may be a dot apart.
                    apart += usize::from(!theirs.passes(x, y, a) || !ours.passes(x, y, b));
                }
            }
        }
        assert!(inked > 1000, "{}: {inked} inked dots", figure.name);
        assert!(apart * 100 < inked, "{}: {apart} of {inked} dots are apart", figure.name);
    }
}
