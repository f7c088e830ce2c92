//! The desk in a browser: by keyboard alone, on a phone, in two tabs, and as a screen reader would have it.
//!
//! Where there is no Chromium these tests say that they are skipped; the rules of accessibility are those of axe-core, whose file
//! `LOOPWRIGHT_AXE` names.

use super::chromium::Chromium;
use super::served::Served;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::sync::mpsc::{Receiver, channel};

/// Opens the link of a desk and waits until all rides are read: until then the page loads itself again, which may come
/// between the test and the next page.
fn entered(browser: &mut Chromium, served: &Served) {
    browser.open(&served.link);
    browser.until("location.pathname.endsWith('/rides') && !document.body.innerText.includes('being read')");
}

const ORDER: [&str; 6] = ["amber", "basalt", "cedar", "cedar", "basalt", "amber"];

#[test]
fn a_person_with_a_keyboard_comes_from_raw_files_to_a_written_report() {
    let Some(mut browser) = Chromium::start() else { return };
    let served = Served::with_rides("three-tyres");
    entered(&mut browser, &served);
    assert_eq!(browser.ask("document.querySelectorAll('svg.strip').length"), 12);
    browser.picture("rides-1280");
    browser.walk_to("#differs");
    browser.press("ArrowDown");
    browser.write_into("#mass", "86");
    for (i, id) in ORDER.iter().enumerate() {
        browser.write_into(&format!("#setup-{i}"), id);
    }
    browser.until("document.querySelector('.unsaved').textContent.includes('8 change')");
    browser.walk_to("button.main");
    browser.follow("location.pathname.endsWith('/day')");
    // A slip is told beside its field before anything is saved, and goes when it is mended.
    browser.write_into("[name='air.temperature_c']", "182");
    browser.until("document.getElementById('e-air.temperature_c').textContent.includes('not °F')");
    browser.picture("day-1280-slip");
    browser.write_into("[name='air.pressure_hpa']", "1008");
    browser.write_into("[name='air.humidity_pct']", "70");
    browser.ask("document.querySelector('[name=\"air.temperature_c\"]').focus()");
    browser.ask("document.activeElement.blur()");
    browser.write_into("[name='air.temperature_c']", "19");
    browser.until("document.getElementById('e-air.temperature_c').textContent === ''");
    browser.walk_to("button.main");
    browser.follow("document.querySelector('.good a.go')");
    browser.walk_to("a.go");
    browser.follow("document.querySelector('.verdict')");
    browser.picture("result-1280");
    // Look at a lap, leave it out, see what that did.
    browser.walk_to("details.laps summary");
    browser.press("Enter");
    browser.walk_to("details.laps a");
    browser.follow("document.querySelector('#reason')");
    browser.picture("lap-1280");
    browser.write_into("#reason", "a cart on the road");
    browser.walk_to("button[value='leave-out']");
    browser.follow("document.getElementById('desk-change') && document.querySelector('.report')");
    browser.picture("change-1280");
    assert!(served.text("session.toml").contains("a cart on the road"));
    browser.walk_to("form[action$='/result/write'] button");
    browser.follow("document.body.innerText.includes('The results are written into the folder session-results')");
    assert!(served.path("session-results/report.html").exists());
    assert!(browser.complaints.is_empty(), "{:?}", browser.complaints);
}

#[test]
fn a_lap_is_opened_from_its_mark_in_a_figure_and_from_the_table_that_the_figure_leads_to() {
    let Some(mut browser) = Chromium::start() else { return };
    let served = Served::with_session("two-positions");
    entered(&mut browser, &served);
    let result = served.address("/result");
    browser.open(&result);
    let opened = "document.querySelector('#reason') && document.querySelector('h1').textContent === 'Run 1, lap 2'";
    browser.click("#figure-misclosure .wide [data-lap=\"1-2\"]", opened);
    browser.open(&result);
    browser.walk_to("#figure-misclosure figcaption a");
    browser.press("Enter");
    browser.until("document.querySelector('#laps ~ details').open");
    browser.walk_to("tr[data-lap='1-2'] a");
    browser.follow(opened);
    assert!(browser.complaints.is_empty(), "{:?}", browser.complaints);
}

#[test]
fn of_two_tabs_the_one_that_is_late_sees_both_and_can_put_its_change_on_top() {
    let Some(mut browser) = Chromium::start() else { return };
    let served = Served::with_session("three-tyres");
    entered(&mut browser, &served);
    let day = served.address("/day");
    browser.open(&day);
    browser.until("document.querySelector('[name=title]')");
    browser.write_into("[name='title']", "Mine");
    let first = browser.tab();
    browser.open(&day);
    browser.until("document.querySelector('[name=\"air.humidity_pct\"]')");
    browser.write_into("[name='air.humidity_pct']", "55");
    browser.walk_to("button.main");
    browser.follow("document.querySelector('.good')");
    browser.turn_to(&first);
    browser.walk_to("button.main");
    browser.follow("document.body.innerText.includes('Changed meanwhile')");
    browser.picture("conflict-1280");
    assert!(!served.text("session.toml").contains("Mine"));
    browser.walk_to("form button");
    browser.follow("document.querySelector('.good')");
    let text = served.text("session.toml");
    assert!(text.contains("title = \"Mine\"") && text.contains("humidity_pct = 55"), "{text}");
}

/// Another server of this machine, which says what it is sent.
fn listening() -> (u16, Receiver<String>) {
    let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a free port");
    let port = listener.local_addr().expect("an address").port();
    let (send, heads) = channel();
    std::thread::spawn(move || {
        for mut stream in listener.incoming().flatten() {
            let send = send.clone();
            std::thread::spawn(move || {
                let (mut head, mut part) = (Vec::new(), [0; 4096]);
                while !head.windows(4).any(|w| w == b"\r\n\r\n") {
                    match stream.read(&mut part) {
                        Ok(count) if count > 0 => head.extend_from_slice(&part[..count]),
                        _ => return,
                    }
                }
                let _ = send.send(String::from_utf8_lossy(&head).into_owned());
                let _ = stream.write_all(b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: 2\r\n\r\nok");
            });
        }
    });
    (port, heads)
}

#[test]
fn another_server_of_this_machine_is_not_sent_the_cookie() {
    let Some(mut browser) = Chromium::start() else { return };
    let served = Served::with(&[]);
    entered(&mut browser, &served);
    let (port, heads) = listening();
    let mut sent = |path: &str| {
        browser.open(&format!("http://127.0.0.1:{port}{path}"));
        let asked = format!("GET {path} ");
        let head = heads.iter().find(|head| head.starts_with(&asked)).expect("the browser asks");
        head.contains(&served.cookie)
    };
    assert!(!sent("/") && !sent("/rides") && !sent("/rides/"));
    // To a server that knew the path it would be sent, or the above would prove nothing.
    assert!(sent(&served.target("/rides")));
}

/// Pages to look at, of a desk with a session in which a lap was chosen, and a plan.
fn pages(served: &Served) -> Vec<(&'static str, String)> {
    let text = served.text("session.toml").replacen(
        "laps = \"auto\"",
        "laps = \"auto\"\nleave_out = [2]\nlap_reasons = { 2 = \"a cart on the road that would not go away for a long time\" }",
        1,
    );
    served.put("session.toml", &text);
    let plan = std::fs::read_to_string(super::served::sample("three-tyres").join("plan.toml")).unwrap();
    served.put("plan.toml", &plan);
    served.put("notes.csv", "this is\nno ride\n");
    [
        ("rides", "/rides"),
        ("day", "/day"),
        ("result", "/result"),
        ("lap", "/result/lap?session=session.toml&run=1&lap=2"),
        ("plan", "/plan"),
        ("refused", "/nowhere"),
    ]
    .map(|(name, page)| (name, served.address(page)))
    .to_vec()
}

#[test]
fn every_page_fits_a_phone_and_follows_the_rules_of_accessibility() {
    let Some(mut browser) = Chromium::start() else { return };
    let axe = std::env::var_os("LOOPWRIGHT_AXE").map(|path| std::fs::read_to_string(path).expect("axe-core's file"));
    if axe.is_none() {
        println!("accessibility skipped: LOOPWRIGHT_AXE names no file");
    }
    let served = Served::with_session("three-tyres");
    entered(&mut browser, &served);
    let mut wrong = Vec::new();
    for (name, address) in pages(&served) {
        for width in [1280, 390] {
            browser.width(width);
            browser.open(&address);
            browser.until("document.querySelector('main h1') && !document.body.innerText.includes('being read')");
            browser.ask("document.querySelectorAll('main details').forEach((d) => { if (!d.closest('.report')) d.open = true; })");
            browser.picture(&format!("{name}-{width}"));
            let wide = browser.ask(
                "[...document.querySelectorAll('main *')].filter((e) => e.checkVisibility() && !e.closest('.scroll, .report, svg, pre, .skip') \
                 && e.getBoundingClientRect().right > innerWidth + 1).slice(0, 3).map((e) => e.outerHTML.slice(0, 120)).join('; ') \
                 + (document.documentElement.scrollWidth > innerWidth ? ' the page scrolls sideways' : '')",
            );
            if wide != "" {
                wrong.push(format!("{name} at {width}: {wide}"));
            }
            if let Some(axe) = &axe {
                browser.ask(axe);
                let said = browser.ask(
                    "axe.run(document, { resultTypes: ['violations'] }).then((r) => r.violations.map((v) => v.id + ': ' + \
                     v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160) + ' ' + n.failureSummary.slice(0, 200)).join(' | ')).join('\\n'))",
                );
                if said != "" {
                    wrong.push(format!("{name} at {width}: {}", said.as_str().unwrap_or("axe does not answer")));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(browser.complaints.is_empty(), "{:?}", browser.complaints);
}
