//! The report page as a browser meets it: no complaint on its console, by day and by night, and no words that leave
//! their cell or box, for a session of each kind.

use crate::made_up::{Request, day};
use crate::reading;
use crate::written::{self, pages_of_a_plan, report_of, solved_page};
use loopwright::report::Units;
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

/// Every page, with a name.
fn pages() -> Vec<(&'static str, String)> {
    let reports = kinds().into_iter().map(|(name, request)| (name, report_of(&day(request), Units::Metric)));
    // On a track at one speed the set-ups have a column of resistance, which is the widest of all.
    let track = ("track and rollers at one speed", solved_page("track-and-rollers"));
    reports.chain([track]).chain(pages_of_a_plan()).collect()
}

/// Keeps a page under its name.
fn kept(test: &str, name: &str, html: &str) -> PathBuf {
    written::kept(test, &format!("{}.html", name.replace([' ', ','], "-")), html)
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
    let loud = report_of(&day(Request::new(1, 4)), Units::Metric)
        .replace("</body>", "<script>nothing.there()</script></body>");
    assert!(!complaints("loud", &loud).is_empty());
}

/// A page that opens the report at several widths and lists what is wider than its own box, and what scrolls inside the page
/// without a word that tells so. Headings of stacked tables, which are only read aloud, have no box.
fn looking(report: &std::path::Path) -> String {
    format!(
        "<!doctype html><meta charset=utf-8><body><pre id=answer></pre><script>const widths=[360,390,768,1280];let out=[];\
         function next(){{if(!widths.length){{document.getElementById('answer').textContent=out.join('\\n');return}}\
         const w=widths.shift();const f=document.createElement('iframe');f.style.cssText='border:0;height:900px;width:'+w+'px';\
         f.onload=()=>{{const d=f.contentDocument;d.querySelectorAll('details').forEach(e=>e.open=true);\
         const shown=[...d.querySelectorAll('h1,h2,h3,p,li,td,th,figcaption,summary,a,caption,button,label')]\
         .filter(e=>e.offsetParent&&!e.closest('.skip')&&!(e.closest('thead')&&e.clientHeight<=1));\
         const cut=shown.filter(e=>e.scrollWidth>e.clientWidth+1&&getComputedStyle(e).display!='inline');\
         const hidden=w>400?[]:[...d.querySelectorAll('body *')].filter(e=>e.clientWidth>1&&e.scrollWidth>e.clientWidth+1&&\
         /auto|scroll|hidden/.test(getComputedStyle(e).overflowX)&&![...e.querySelectorAll('.hint')].some(h=>h.offsetHeight>8));\
         cut.push(...hidden);\
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
