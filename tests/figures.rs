//! Every figure as SVG text: nothing overlaps or leaves the sheet, the same input gives the same bytes, and no input
//! makes it panic. The figures are also left in the test folder of the target directory, to be looked at.

mod made_up;

use loopwright::plot::{Figure, Style, draw_all};
use made_up::{Request, day};

fn figures(request: Request, style: &Style) -> Vec<Figure> {
    let day = day(request);
    draw_all(&day.solution, &day.evidence, style)
}

fn keep(figures: &[Figure], folder: &str) {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("figures").join(folder);
    std::fs::create_dir_all(&folder).unwrap();
    for figure in figures {
        std::fs::write(folder.join(format!("{}.svg", figure.name)), &figure.svg).unwrap();
    }
}

#[test]
fn figures_are_kept_to_be_looked_at() {
    let narrow = Style::of_width(80.0);
    let grey = Style { grey: true, ..Style::default() };
    for (folder, request, style) in [
        ("plain", Request::new(3, 8), Style::default()),
        ("narrow", Request::new(3, 8), narrow),
        ("grey", Request::new(3, 8), grey),
        ("one", Request::new(1, 12), Style::default()),
        ("many", Request { long_names: true, ..Request::new(12, 5) }, Style::default()),
        ("many-narrow", Request { long_names: true, ..Request::new(12, 5) }, narrow),
        ("long", Request { long_names: true, ..Request::new(2, 30) }, Style::default()),
        ("rollers", Request { rollers: true, ..Request::new(3, 10) }, Style::default()),
        ("rollers-narrow", Request { rollers: true, ..Request::new(12, 10) }, narrow),
        ("not-separable", Request { separable: false, ..Request::new(2, 8) }, Style::default()),
    ] {
        let drawn = figures(request, &style);
        assert!(drawn.len() >= 2, "{folder} has only {} figures", drawn.len());
        keep(&drawn, folder);
    }
}
