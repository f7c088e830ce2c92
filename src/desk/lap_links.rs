//! Laps opened from the report: every lap number of its table of laps becomes a link, and figures lead to that table.
//!
//! Given the main part of the report; gives it with the links. The marks of a figure name their lap, so the script of the page
//! leads from them to the same place as the table. The report that is written keeps its bytes.

const ROW: &str = "<tr data-lap=\"";
const TO_TABLE: &str = "href=\"#laps\">Numbers of every lap</a>";

/// See the module; `at` is the path of this desk, and `session` is ready for an address.
pub fn with_links(report: &str, at: &str, session: &str) -> String {
    let mut parts = report.split(ROW);
    let mut out = parts.next().unwrap_or_default().to_string();
    for part in parts {
        out.push_str(ROW);
        out.push_str(&linked(part, at, session).unwrap_or_else(|| part.to_string()));
    }
    led_to_table(&out)
}

/// A row from the name of its lap on, with a link on the number of the lap.
fn linked(row: &str, at: &str, session: &str) -> Option<String> {
    let (run, lap) = row.split_once('"')?.0.split_once('-')?;
    let (run, lap): (usize, usize) = (run.parse().ok()?, lap.parse().ok()?);
    let cell = format!("data-label=\"Lap\"><span>{lap}</span>");
    let link = format!(
        "data-label=\"Lap\"><span><a href=\"{at}/result/lap?session={session}&amp;run={run}&amp;lap={lap}\" \
         aria-label=\"Open run {run}, lap {lap}\">{lap}</a></span>"
    );
    row.contains(&cell).then(|| row.replacen(&cell, &link, 1))
}

/// A place inside the fold of the table unfolds it when a link leads there.
fn led_to_table(report: &str) -> String {
    let place = report.find("<h2 id=\"laps\">").and_then(|at| {
        let fold = report[at..].find("</summary>")?;
        Some(at + fold + "</summary>".len())
    });
    let Some(place) = place else { return report.to_string() };
    let (before, behind) = report.split_at(place);
    format!("{before}\n<span id=\"desk-every-lap\"></span>{behind}")
        .replace(TO_TABLE, "href=\"#desk-every-lap\">Numbers of every lap, to open one</a>")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_rows_of_laps_get_a_link_and_the_table_unfolds() {
        let report = "<figcaption><a class=\"screen\" href=\"#laps\">Numbers of every lap</a></figcaption>\n<h2 id=\"laps\">Every lap</h2>\n\
                      <details>\n<summary>Table of 1 lap</summary>\n<tr><td data-label=\"Lap\"><span>7</span></td></tr>\n\
                      <tr data-lap=\"2-7\" class=\"left-out\">\n<th>2</th><td data-label=\"Lap\"><span>7</span></td></tr></details>";
        let out = with_links(report, "/x", "a+b.toml");
        assert_eq!(out.matches("<a href=").count(), 1, "{out}");
        assert!(
            out.contains("?session=a+b.toml&amp;run=2&amp;lap=7\" aria-label=\"Open run 2, lap 7\">7</a>"),
            "{out}"
        );
        let fold = out.find("</summary>").unwrap();
        assert!(out.find("id=\"desk-every-lap\"").unwrap() > fold && out.contains("href=\"#desk-every-lap\""), "{out}");
        assert_eq!(with_links("<p>On rollers</p>", "/x", "s"), "<p>On rollers</p>");
    }
}
