//! Text files of other systems: a mark at the head, other line ends.

use crate::program::Desk;
use std::path::Path;

/// As an editor of another system saves it.
fn foreign(text: &str) -> String {
    format!("\u{feff}{}", text.replace('\n', "\r\n"))
}

#[test]
fn sessions_and_plans_with_a_mark_and_other_line_ends_are_read_as_any() {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-loops/two-positions");
    let desk = Desk::new();
    for entry in std::fs::read_dir(&sample).expect("the sample is there").flatten() {
        if entry.path().extension().is_some_and(|e| e == "fit") {
            desk.put(&entry.file_name().to_string_lossy(), std::fs::read(entry.path()).expect("a ride"));
        }
    }
    let read = |name: &str| std::fs::read_to_string(sample.join(name)).expect("a file of the sample");
    desk.put("plain.toml", read("session.toml"));
    desk.put("foreign.toml", foreign(&read("session.toml")));
    let solved = |name: &str| desk.answered(&["solve", name, "--out", &format!("{name}-out"), "--format", "json"]);
    assert_eq!(solved("plain.toml"), solved("foreign.toml"));
    desk.put("plan.toml", read("plan.toml"));
    desk.put("foreign-plan.toml", foreign(&read("plan.toml")));
    let planned = |name: &str| desk.answered(&["plan", name, "--format", "json"]);
    assert_eq!(planned("plan.toml"), planned("foreign-plan.toml"));
}

#[test]
fn decimal_commas_are_read_where_semicolons_part_the_cells_and_refused_where_commas_do() {
    let desk = Desk::with("clear.csv", "time_s;power_w;speed_m_s\n0;200,5;8,1\n1;201,5;8,2\n");
    let told: serde_json::Value =
        serde_json::from_str(&desk.answered(&["inspect", "clear.csv", "--format", "json"])).expect("JSON");
    assert!(told.to_string().contains("201.5"), "{told}");
    desk.put("unclear.csv", "time_s,power_w,speed_m_s\n0,200,5,8,1\n1,201,5,8,2\n");
    desk.refused(
        &["solve", "unclear.csv", "--mass-kg", "85"],
        1,
        &["unclear.csv:2", "a decimal comma", "write a point"],
    );
}
