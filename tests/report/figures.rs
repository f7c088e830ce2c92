//! Every figure as SVG text: nothing overlaps or leaves the sheet, the same input gives the same bytes, and no input
//! makes it panic. The figures are also left in the test folder of the target directory, to be looked at.

use crate::made_up::{self, Request, day};
use crate::reading;
use loopwright::plot::{Figure, Style, draw_all};

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
    let narrow = Style { width_mm: 80.0, ..Style::default() };
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
        ("mixed", Request { mixed: true, ..Request::new(3, 8) }, Style::default()),
        ("mixed-narrow", Request { mixed: true, long_names: true, ..Request::new(6, 8) }, narrow),
        ("not-separable", Request { separable: false, ..Request::new(2, 8) }, Style::default()),
    ] {
        let mut drawn = figures(request, &style);
        drawn.extend(made_up::generic::figures(request, &style));
        assert!(drawn.len() >= 2, "{folder} has only {} figures", drawn.len());
        keep(&drawn, folder);
    }
}

/// 2 to 12 set-ups, 3 to 60 laps, short names and long ones, wide and narrow, loops and rollers.
fn grid() -> Vec<(String, Vec<Figure>)> {
    let mut all = Vec::new();
    for (setups, laps) in [(1, 3), (2, 3), (2, 60), (3, 8), (5, 20), (8, 6), (12, 3), (12, 30)] {
        for long_names in [false, true] {
            for width in [80.0, 160.0] {
                for (rollers, mixed) in [(false, false), (true, false), (false, true)] {
                    let request = Request { long_names, rollers, mixed, ..Request::new(setups, laps) };
                    let name = format!(
                        "{setups} set-ups, {laps} laps, long {long_names}, {width} mm, rollers {rollers}, mixed {mixed}"
                    );
                    let style = Style { width_mm: width, ..Style::default() };
                    let mut drawn = figures(request, &style);
                    drawn.extend(made_up::generic::figures(request, &style));
                    all.push((name, drawn));
                }
            }
        }
    }
    all
}

#[test]
fn no_words_overlap_or_leave_the_sheet() {
    let mut faults = Vec::new();
    for (name, figures) in grid() {
        for figure in figures {
            let [width, height] = reading::view_box(&figure.svg);
            let words = reading::words(&figure.svg);
            assert!(words.len() > 4, "{name}: {} has hardly any words", figure.name);
            for (index, one) in words.iter().enumerate() {
                if one.left < 0.0 || one.right > width || one.top < 0.0 || one.bottom > height {
                    faults.push(format!("{name}: {}: «{}» leaves the sheet", figure.name, one.text));
                }
                for other in &words[..index] {
                    if one.touches(other) {
                        faults.push(format!("{name}: {}: «{}» over «{}»", figure.name, one.text, other.text));
                    }
                }
            }
        }
    }
    assert!(
        faults.is_empty(),
        "{} faults:\n{}",
        faults.len(),
        faults.iter().take(40).cloned().collect::<Vec<_>>().join("\n")
    );
}

#[test]
fn no_words_overlap_or_leave_the_sheet_in_a_browser() {
    let Some(chromium) = reading::chromium() else {
        reading::missing("Chromium");
        return;
    };
    let mut page = String::from("<!doctype html><meta charset=utf-8><body>");
    for (name, figures) in grid() {
        for figure in figures {
            page.push_str(&format!("<div data-name=\"{} {name}\">{}</div>", figure.name, figure.svg));
        }
    }
    page.push_str(
        "<pre id=answer></pre><script>let faults=[];let count=0;for(const div of document.querySelectorAll('div')){const \
         sheet=div.querySelector('svg').getBoundingClientRect();const boxes=[...div.querySelectorAll('text')].map(t=>{const \
         r=t.getBoundingClientRect();const h=r.height;return {t:t.textContent,l:r.left,r:r.right,a:r.top+h*.2,b:r.bottom-h*.08}});\
         boxes.forEach((o,i)=>{count++;if(o.l<sheet.left||o.r>sheet.right||o.a<sheet.top||o.b>sheet.bottom)faults.push(div.dataset.name+': \
         '+o.t+' leaves the sheet');for(let j=0;j<i;j++){const p=boxes[j];if(o.l<p.r&&p.l<o.r&&o.a<p.b&&p.a<o.b)faults.push(\
         div.dataset.name+': '+o.t+' over '+p.t)}})}document.getElementById('answer').textContent=count+' words, \
         '+faults.length+' faults\\n'+faults.slice(0,40).join('\\n')</script>",
    );
    let file = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("words.html");
    std::fs::write(&file, page).unwrap();
    let answer = reading::answer(&chromium, &file);
    assert!(answer.contains(" words, 0 faults"), "{answer}");
    assert!(!answer.starts_with("0 words"));
}

/// Corners of every drawn curve (more than two points), in units of the view box.
fn curves(svg: &str) -> Vec<Vec<[f64; 2]>> {
    svg.split("<polyline")
        .skip(1)
        .filter_map(|piece| piece.split("points=\"").nth(1)?.split('"').next())
        .map(|points| {
            let one = |p: &str| {
                let (x, y) = p.split_once(',')?;
                Some([x.parse().ok()?, y.parse().ok()?])
            };
            points.split(' ').filter_map(one).collect::<Vec<[f64; 2]>>()
        })
        .filter(|points| points.len() > 2)
        .collect()
}

#[test]
fn no_words_touch_a_curve() {
    let mut faults = Vec::new();
    let mut looked_at = 0;
    for (name, figures) in grid() {
        // Words that belong on a line have a rim of paper around them: the gate beside a line that may turn back on itself, the
        // number of an odd lap at its point, the target on its level.
        let rimmed = ["map", "misclosure", "plan"];
        for figure in figures.iter().filter(|f| !rimmed.contains(&f.name)) {
            let curves = curves(&figure.svg);
            looked_at += curves.len();
            for words in reading::words(&figure.svg) {
                let inside = |[x, y]: [f64; 2]| x > words.left && x < words.right && y > words.top && y < words.bottom;
                let touched = curves.iter().any(|curve| {
                    curve.windows(2).any(|w| {
                        let [[ax, ay], [bx, by]] = [w[0], w[1]];
                        // Twenty places on each piece of the curve; pieces are shorter than twenty letters.
                        (0..=20).any(|k| {
                            let t = f64::from(k) / 20.0;
                            inside([ax + t * (bx - ax), ay + t * (by - ay)])
                        })
                    })
                });
                if touched {
                    faults.push(format!("{name}: {}: «{}»", figure.name, words.text));
                }
            }
        }
    }
    assert!(looked_at > 1000, "only {looked_at} curves were looked at");
    assert!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults[..faults.len().min(30)].join("\n"));
}

#[test]
fn differences_stand_first_and_their_words_are_those_of_the_verdict() {
    let day = day(Request::new(3, 8));
    let drawn = draw_all(&day.solution, &day.evidence, &Style::default());
    assert_eq!(drawn.iter().take(2).map(|f| f.name).collect::<Vec<_>>(), ["differences", "set-ups"]);
    let words: Vec<String> = reading::words(&drawn[0].svg).into_iter().map(|w| w.text).collect();
    for contrast in &day.solution.contrasts {
        let watts = contrast.power_w.value.unwrap().abs();
        let told = words.iter().any(|w| w.contains(&format!("{watts:.1} ± ")));
        assert!(told, "{watts:.1} is not in {words:?}");
    }
    assert!(figures(Request::new(1, 8), &Style::default()).iter().all(|f| f.name != "differences"));
}

#[test]
fn people_who_use_miles_get_them_in_figures_too() {
    let style = Style { units: loopwright::report::Units::Imperial, ..Style::default() };
    for figure in figures(Request::new(3, 8), &style) {
        for words in reading::words(&figure.svg) {
            let metric = [" km/h", ", m", " m/s", " m", " km"];
            assert!(!metric.iter().any(|unit| words.text.ends_with(unit)), "{}: «{}»", figure.name, words.text);
        }
    }
}

#[test]
fn every_figure_has_a_name_for_those_who_do_not_see_it() {
    for (name, figures) in grid() {
        for figure in figures {
            let root = figure.svg.split('>').next().unwrap_or_default();
            assert!(root.contains("role=\"img\"") && root.contains("aria-labelledby"), "{name}: {}", figure.name);
            assert!(figure.svg.contains("<title id=") && figure.svg.contains("<desc id="), "{name}: {}", figure.name);
            assert!(figure.caption.len() > 60 && !figure.title.is_empty(), "{name}: {}", figure.name);
        }
    }
}

#[test]
fn a_day_of_48_laps_stays_below_120_kilobytes_a_figure() {
    // The aim of the interface notes: a report with every figure can be sent by mail.
    for request in [Request::new(2, 12), Request::new(4, 6), Request { rollers: true, ..Request::new(4, 30) }] {
        for figure in figures(request, &Style::default()) {
            assert!(figure.svg.len() < 120_000, "{} has {} bytes", figure.name, figure.svg.len());
        }
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let request = Request { long_names: true, ..Request::new(4, 9) };
    assert_eq!(figures(request, &Style::default()), figures(request, &Style::default()));
}

#[test]
fn grey_figures_hold_no_colour() {
    let grey = Style { grey: true, ..Style::default() };
    for request in [Request::new(9, 5), Request { rollers: true, ..Request::new(9, 5) }] {
        for figure in figures(request, &grey) {
            for code in
                figure.svg.split("\"#").skip(1).filter_map(|rest| rest.split('"').next()).filter(|c| c.len() == 6)
            {
                assert!(code[0..2] == code[2..4] && code[2..4] == code[4..6], "{} has #{code}", figure.name);
            }
        }
    }
}

#[test]
fn a_decimal_comma_reaches_every_tick() {
    let comma = Style { decimal_comma: true, ..Style::default() };
    for figure in figures(Request::new(3, 8), &comma) {
        for words in reading::words(&figure.svg) {
            let point = words
                .text
                .as_bytes()
                .windows(3)
                .any(|w| w[0].is_ascii_digit() && w[1] == b'.' && w[2].is_ascii_digit());
            assert!(!point, "{}: «{}»", figure.name, words.text);
        }
    }
}

#[test]
fn spoiled_values_never_panic_and_never_reach_the_sheet() {
    for (name, day) in made_up::hostile::days() {
        for width in [80.0, 160.0] {
            for figure in draw_all(&day.solution, &day.evidence, &Style { width_mm: width, ..Style::default() }) {
                assert!(!figure.svg.contains("NaN") && !figure.svg.contains("inf\""), "{name}: {}", figure.name);
                let [width, _] = reading::view_box(&figure.svg);
                for words in reading::words(&figure.svg) {
                    assert!(
                        words.left > -1.0 && words.right < width + 1.0,
                        "{name}: {}: «{}»",
                        figure.name,
                        words.text
                    );
                }
            }
        }
    }
}

#[test]
fn a_long_narrow_loop_in_any_direction_keeps_its_words_apart() {
    for turn in 0..12 {
        let mut day = day(Request::new(2, 4));
        let (sin, cos) = (f64::from(turn) * 30.0).to_radians().sin_cos();
        let count = day.evidence.reference_line.len();
        for (index, point) in day.evidence.reference_line.iter_mut().enumerate() {
            let angle = std::f64::consts::TAU * index as f64 / count as f64;
            let (along, across) = (1500.0 * angle.cos(), 6.0 * angle.sin());
            (point.east_m, point.north_m) = (along * cos - across * sin, along * sin + across * cos);
        }
        for width in [80.0, 160.0] {
            let figures = draw_all(&day.solution, &day.evidence, &Style { width_mm: width, ..Style::default() });
            let map = figures.iter().find(|f| f.name == "map").unwrap();
            keep(std::slice::from_ref(map), &format!("narrow-loop-{turn}-{width}"));
            let [wide, high] = reading::view_box(&map.svg);
            let words = reading::words(&map.svg);
            for (index, one) in words.iter().enumerate() {
                assert!(
                    one.left >= 0.0 && one.right <= wide && one.top >= 0.0 && one.bottom <= high,
                    "{turn}: {one:?}"
                );
                assert!(!words[..index].iter().any(|other| one.touches(other)), "{turn}, {width} mm: {one:?}");
            }
        }
    }
}

/// A strip for each planned speed and run of the loop; rollers have none.
#[test]
fn what_the_model_leaves_has_a_strip_for_each_speed_and_run() {
    let request = Request { mixed: true, ..Request::new(3, 8) };
    let drawn = figures(request, &Style::default());
    let figure = drawn.iter().find(|f| f.name == "model-residual").expect("a figure");
    let day = day(request);
    let left = day.evidence.model_residual.as_ref().expect("a series");
    assert!(!left.runs.is_empty() && left.runs.len() < day.evidence.runs.len());
    let words: Vec<String> = reading::words(&figure.svg).into_iter().map(|w| w.text).collect();
    for run in &left.runs {
        assert!(words.iter().any(|w| w.starts_with(&format!("Run {} ", run.of + 1))), "{words:?}");
    }
    assert_eq!(words.iter().filter(|w| w.starts_with("All laps near")).count(), left.classes.len());
    assert!(figure.caption.contains("p = 0.004") && figure.caption.contains("Not judged"), "{}", figure.caption);
    assert!(
        figures(Request { rollers: true, ..request }, &Style::default()).iter().all(|f| f.name != "model-residual")
    );
}

#[test]
fn no_figure_shows_what_rests_on_values_that_are_not_known() {
    let drawn = figures(Request { separable: false, ..Request::new(1, 8) }, &Style::default());
    let names: Vec<&str> = drawn.iter().map(|f| f.name).collect();
    assert!(!names.contains(&"joint-region") && !names.contains(&"budget"), "{names:?}");
    for figure in &drawn {
        if ["elevation", "residuals", "misclosure", "run-residual", "model-residual"].contains(&figure.name) {
            assert!(figure.caption.contains("CdA and Crr are not known here"), "{}", figure.name);
        }
        assert!(!figure.title.contains("solved values"), "{}", figure.title);
    }
    let known = figures(Request::new(1, 8), &Style::default());
    assert!(known.iter().any(|f| f.name == "budget") && known.iter().all(|f| !f.caption.contains("not known here")));
}

#[test]
fn loop_and_rollers_stand_side_by_side_where_a_day_has_both() {
    let both = figures(Request { mixed: true, ..Request::new(3, 8) }, &Style::default());
    let figure = both.iter().find(|f| f.name == "venues").expect("a figure of both venues");
    for words in ["loop", "rollers", "together", "butyl tube: loop", "latex tube: loop"] {
        assert!(reading::words(&figure.svg).iter().any(|w| w.text == words), "{words}");
    }
    assert!(figures(Request::new(3, 8), &Style::default()).iter().all(|f| f.name != "venues"));
}

#[test]
fn the_time_line_and_the_run_residual_draw_nothing_across_a_gap_of_the_record() {
    let mut day = day(Request::new(1, 6));
    let run = &mut day.evidence.runs[0];
    let count = run.time_s.len();
    let (from, to) = (count / 2 - 100, count / 2 + 100);
    for column in [&mut run.time_s, &mut run.speed_m_s, &mut run.power_w, &mut run.residual_m] {
        column.drain(from..to);
    }
    run.used.drain(from..to);
    let widest = |evidence: &loopwright::evidence::Evidence, name: &str| -> f64 {
        let drawn = draw_all(&day.solution, evidence, &Style::default());
        let svg = drawn.into_iter().find(|f| f.name == name).expect("the figure").svg;
        let steps = svg.split("<polyline").skip(1).flat_map(|piece| {
            let points = piece.split("points=\"").nth(1).and_then(|p| p.split('"').next()).unwrap_or_default();
            let x: Vec<f64> =
                points.split(' ').filter_map(|p| p.split(',').next()).filter_map(|x| x.parse().ok()).collect();
            // Two points are a rule of the frame.
            x.windows(2).filter(|_| x.len() > 2).map(|w| w[1] - w[0]).collect::<Vec<f64>>()
        });
        steps.fold(0.0, f64::max) / reading::view_box(&svg)[0]
    };
    // 200 s of about 850 s are more than a fifth of the width.
    let mut marked = day.evidence.clone();
    marked.runs[0].stretch = (0..count - (to - from)).map(|i| usize::from(i >= from)).collect();
    for figure in ["timeline", "run-residual"] {
        assert!(widest(&day.evidence, figure) > 0.1, "{figure}: the line across is seen by this test");
        assert!(widest(&marked, figure) < 0.05, "{figure}: {}", widest(&marked, figure));
    }
}
