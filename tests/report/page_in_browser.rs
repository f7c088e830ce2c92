//! The report page as a browser meets it: no complaint on its console, by day and by night, and no words that leave
//! their cell or box, for a session of each kind.

use crate::made_up::{Request, day};
use crate::reading;
use loopwright::forecast::{beside_truth, forecast, solve_rehearsal, study};
use loopwright::plan::Plan;
use loopwright::plot::{Figure, Style, curves, draw_all};
use loopwright::report::Units;
use loopwright::report::forecast::{forecast_page, forecast_text};
use loopwright::report::laps_figure::laps_curves;
use loopwright::report::page::{PageInput, page};
use loopwright::report::rehearsal::rehearsal_page;
use loopwright::simulate::simulate;
use std::path::PathBuf;

fn kinds() -> [(&'static str, Request); 7] {
    [
        ("three set-ups", Request::new(3, 8)),
        ("one set-up of 60 laps", Request::new(1, 60)),
        ("twelve set-ups with long names", Request { long_names: true, ..Request::new(12, 6) }),
        ("one speed", Request { separable: false, ..Request::new(1, 9) }),
        ("one speed, several set-ups", Request { separable: false, ..Request::new(3, 8) }),
        ("rollers", Request { rollers: true, ..Request::new(3, 10) }),
        ("loop and rollers", Request { mixed: true, long_names: true, ..Request::new(4, 8) }),
    ]
}

fn report_of(request: Request) -> String {
    let day = day(request);
    let figures = draw_all(&day.solution, &day.evidence, &Style::default());
    let narrow_figures = draw_all(&day.solution, &day.evidence, &Style::of_width(80.0));
    page(&PageInput {
        session: &day.session,
        solution: &day.solution,
        figures: &figures,
        narrow_figures: &narrow_figures,
        units: Units::Metric,
    })
    .unwrap()
}

const PLAN: &str = "order = [\"long\", \"short\", \"short\", \"long\"]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\n\
                    rider_and_bike.mass_kg = 85.0\nloop.length_m = 1100.0\nsolve.cda = \"common\"\ntarget.power_w = 3.0\n\
                    [[setup]]\nid = \"long\"\nlabel = \"<b>A name of a tyre that is so long that it has to be broken somewhere</b>\"\n\
                    cda_m2 = 0.28\ncrr = 0.0046\n[[setup]]\nid = \"short\"\ncda_m2 = 0.28\ncrr = 0.0041\n";

/// What a plan can find, and a day that was rehearsed from it.
pub fn pages_of_a_plan() -> [(&'static str, String); 2] {
    let plan = Plan::from_toml(PLAN, "plan.toml").unwrap();
    let forecast = forecast(&plan).unwrap();
    let drawn = |style: &Style| -> Vec<Figure> {
        laps_curves(&forecast).and_then(|c| curves::draw(&c, style)).into_iter().collect()
    };
    let style = Style::default();
    let found = forecast_page(&forecast, &drawn(&style), &drawn(&style.for_phone()), Units::Metric).unwrap();
    let day = simulate(&plan, 5).unwrap();
    let solution = solve_rehearsal(&day).unwrap();
    let few = study(&plan, &[5, 6], &|| ());
    let told = rehearsal_page(&solution, &beside_truth(&day, &solution), Some(&few)).unwrap();
    [("plan.html", found), ("rehearsal.html", told)]
}

/// Every page, with a name.
fn pages() -> Vec<(&'static str, String)> {
    let reports = kinds().into_iter().map(|(name, request)| (name, report_of(request)));
    reports.chain(pages_of_a_plan()).collect()
}

#[test]
fn the_pages_of_a_plan_say_what_the_terminal_says_and_escape_names() {
    let [(_, found), (_, told)] = pages_of_a_plan();
    let plan = Plan::from_toml(PLAN, "plan.toml").unwrap();
    let text = forecast_text(&forecast(&plan).unwrap(), 100, Units::Metric);
    assert!(found.contains("&lt;b&gt;A name") && !found.contains("<b>A name") && found.contains("<svg"), "{found}");
    let number =
        |word: &&str| word.chars().all(|c| c.is_ascii_digit() || c == '.') && word.contains('.') && word.len() > 3;
    let numbers: Vec<&str> = text.split_whitespace().filter(number).collect();
    assert!(numbers.len() > 40, "{}", numbers.len());
    for number in numbers {
        assert!(found.contains(number), "{number} is on the terminal and not on the page");
    }
    assert!(told.contains("intervals hold the truth") && told.contains("2 rehearsals"), "{told}");
}

/// Keeps a page in the folder of its test: tests run at the same time, and a page must not be written while it is looked at.
fn kept(test: &str, name: &str, html: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("pages-in-browser").join(test);
    std::fs::create_dir_all(&folder).unwrap();
    let file = folder.join(format!("{}.html", name.replace([' ', ','], "-")));
    std::fs::write(&file, html).unwrap();
    file
}

#[test]
fn the_console_stays_silent() {
    let Some(chromium) = reading::chromium() else {
        reading::missing("Chromium");
        return;
    };
    let complaints = |name: &str, html: &str| reading::console(&chromium, &kept("console", name, html));
    for (name, html) in pages() {
        let said = complaints(name, &html);
        assert!(said.is_empty(), "{name}: {said:?}");
    }
    // A page that does complain is heard, or the silence above would prove nothing.
    let loud = report_of(Request::new(1, 4)).replace("</body>", "<script>nothing.there()</script></body>");
    assert!(!complaints("loud", &loud).is_empty());
}

/// A page that opens the report at several widths and lists what is wider than its own box. Headings of stacked tables, which
/// are only read aloud, have no box.
fn looking(report: &std::path::Path) -> String {
    format!(
        "<!doctype html><meta charset=utf-8><body><pre id=answer></pre><script>const widths=[360,390,768,1280];let out=[];\
         function next(){{if(!widths.length){{document.getElementById('answer').textContent=out.join('\\n');return}}\
         const w=widths.shift();const f=document.createElement('iframe');f.style.cssText='border:0;height:900px;width:'+w+'px';\
         f.onload=()=>{{const d=f.contentDocument;d.querySelectorAll('details').forEach(e=>e.open=true);\
         const shown=[...d.querySelectorAll('h1,h2,h3,p,li,td,th,figcaption,summary,a,caption,button,label')]\
         .filter(e=>e.offsetParent&&!e.closest('.skip')&&!(e.closest('thead')&&e.clientHeight<=1));\
         const cut=shown.filter(e=>e.scrollWidth>e.clientWidth+1&&getComputedStyle(e).display!='inline');\
         out.push(w+': '+shown.length+' boxes, cut '+cut.slice(0,5).map(e=>e.tagName+' '+e.scrollWidth+' in '+e.clientWidth+' of '+(e.closest('table')||{{id:''}}).id+': '+e.textContent.slice(0,40)).join(' | '));\
         f.remove();next()}};f.src='file://{}';document.body.append(f)}}next()</script>",
        report.display()
    )
}

#[test]
fn no_words_leave_their_box() {
    let Some(chromium) = reading::chromium() else {
        reading::missing("Chromium");
        return;
    };
    for (name, html) in pages() {
        let report = kept("boxes", name, &html);
        let frame = kept("boxes", &format!("look at {name}"), &looking(&report));
        let answer = reading::answer(&chromium, &frame);
        assert_eq!(answer.lines().count(), 4, "{name}: {answer}");
        for line in answer.lines() {
            let boxes: usize = line.split(' ').nth(1).and_then(|n| n.parse().ok()).unwrap_or(0);
            assert!(boxes > 40, "{name}: the page was not looked at: {line}");
            assert!(line.ends_with("cut "), "{name}: {line}");
        }
    }
}
