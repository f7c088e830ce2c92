//! The day from raw files to a report by forms alone, as a browser without script sends them.

use super::served::{Came, Served, sample};
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

/// Files of a folder by name.
fn contents(folder: &Path, below: &str) -> BTreeMap<String, Vec<u8>> {
    let mut out = BTreeMap::new();
    for entry in std::fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display())).flatten() {
        let name = format!("{below}{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            out.extend(contents(&entry.path(), &format!("{name}/")));
        } else {
            out.insert(name, std::fs::read(entry.path()).unwrap());
        }
    }
    out
}

const ORDER: [&str; 6] = ["amber", "basalt", "cedar", "cedar", "basalt", "amber"];

/// Asks for a new session over run-1.fit and on, each with a set-up.
fn begin(served: &Served, ids: &[&str], of_all: &[(&str, &str)]) -> Came {
    let fields: Vec<(String, String)> = ids
        .iter()
        .enumerate()
        .flat_map(|(i, id)| {
            [(format!("file.{i}"), format!("run-{}.fit", i + 1)), (format!("setup.{i}"), id.to_string())]
        })
        .collect();
    let mut fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    fields.extend([("session", ""), ("name", "session.toml"), ("differs", "tyres")]);
    fields.extend(of_all);
    served.post("/rides", &fields)
}

/// Begins a session over the rides of three tyres.
fn begun(served: &Served) {
    let came = begin(served, &ORDER, &[("mass", "86"), ("kind", "road")]);
    assert_eq!(came.status, 303, "{}", came.body);
}

#[test]
fn from_raw_files_to_a_report_and_the_bytes_are_those_of_the_command_line() {
    let served = Served::with_rides("three-tyres");
    begun(&served);
    let day = served.get("/day?session=session.toml");
    assert!(day.body.contains("86") && day.body.contains("run-6.fit"), "{}", day.body);
    let base = served.base("session.toml");
    let typed = [
        ("session", "session.toml"),
        ("base", base.as_str()),
        ("air.temperature_c", "19"),
        ("air.pressure_hpa", "1008"),
        ("air.humidity_pct", "70"),
        ("solve.cda", "common"),
        ("baseline", "amber"),
        ("run.0.planned_speed_km_h", "29, 41"),
    ];
    assert_eq!(served.post("/day", &typed).status, 303);
    let result = served.get("/result?session=session.toml");
    assert_eq!(result.status, 200, "{}", result.body);
    assert!(result.body.contains("class=\"verdict\"") && result.body.contains("<svg"), "no verdict or figure");
    assert_eq!(served.post("/result/write", &[("session", "session.toml")]).status, 303);

    // The command line on the same session, and on one that was written by hand without any of its comments.
    let solve = |out: &str, session: &str| {
        let output = Command::new(env!("CARGO_BIN_EXE_loopwright"))
            .arg("solve")
            .arg(served.path(session))
            .arg("--out")
            .arg(served.path(out))
            .output()
            .expect("the program starts");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        contents(&served.path(out), "")
    };
    let by_page = contents(&served.path("session-results"), "");
    assert!(by_page.len() > 10, "{:?}", by_page.keys());
    assert_eq!(by_page, solve("by-command", "session.toml"));
    let folder = served.path("").file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let read: toml::Table = toml::from_str(&served.text("session.toml")).unwrap();
    let gate = &read["loop"]["gate"];
    let mut hand = format!(
        "title = \"{folder}\"\nbaseline = \"amber\"\nrider_and_bike.mass_kg = 86.0\nsolve.cda = \"common\"\n\
         air = {{ temperature_c = 19.0, pressure_hpa = 1008.0, humidity_pct = 70.0 }}\n\
         loop = {{ kind = \"road\", gate = {{ lat_deg = {}, lon_deg = {} }} }}\n",
        gate["lat_deg"], gate["lon_deg"]
    );
    for id in ["amber", "basalt", "cedar"] {
        hand.push_str(&format!("[[setup]]\nid = \"{id}\"\n"));
    }
    for (i, id) in ORDER.iter().enumerate() {
        // Those that the draft found in the ride, but for the first run, where they were typed.
        let found = read["run"][i].get("planned_speed_km_h").map(|s| s.to_string());
        let speeds = if i == 0 { Some("[29.0, 41.0]".to_string()) } else { found };
        let speeds = speeds.map_or(String::new(), |s| format!("planned_speed_km_h = {s}\n"));
        hand.push_str(&format!("[[run]]\nfile = \"run-{}.fit\"\nsetup = \"{id}\"\n{speeds}", i + 1));
    }
    served.put("by-hand.toml", &hand);
    assert_eq!(by_page, solve("by-hand", "by-hand.toml"));
}

#[test]
fn a_lap_is_left_out_with_its_reason_and_what_it_did_is_shown() {
    let served = Served::with_session("three-tyres");
    let before = served.text("session.toml");
    let lap = served.get("/result/lap?session=session.toml&run=2&lap=3");
    assert!(lap.status == 200 && lap.body.contains("Residual elevation"), "{}", lap.body);
    let base = served.base("session.toml");
    let mut fields = vec![("session", "session.toml"), ("base", base.as_str()), ("run", "2"), ("lap", "3")];
    fields.push(("choice", "leave-out"));
    assert_eq!(served.post("/result/lap", &fields).status, 422, "a choice without a reason");
    assert_eq!(served.text("session.toml"), before);
    fields.push(("reason", "a cart on the road"));
    let came = served.post("/result/lap", &fields);
    assert_eq!(came.status, 303, "{}", came.body);
    let text = served.text("session.toml");
    assert!(text.contains("leave_out = [3]") && text.contains("\"a cart on the road\""), "{text}");
    let result = served.get("/result?session=session.toml").body;
    assert!(
        result.contains("What the last choice did") && result.contains("<th scope=\"col\">Before</th>"),
        "{result}"
    );
    assert!(result.contains("Laps chosen by hand") && result.contains("left out by the tester: a cart on the road"));
    // In another browser, after the program was started anew, the hand that chose is still to be seen.
    let base = served.base("session.toml");
    let take =
        [("session", "session.toml"), ("base", base.as_str()), ("run", "2"), ("lap", "3"), ("choice", "take-back")];
    assert_eq!(served.post("/result/lap", &take).status, 303);
    assert_eq!(served.text("session.toml"), before);
}

#[test]
fn every_lap_of_the_report_opens_from_its_table_and_the_written_report_has_no_such_links() {
    let served = Served::with_session("three-tyres");
    let page = served.get("/result?session=session.toml").body;
    let rows = page.matches("<tr data-lap=\"").count();
    let links: Vec<&str> = page.split("<a href=\"").filter(|part| part.contains("aria-label=\"Open run ")).collect();
    assert!(rows > 40, "{rows} laps");
    assert_eq!(links.len(), rows);
    for link in [links[0], links[rows / 2], links[rows - 1]] {
        let (place, rest) = link.split_once('"').unwrap();
        let name = rest.split("Open ").nth(1).and_then(|n| n.split('"').next()).unwrap();
        let lap = served.get(&place.replace("&amp;", "&"));
        assert_eq!(lap.status, 200, "{place}");
        assert!(lap.body.to_lowercase().contains(&format!("<h1>{name}</h1>")), "{place} is not {name}: {}", lap.body);
    }
    let written = served.get("/result/file?session=session.toml&name=report.html").body;
    assert!(written.contains("<tr data-lap=\"") && !written.contains("/result/lap"), "the report leads to the desk");
}

#[test]
fn what_is_wrong_stands_beside_its_field_in_the_words_of_the_command_line_and_nothing_is_saved() {
    let served = Served::with_session("three-tyres");
    let before = served.text("session.toml");
    let base = served.base("session.toml");
    let came = served.post(
        "/day",
        &[
            ("session", "session.toml"),
            ("base", &base),
            ("rider_and_bike.mass_kg", "86000"),
            ("air.humidity_pct", "0.7"),
        ],
    );
    assert_eq!(came.status, 422);
    assert_eq!(served.text("session.toml"), before);
    assert!(
        came.body.contains("value=\"86000\"") && came.body.contains("not g, and not the bicycle alone"),
        "{}",
        came.body
    );
    assert!(came.body.contains("looks like a fraction"), "{}", came.body);
    served.put("wrong.toml", &before.replacen("mass_kg = 86.0", "mass_kg = 86000", 1));
    let output =
        Command::new(env!("CARGO_BIN_EXE_loopwright")).arg("solve").arg(served.path("wrong.toml")).output().unwrap();
    let told = String::from_utf8_lossy(&output.stderr);
    let words = told.split_once("mass_kg = 86000").map(|(_, words)| words.lines().next().unwrap_or_default()).unwrap();
    assert!(came.body.contains(words.trim()), "«{words}» is not on the page");
}

#[test]
fn a_ride_left_out_stays_in_the_session_as_a_comment() {
    let served = Served::with_rides("three-tyres");
    begun(&served);
    let base = served.base("session.toml");
    let fields: Vec<(String, String)> = ORDER
        .iter()
        .enumerate()
        .flat_map(|(i, id)| {
            let id = if i == 5 { "" } else { id };
            [(format!("file.{i}"), format!("run-{}.fit", i + 1)), (format!("setup.{i}"), id.to_string())]
        })
        .collect();
    let mut fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    fields.extend([("session", "session.toml"), ("base", &base), ("why.5", "it rained"), ("mass", ""), ("kind", "")]);
    assert_eq!(served.post("/rides", &fields).status, 303);
    let text = served.text("session.toml");
    let read: toml::Table = toml::from_str(&text).unwrap();
    assert_eq!(read["run"].as_array().unwrap().len(), 5);
    assert!(text.contains("# Left out: it rained") && text.contains("# file = \"run-6.fit\""), "{text}");
}

#[test]
fn a_plan_is_begun_forecast_and_rehearsed_and_its_sheet_printed() {
    let served = Served::with(&[]);
    assert_eq!(served.post("/plan/new", &[("name", "plan.toml")]).status, 303);
    assert_eq!(served.post("/plan/new", &[("name", "plan.toml")]).status, 409);
    let plan = served.get("/plan?plan=plan.toml").body;
    assert!(plan.contains("new less old"), "{plan}");
    let sheet = served.get("/plan/sheet?plan=plan.toml");
    assert!(sheet.status == 200 && sheet.body.contains("run-4.fit"), "{}", sheet.body);
    // Fewer laps find less: what is checked follows what is typed.
    let base = served.base("plan.toml");
    let watts = |laps: &str| -> f64 {
        let came = served.post("/plan/check", &[("plan", "plan.toml"), ("base", &base), ("laps_per_run", laps)]);
        let said: serde_json::Value = serde_json::from_str(&came.body).unwrap_or_else(|e| panic!("{e}: {}", came.body));
        said["found"]["lines"][0]["watts"].as_str().and_then(|w| w.parse().ok()).unwrap_or_else(|| panic!("{said}"))
    };
    assert!(watts("4") > watts("8"));
    assert!(served.text("plan.toml").contains("laps_per_run = 8"));
    let came = served.post("/plan/rehearse", &[("plan", "plan.toml"), ("number", "3")]);
    assert_eq!(came.status, 303, "{}", came.body);
    let place = came.header("Location").unwrap().to_string();
    let done = until(&served, &place, "What came of it");
    assert!(done.contains("new"), "{done}");
}

#[test]
fn a_result_leads_to_a_plan_of_the_next_day_and_leaves_the_plans_that_are_there() {
    let served = Served::with_session("three-tyres");
    let page = served.get("/result?session=session.toml");
    assert!(page.body.contains("Plan the next day from this result"), "{}", page.body);
    for name in ["next-plan.toml", "next-plan-2.toml"] {
        let came = served.post("/result/next-plan", &[("session", "session.toml")]);
        assert_eq!(came.status, 303, "{}", came.body);
        let text = served.text(name);
        assert!(text.contains("id = \"basalt\"") && text.contains("cda = \"common\""), "{text}");
        let plan = served.get(&format!("/plan?plan={name}"));
        assert!(plan.body.contains("Smallest detectable difference") && plan.body.contains("basalt"), "{}", plan.body);
    }
    assert_eq!(served.text("next-plan.toml"), served.text("next-plan-2.toml"));
}

#[test]
fn long_work_is_cancelled() {
    let served = Served::with_session("two-positions");
    let came = served.post("/result/draws", &[("session", "session.toml"), ("number", "200000")]);
    assert_eq!(came.status, 303, "{}", came.body);
    let place = came.header("Location").unwrap().to_string();
    let id = place.split_once("id=").unwrap().1.to_string();
    assert!(served.get(&place).body.contains("<progress"));
    // Only one at a time.
    let other = served.post("/result/draws", &[("session", "session.toml"), ("number", "1000")]);
    assert_eq!(other.status, 409, "{}", other.body);
    assert_eq!(served.post("/work/cancel", &[("id", &id)]).status, 303);
    let ended = until(&served, &place, "Cancelled after");
    assert!(!ended.contains("<progress"));
}

#[test]
fn a_forecast_tells_how_far_it_is_and_is_cancelled() {
    let served = Served::with(&[]);
    assert_eq!(served.post("/plan/new", &[("name", "plan.toml")]).status, 303);
    let begin = || {
        let came = served.post("/plan/forecast", &[("plan", "plan.toml")]);
        assert_eq!(came.status, 303, "{}", came.body);
        came.header("Location").unwrap().to_string()
    };
    let place = begin();
    let done = until(&served, &place, "What came of it");
    assert!(done.contains("laps"), "{done}");
    let id = place.split_once("id=").unwrap().1;
    let state: serde_json::Value = serde_json::from_str(&served.get(&format!("/work/state?id={id}")).body).unwrap();
    assert!(state["parts"].as_u64() > Some(1) && state["done"] == state["parts"], "{state}");
    // Of a day with many runs, which takes longer, nothing is kept after it is cancelled.
    let many = format!("order = [{}]", ["\"old\", \"new\""; 20].join(", "));
    let text = served.text("plan.toml");
    let order = text.lines().find(|line| line.starts_with("order = ")).unwrap();
    served.put("plan.toml", &text.replace(order, &many));
    let place = begin();
    let page = served.get(&place).body;
    assert!(page.contains("<progress"), "{page}");
    let id = place.split_once("id=").unwrap().1;
    assert_eq!(served.post("/work/cancel", &[("id", id)]).status, 303);
    let ended = until(&served, &place, "Cancelled after");
    assert!(!ended.contains("<progress") && !ended.contains("What came of it"));
}

/// Waits for words on a page.
fn until(served: &Served, place: &str, words: &str) -> String {
    let begun = Instant::now();
    loop {
        let page = served.get(place).body;
        if page.contains(words) {
            return page;
        }
        assert!(begun.elapsed().as_secs() < 240, "«{words}» does not come: {page}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// Longest wait for the first page of many rides, on a machine that is free to make it.
const FIRST_PAGE: Duration = Duration::from_secs(1);

#[test]
fn a_folder_of_sixty_rides_is_shown_within_a_second() {
    // A machine that is busy with something else takes longer over everything: one of a few tries must find it free.
    let mut tries = Vec::new();
    let served = loop {
        let served = Served::with(&[]);
        for i in 0..60 {
            let ride = sample("three-tyres").join(format!("run-{}.fit", i % 6 + 1));
            std::fs::copy(ride, served.path(&format!("ride-{i:02}.fit"))).unwrap();
        }
        let begun = Instant::now();
        let page = served.get("/rides");
        tries.push(begun.elapsed());
        assert_eq!(page.body.matches("<li class=\"ride\">").count(), 60);
        if tries.last().is_some_and(|took| *took < FIRST_PAGE) {
            break served;
        }
        assert!(tries.len() < 8, "{tries:?}");
    };
    let page = until_gone(&served, "/rides", "being read");
    println!("60 rides: first page after {tries:?}");
    assert_eq!(page.matches("Speed over time").count(), 60);
}

/// Waits until words are no longer on a page.
fn until_gone(served: &Served, place: &str, words: &str) -> String {
    let begun = Instant::now();
    loop {
        let page = served.get(place).body;
        if !page.contains(words) {
            return page;
        }
        assert!(begun.elapsed().as_secs() < 240, "«{words}» does not go: {page}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn rides_stand_in_the_order_of_riding_with_the_set_ups_that_their_names_show() {
    let served = Served::with_rides("three-tyres");
    // The last ride comes first by name.
    let names = ["tan-2.fit", "blue-1.fit", "red-1.fit", "red-2.fit", "blue-2.fit", "tan-1.fit"];
    for (i, name) in names.iter().enumerate() {
        std::fs::rename(served.path(&format!("run-{}.fit", i + 1)), served.path(name)).unwrap();
    }
    let until = Instant::now() + Duration::from_secs(60);
    let mut page = served.get("/rides").body;
    while page.contains("being read") && Instant::now() < until {
        page = served.get("/rides").body;
    }
    let places: Vec<Option<usize>> = names.iter().map(|name| page.find(&format!("<h2>{name}</h2>"))).collect();
    assert!(places.iter().all(Option::is_some) && places.is_sorted(), "{places:?}");
    for (i, name) in names.iter().enumerate() {
        let setup = name.split('-').next().unwrap();
        assert!(page.contains(&format!("name=\"setup.{i}\" value=\"{setup}\"")), "{name}");
    }
}

#[test]
fn a_track_is_given_its_length_where_it_is_said_to_be_one() {
    let served = Served::with_rides("track-and-rollers");
    let ids = ["amber", "basalt", "cinder", "amber", "basalt", "cinder"];
    let begin = |length: &str| begin(&served, &ids, &[("mass", "84"), ("kind", "track"), ("length", length)]);
    let refused = begin("");
    assert!(refused.status == 422 && refused.body.contains("a track needs length_m"), "{}", refused.body);
    assert_eq!(begin("452").status, 303);
    let text = served.text("session.toml");
    assert!(text.contains("kind = \"track\"") && text.contains("length_m = 452"), "{text}");
    // Where a ride was is what it looks like unless something else is said.
    assert_eq!(text.matches("on = \"rollers\"").count(), 3, "{text}");
    // The drums are still to be measured, and the day says so beside their field.
    let day = served.get("/day?session=session.toml").body;
    assert!(day.contains("Not complete yet") && day.contains("diameter in m, not mm"), "{day}");
}
