//! The summary on the terminal and the words for the write-up: they fit, they are in order, and they say what was done.

use crate::made_up::{self, Request, day};
use loopwright::plot::{Style, draw_all};
use loopwright::report::text::{Emphasis, Extent, MARKS, Print};
use loopwright::report::{Units, captions, methods, text};
use loopwright::solution::FindingResult;

#[test]
fn the_summary_fits_every_width_from_40_columns() {
    for request in [
        Request::new(1, 5),
        Request::new(3, 8),
        Request { long_names: true, ..Request::new(10, 3) },
        Request { rollers: true, ..Request::new(3, 10) },
        Request { separable: false, ..Request::new(2, 8) },
        Request { mixed: true, ..Request::new(3, 8) },
        Request { mixed: true, long_names: true, ..Request::new(8, 8) },
    ] {
        let day = day(request);
        for width in [40, 52, 64, 80, 100, 200] {
            let summary = text::summary(&day.solution, Print::plain(width, Units::Metric));
            for line in summary.lines() {
                let columns: usize = line.chars().map(|c| if c as u32 >= 0x1100 { 2 } else { 1 }).sum();
                // The rule under a table head is made of one-column characters beyond U+1100.
                let columns = columns - line.chars().filter(|c| *c == '─').count();
                assert!(columns <= width, "{width}: {columns} columns in «{line}»");
            }
        }
    }
}

#[test]
fn the_summary_goes_from_the_verdict_to_the_findings() {
    let day = day(Request::new(3, 8));
    let summary = text::summary(&day.solution, Print::plain(80, Units::Metric));
    let order = [
        "is the fastest of 3: at 40 km/h",
        "Differences from butyl tube",
        "Set-ups\n",
        "Runs\n",
        "laps are used",
        "Findings",
    ];
    let places: Vec<usize> =
        order.iter().map(|part| summary.find(part).unwrap_or_else(|| panic!("no {part}"))).collect();
    assert!(places.is_sorted(), "{places:?}\n{summary}");
    assert!(summary.contains("scatter 0.00013") && summary.contains("instrument 0.00019"), "{summary}");
    assert!(summary.contains("0.00460 ± 0.00023"), "{summary}");
    assert!(summary.contains("- Run 2: ") && summary.contains("[lag-large]"), "{summary}");
    assert!(
        summary.starts_with("latex tube is the fastest") || summary.starts_with("tubeless is the fastest"),
        "{summary}"
    );
}

#[test]
fn a_pipe_gets_the_verdict_and_one_table_and_a_terminal_bold_letters() {
    let day = day(Request::new(3, 8));
    let brief = Print { extent: Extent::Brief, ..Print::plain(80, Units::Metric) };
    let short = text::summary(&day.solution, brief);
    assert!(short.contains("Differences from butyl tube") && short.contains("±"), "{short}");
    for more in ["Set-ups\n", "Runs", "Findings"] {
        assert!(!short.contains(more), "{short}");
    }
    let alone = made_up::day(Request::new(1, 8));
    assert!(text::summary(&alone.solution, brief).contains("Set-ups\n"));
    let mut day = day;
    let doubt =
        FindingResult { code: "order-confounded".into(), run: None, message: "The order looks like a drift.".into() };
    day.solution.findings.push(doubt);
    let bold = text::summary(&day.solution, Print { emphasis: Emphasis::Bold, ..Print::plain(80, Units::Metric) });
    assert!(bold.starts_with("\u{1b}[1m"));
    assert!(bold.contains("\u{1b}[33m\u{1b}[1mFindings: may change the answer"), "{bold}");
    let plain = MARKS.iter().fold(bold, |text, mark| text.replace(mark, ""));
    assert_eq!(plain, text::summary(&day.solution, Print::plain(80, Units::Metric)));
}

#[test]
fn names_from_a_file_cannot_steer_the_terminal() {
    let mut day = day(Request::new(2, 4));
    day.solution.setups[0].label = "red \u{1b}[31m\u{7} tube".into();
    day.solution.title = "a\u{9b}31m".into();
    let summary = text::summary(&day.solution, Print::plain(80, Units::Metric));
    assert!(summary.chars().all(|c| c == '\n' || !c.is_control()));
}

#[test]
fn spoiled_days_still_give_a_summary() {
    for (name, day) in made_up::hostile::days() {
        for width in [0, 40, 80] {
            let summary = text::summary(&day.solution, Print::plain(width, Units::Imperial));
            assert!(!summary.contains("NaN") && !summary.is_empty(), "{name}:\n{summary}");
        }
    }
}

#[test]
fn the_method_text_follows_the_choices() {
    let plain = day(Request::new(3, 8));
    let words = methods::plain_text(&plain.session, &plain.solution, Units::Metric);
    assert!(
        words.contains("The 2 planned speeds, stated in the session, serve as instruments") && words.contains("Sargan"),
        "{words}"
    );
    assert!(words.contains("temperature 18.5 °C (stated)") && words.contains("Picard, A."), "{words}");
    assert!(words.contains("solved together with CdA and Crr"), "{words}");
    assert!(words.contains("36 of 48 laps are used") && words.contains("drivetrain efficiency 0.976"), "{words}");
    assert!(!words.contains("drums") && !words.contains("Regulation No. 117"), "{words}");

    let mut given = day(Request::new(1, 8));
    given.session.wind.mode = loopwright::session::WindMode::Given;
    given.session.wind.speed_m_s = Some(2.0);
    given.session.wind.from_deg = Some(240.0);
    let words = methods::plain_text(&given.session, &given.solution, Units::Metric);
    assert!(words.contains("2 m/s from 240°") && words.contains("logarithmic profile"), "{words}");
    assert!(words.contains("Sargan") && !words.contains("Holm"), "{words}");

    let rollers = day(Request { rollers: true, ..Request::new(2, 8) });
    let words = methods::plain_text(&rollers.session, &rollers.solution, Units::Metric);
    assert!(
        words.contains("no air drag") && words.contains("Regulation No. 117") && words.contains("4 W at 40 km/h"),
        "{words}"
    );
    assert!(!words.contains("CIPM") && !words.contains("Golub"), "{words}");
}

#[test]
fn every_figure_has_its_caption_in_the_file_for_the_write_up() {
    let day = day(Request::new(3, 8));
    let figures = draw_all(&day.solution, &day.evidence, &Style::default());
    let words = captions::captions(&figures, &day.solution);
    for figure in &figures {
        assert!(words.contains(&format!("({}.svg)", figure.name)) && words.contains(&figure.caption));
    }
}

#[test]
fn summaries_are_kept_to_be_looked_at() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR"));
    for (name, request) in [
        ("plain", Request::new(3, 8)),
        ("long", Request { long_names: true, ..Request::new(6, 3) }),
        ("rollers", Request { rollers: true, ..Request::new(2, 8) }),
        ("mixed", Request { mixed: true, ..Request::new(3, 8) }),
        ("not-separable", Request { separable: false, ..Request::new(2, 8) }),
    ] {
        let day = day(request);
        let mut all = methods::plain_text(&day.session, &day.solution, Units::Metric);
        for width in [80, 60, 40] {
            all = format!(
                "{}\n{}\n{all}",
                text::summary(&day.solution, Print::plain(width, Units::Metric)),
                "=".repeat(width)
            );
        }
        assert!(all.len() > 1000);
        std::fs::write(folder.join(format!("summary-{name}.txt")), all).unwrap();
    }
}

#[test]
fn the_method_text_names_weights_gusts_priors_and_the_cut() {
    let mut day = day(Request::new(2, 8));
    let words = |day: &made_up::Day| methods::plain_text(&day.session, &day.solution, Units::Metric);
    for part in ["v^−q", "0 ± 2 m/s", "0 ± 3 s", "Efron & Stein 1981", "CR2", "moved up and down", "The gate was found"]
    {
        assert!(words(&day).contains(part), "no «{part}»");
    }
    assert!(!words(&day).contains("change linearly"), "no run has a drift");
    day.solution.runs[0].wind.drift_east_m_s.value = Some(0.1);
    assert!(words(&day).contains("end of the run 0 ± 0.5 m/s") && words(&day).contains("change linearly with time"));

    day.session.wind.gusts = loopwright::session::Gusts::Word(loopwright::session::GustsWord::None);
    day.solution.runs.iter_mut().for_each(|run| run.wind.gust_m_s = None);
    assert!(words(&day).contains("Gusts add no drag, as stated") && !words(&day).contains("Efron"));

    day.session.circuit.gate = Some(loopwright::session::Position { lat_deg: 51.5, lon_deg: 7.25 });
    assert!(words(&day).contains("The cut is at the stated gate"));
    day.solution.findings[0].code = "cut-moved".into();
    assert!(words(&day).contains("The cut was moved from the stated gate"));

    day.session.circuit.survey = Some("heights.csv".into());
    assert!(words(&day).contains("leans on a survey") && !words(&day).contains("No elevation data"));
    day.solution.separation.first_stage_f = None;
    day.session.runs.iter_mut().for_each(|run| run.planned_speed_km_h.clear());
    assert!(words(&day).contains("seen as clear gaps") && !words(&day).contains("Staiger"));
}

#[test]
fn what_is_not_known_is_not_described_as_solved() {
    let day = day(Request { separable: false, ..Request::new(2, 8) });
    let words = methods::plain_text(&day.session, &day.solution, Units::Metric);
    assert!(words.contains("do not tell CdA from Crr. Neither is reported"), "{words}");
    assert!(words.contains("rests on what is expected of it") && !words.contains("correlation of the two"), "{words}");
}

#[test]
fn both_venues_are_told_with_the_windows_of_the_rollers() {
    let day = day(Request { mixed: true, ..Request::new(3, 8) });
    let summary = text::summary(&day.solution, Print::plain(100, Units::Metric));
    let parts = [
        "Differences seen on loop and rollers",
        "Differences from butyl tube on the loop",
        "Set-ups on the loop",
        "Crr on the loop and rollers\n",
        "Runs on the loop",
        "216 to 460",
    ];
    let places: Vec<usize> =
        parts.iter().map(|p| summary.find(p).unwrap_or_else(|| panic!("no {p}:\n{summary}"))).collect();
    assert!(places.is_sorted(), "{summary}");
    let words = methods::plain_text(&day.session, &day.solution, Units::Metric);
    assert!(words.contains("Meier 1953") && words.contains("√(R/(R + r))"), "{words}");

    let rollers = made_up::day(Request { rollers: true, ..Request::new(2, 8) });
    let summary = text::summary(&rollers.solution, Print::plain(80, Units::Metric));
    assert!(summary.contains("Rolling W") && !summary.contains("kg/m³") && !summary.contains("Laps"), "{summary}");
}

#[test]
fn a_difference_that_is_known_is_told_even_where_the_values_are_not() {
    let mut day = day(Request { separable: false, ..Request::new(2, 8) });
    let text = text::summary(&day.solution, Print::plain(80, Units::Metric));
    assert!(text.contains("CdA and Crr cannot be told") && text.contains("Differences from butyl tube"), "{text}");
    for contrast in &mut day.solution.contrasts {
        (contrast.power_w, contrast.crr, contrast.cda_m2) = Default::default();
    }
    assert!(!text::summary(&day.solution, Print::plain(80, Units::Metric)).contains("Differences from"));
}
