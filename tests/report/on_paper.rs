//! What stands under a figure, and how large its letters are on paper.

use crate::made_up::{Day, Request, day};
use crate::reading;
use loopwright::plot::{Style, draw_all};
use loopwright::solution::Estimate;

fn caption_of(day: &Day, name: &str) -> String {
    let figures = draw_all(&day.solution, &day.evidence, &Style::default());
    figures.into_iter().find(|figure| figure.name == name).map(|figure| figure.caption).unwrap_or_default()
}

#[test]
fn captions_say_what_is_drawn_and_no_more() {
    let mut plain = day(Request::new(3, 8));
    for name in ["differences", "set-ups"] {
        assert!(caption_of(&plain, name).to_lowercase().contains("short ticks"), "{name}");
    }
    let contrasts = plain.solution.contrasts.iter_mut().chain(&mut plain.solution.all_pairs);
    contrasts.for_each(|c| c.power_w.scatter_se = None);
    for setup in &mut plain.solution.setups {
        for estimate in [&mut setup.crr, &mut setup.cda_m2, &mut setup.power_w, &mut setup.rolling_power_w] {
            estimate.scatter_se = None;
        }
    }
    for name in ["differences", "set-ups"] {
        assert!(!caption_of(&plain, name).to_lowercase().contains("short ticks"), "{name}");
    }
    assert!(caption_of(&plain, "joint-region").contains("apart from what instruments"));

    let mut mixed = day(Request { mixed: true, ..Request::new(3, 8) });
    assert!(caption_of(&mixed, "venues").contains("on each venue with"));
    // At one speed the loop tells no Crr of its own.
    let venues = mixed.solution.venues.as_mut().unwrap();
    for venue in venues.results.iter_mut().filter(|v| v.venue != "rollers") {
        venue.setups.iter_mut().for_each(|setup| setup.crr = Estimate::default());
    }
    let caption = caption_of(&mixed, "venues");
    assert!(caption.contains("on the rollers with") && !caption.contains("reads higher"), "{caption}");
}

/// Letters of a figure that stands in half the width of a sheet, as `page.css` prints it: 85 mm wide and 135 mm high at most.
#[test]
fn on_paper_no_letter_of_a_figure_is_smaller_than_six_points() {
    const POINT_MM: f64 = 25.4 / 72.0;
    let style = Style::default().for_phone();
    let css = include_str!("../../src/report/page/page.css");
    assert!(css.contains(".gallery .card svg { max-height: 135mm;"));
    for request in [Request::new(3, 8), Request { rollers: true, ..Request::new(3, 10) }] {
        let day = day(request);
        for figure in draw_all(&day.solution, &day.evidence, &style) {
            let [width, height] = reading::view_box(&figure.svg);
            let mm_per_unit = (85.0 / width).min(135.0 / height);
            for words in reading::words(&figure.svg) {
                // A word reaches 0.93 of its letter size from top to bottom.
                let points = (words.bottom - words.top) / 0.93 * mm_per_unit / POINT_MM;
                assert!(points >= 6.0, "{}: «{}» has {points:.1} points", figure.name, words.text);
            }
        }
    }
}
