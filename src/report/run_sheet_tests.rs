//! Tests of the run sheet.

use super::*;

fn plan() -> Plan {
    let text = "title = \"Two <tyres> | one road\"\norder = [\"a\", \"b\", \"b\", \"a\"]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\n\
                rider_and_bike.mass_kg = 85.0\nloop.length_m = 1200.0\n[[setup]]\nid = \"a\"\nlabel = \"Amber & ochre\"\n\
                cda_m2 = 0.3\ncrr = 0.0045\n[[setup]]\nid = \"b\"\ncda_m2 = 0.3\ncrr = 0.004\n";
    Plan::from_toml(text, "plan.toml").unwrap()
}

#[test]
fn both_forms_hold_every_run_in_order_every_check_and_every_caution() {
    let targets = [LapTarget { speed_km_h: 29.0, power_w: 141.4 }, LapTarget { speed_km_h: 41.0, power_w: 329.0 }];
    let sheet = run_sheet(&plan(), &targets, Units::Metric).unwrap();
    // The template escapes a slash and an apostrophe, which a browser turns back.
    let html = sheet.html.replace("&#x2f;", "/").replace("&#x27;", "'");
    for form in [&sheet.markdown, &html] {
        let rows: Vec<usize> = (1..=4).map(|n| form.find(&format!("run-{n}.fit")).unwrap()).collect();
        assert!(rows.is_sorted());
        assert!(form.contains("29.0 km/h") && form.contains("141 W") && form.contains("329 W"));
        for line in CAUTIONS.iter().chain(&check(&plan())).chain(&ride(&plan())).chain(&PACK) {
            assert!(form.contains(line), "{line}");
        }
    }
    assert!(sheet.markdown.contains("Amber & ochre") && sheet.html.contains("Amber &amp; ochre"));
    assert!(!sheet.html.contains("<tyres>"), "names are escaped");
    assert!(!sheet.markdown.contains("| one road"), "a bar would break the table");
}

#[test]
fn every_run_has_its_levels_and_a_pressure_as_the_gauge_has_it() {
    let mut plan = plan();
    for (setup, kpa) in plan.setups.iter_mut().zip([480.0, 550.0]) {
        setup.factors.insert("pressure_kpa".into(), Stated::Quantity(kpa));
        setup.factors.insert("casing".into(), Stated::Kind("soft".into()));
    }
    let sheet = run_sheet(&plan, &[], Units::Metric).unwrap().markdown;
    assert_eq!(sheet.matches("casing soft, pressure 480 kPa (4.80 bar)").count(), 2, "{sheet}");
    assert_eq!(sheet.matches("pressure 550 kPa (5.50 bar)").count(), 2, "{sheet}");
    // 480 kPa is 69.6 psi by the definition of the pound and the inch.
    let sheet = run_sheet(&plan, &[], Units::Imperial).unwrap().markdown;
    assert!(sheet.contains("pressure 480 kPa (70 psi)"), "{sheet}");
}

#[test]
fn imperial_sheets_ask_for_psi_and_pounds() {
    let sheet = run_sheet(&plan(), &[], Units::Imperial).unwrap();
    assert!(sheet.markdown.contains("psi") && sheet.markdown.contains("lb") && !sheet.markdown.contains(", bar"));
    assert!(sheet.markdown.contains("Pressure, inHg") && !sheet.markdown.contains("hPa"));
    // 29 and 41 km/h are 18.02 and 25.48 mph by the definition of the mile.
    assert!(sheet.markdown.contains("6 laps: 18.0, 25.5 mph in turn"), "{}", sheet.markdown);
}

fn said(plan: &Plan) -> String {
    run_sheet(plan, &[], Units::Metric).unwrap().markdown
}

#[test]
fn a_plan_of_one_effort_asks_for_no_change_of_speed() {
    let two = plan();
    let one = Plan { speeds_km_h: vec![36.0], ..plan() };
    let power = Plan { powers_w: vec![290.0], ..plan() };
    assert!(said(&two).contains("Change speed"));
    assert!(!said(&one).contains("Change speed") && said(&one).contains("One effort"));
    assert!(!said(&power).contains("Change speed"));
}

#[test]
fn rollers_have_no_wind_to_write_down_and_no_gate() {
    let mixed = Plan { on: vec![Venue::Rollers, Venue::Rollers, Venue::Road, Venue::Road], ..plan() };
    let sheet = said(&mixed);
    assert_eq!(sheet.matches("| – | run-").count(), 2, "{sheet}");
    assert!(sheet.contains("Wind, m/s from") && sheet.contains("gate"));
    let indoors = Plan { on: vec![Venue::Rollers; 4], ..plan() };
    let sheet = said(&indoors).to_lowercase();
    assert!(!sheet.contains("wind") && !sheet.contains("gate") && !sheet.contains("lap"), "{sheet}");
}

#[test]
fn pressures_are_only_called_stated_where_every_set_up_has_one() {
    assert!(said(&plan()).contains("their pressures written down"));
    let mut stated = plan();
    for setup in &mut stated.setups {
        setup.factors.insert("pressure_kpa".into(), Stated::Quantity(480.0));
    }
    assert!(said(&stated).contains("inflated to the pressure in the table"));
}
