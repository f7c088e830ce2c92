//! Factors of set-ups by forms: put on every set-up, judged beside their fields, taken out again.

use super::served::Served;

/// What a button of the page sends beside the fields.
const PUT: &str = "/day/factor";

/// The lines of a session that do not state factors.
fn without_factors(text: &str) -> String {
    text.lines().filter(|line| !line.starts_with("factors = ")).map(|line| format!("{line}\n")).collect()
}

#[test]
fn a_factor_is_put_on_every_set_up_and_the_rest_of_the_file_keeps_its_bytes() {
    let served = Served::with_session("three-tyres");
    let before = served.text("session.toml").replacen("id = \"amber\"\n", "id = \"amber\" # the old one\n", 1);
    served.put("session.toml", &before);
    let base = served.base("session.toml");
    let mut fields = vec![("session", "session.toml"), ("base", base.as_str()), ("air.humidity_pct", "71")];
    fields.push(("factor", "Tyre"));
    let came = served.post(PUT, &fields);
    assert_eq!(came.status, 200, "{}", came.body);
    for field in ["setup.0.factors.tyre", "setup.1.factors.tyre", "setup.2.factors.tyre"] {
        assert!(came.body.contains(&format!("name=\"{field}\" value=\"\"")), "{field}: {}", came.body);
    }
    // What was typed and not saved is still there, and nothing was written.
    assert!(came.body.contains("name=\"air.humidity_pct\" value=\"71\" data-was=\"70.0\""), "{}", came.body);
    assert_eq!(served.text("session.toml"), before);
    // Saved with a level on every set-up, and pressures beside it.
    fields.retain(|(name, _)| *name != "factor" && *name != "air.humidity_pct");
    fields.extend([
        ("setup.0.factors.tyre", "amber"),
        ("setup.1.factors.tyre", "basalt"),
        ("setup.2.factors.tyre", "basalt"),
    ]);
    fields.extend([("setup.0.factors.pressure_kpa", "500"), ("setup.1.factors.pressure_kpa", "500")]);
    fields.push(("setup.2.factors.pressure_kpa", "620.5"));
    let came = served.post("/day", &fields);
    assert_eq!(came.status, 303, "{}", came.body);
    let text = served.text("session.toml");
    assert_eq!(without_factors(&text), before);
    let read: toml::Table = toml::from_str(&text).unwrap();
    let last = &read["setup"][2]["factors"];
    assert_eq!((last["tyre"].as_str(), last["pressure_kpa"].as_float()), (Some("basalt"), Some(620.5)));
    let result = served.get("/result?session=session.toml");
    assert!(result.status == 200 && result.body.contains("What the factors do"), "{}", result.body);
    // Taken out, first on the page and then in the file, which is as it was.
    let base = served.base("session.toml");
    let out = |factor: &'static str| [("session", "session.toml"), ("base", base.as_str()), ("take_out", factor)];
    let came = served.post(PUT, &out("tyre"));
    assert!(came.status == 200 && came.body.contains("data-was=\"amber\""), "{}", came.body);
    assert_eq!(served.text("session.toml"), text);
    let mut empty = vec![("session", "session.toml"), ("base", base.as_str())];
    for field in ["setup.0.factors.tyre", "setup.1.factors.tyre", "setup.2.factors.tyre"] {
        empty.push((field, ""));
    }
    for field in ["setup.0.factors.pressure_kpa", "setup.1.factors.pressure_kpa", "setup.2.factors.pressure_kpa"] {
        empty.push((field, ""));
    }
    assert_eq!(served.post("/day", &empty).status, 303);
    assert_eq!(served.text("session.toml"), before);
}

#[test]
fn what_is_wrong_with_a_factor_stands_beside_its_field_and_nothing_is_saved() {
    let served = Served::with_session("pressure-sweep");
    let before = served.text("session.toml");
    let base = served.base("session.toml");
    let key = "setup.1.factors.pressure_kpa";
    assert!(served.get("/day").body.contains(&format!("name=\"{key}\"")), "{}", served.get("/day").body);
    let typed = [("session", "session.toml"), ("base", base.as_str()), (key, "6.2")];
    let came = served.post("/day", &typed);
    assert_eq!(came.status, 422);
    let (_, beside) =
        came.body.split_once(&format!("id=\"e-{key}\">")).expect("the field has a place for what is wrong");
    let words = beside.split("</p>").next().unwrap_or_default();
    assert!(words.contains("1 bar is 100 kPa") && words.contains("outside"), "{words}");
    let said: serde_json::Value = serde_json::from_str(&served.post("/day/check", &typed).body).unwrap();
    assert!(said["errors"][key].as_str().is_some_and(|w| w.contains("1 bar is 100 kPa")), "{said}");
    // A name that says nothing is refused beside where it is typed; the save button does not lose a name either.
    let named = [("session", "session.toml"), ("base", base.as_str()), ("factor", "28")];
    for target in [PUT, "/day"] {
        let came = served.post(target, &named);
        assert!(came.status == 422 && came.body.contains("name the factor by a word"), "{target}: {}", came.body);
    }
    assert_eq!(served.text("session.toml"), before);
}
