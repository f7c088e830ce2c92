//! Pages as the program writes them: reports of made-up days, and what a plan and its rehearsal say.

use crate::made_up::Day;
use crate::sample_folder;
use loopwright::forecast::{beside_truth, forecast, lap_targets, solve_rehearsal, study};
use loopwright::plan::Plan;
use loopwright::plot::{Figure, Style, curves, draw_all};
use loopwright::report::Units;
use loopwright::report::forecast::{forecast_page, forecast_text};
use loopwright::report::laps_figure::laps_curves;
use loopwright::report::page::{PageInput, page};
use loopwright::report::rehearsal::rehearsal_page;
use loopwright::report::run_sheet::run_sheet;
use loopwright::simulate::simulate;
use std::path::PathBuf;

pub fn report_of(day: &Day, units: Units) -> String {
    let figures = draw_all(&day.solution, &day.evidence, &Style::default());
    let narrow_figures = draw_all(&day.solution, &day.evidence, &Style::default().for_phone());
    let input = PageInput {
        session: &day.session,
        solution: &day.solution,
        figures: &figures,
        narrow_figures: &narrow_figures,
        units,
    };
    page(&input).unwrap()
}

/// The page of a day of `sample-loops`.
pub fn solved_page(name: &str) -> String {
    let inputs = sample_folder::inputs(name);
    let analysis = sample_folder::solve(&inputs).unwrap();
    let (solution, evidence) = (analysis.solution, analysis.evidence);
    report_of(&Day { session: inputs.session, solution, evidence }, Units::Metric)
}

/// Keeps a page in the folder of its test: tests run at the same time, and a page must not be written while it is looked at.
pub fn kept(test: &str, name: &str, html: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("pages").join(test);
    std::fs::create_dir_all(&folder).unwrap();
    let file = folder.join(name);
    std::fs::write(&file, html).unwrap();
    file
}

const PLAN: &str = "order = [\"long\", \"short\", \"short\", \"long\"]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\n\
                    rider_and_bike.mass_kg = 85.0\nloop.length_m = 1100.0\nsolve.cda = \"common\"\ntarget.power_w = 3.0\n\
                    [[setup]]\nid = \"long\"\nlabel = \"<b>A name of a tyre that is so long that it has to be broken somewhere</b>\"\n\
                    cda_m2 = 0.28\ncrr = 0.0046\n[[setup]]\nid = \"short\"\ncda_m2 = 0.28\ncrr = 0.0041\n";

/// What a plan can find, and a day that was rehearsed from it.
pub fn pages_of_a_plan() -> [(&'static str, String); 3] {
    let plan = Plan::from_toml(PLAN, "plan.toml").unwrap();
    let forecast = forecast(&plan).unwrap();
    let drawn = |style: &Style| -> Vec<Figure> {
        laps_curves(&plan, &forecast, Units::Metric).and_then(|c| curves::draw(&c, style)).into_iter().collect()
    };
    let style = Style::default();
    let found = forecast_page(&plan, &forecast, &drawn(&style), &drawn(&style.for_phone()), Units::Metric).unwrap();
    let day = simulate(&plan, 5).unwrap();
    let solution = solve_rehearsal(&day).unwrap();
    let few = study(&plan, &[5, 6], &|| ());
    let told = rehearsal_page(&solution, &beside_truth(&day, &solution), Some(&few)).unwrap();
    let sheet = run_sheet(&plan, &lap_targets(&plan), Units::Metric).unwrap().html;
    [("plan.html", found), ("rehearsal.html", told), ("run-sheet.html", sheet)]
}

#[test]
fn the_pages_of_a_plan_say_what_the_terminal_says_and_escape_names() {
    let [(_, found), (_, told), _] = pages_of_a_plan();
    let plan = Plan::from_toml(PLAN, "plan.toml").unwrap();
    let text = forecast_text(&plan, &forecast(&plan).unwrap(), 100, Units::Metric);
    assert!(found.contains("&lt;b&gt;A name") && !found.contains("<b>A name") && found.contains("<svg"), "{found}");
    let number =
        |word: &&str| word.chars().all(|c| c.is_ascii_digit() || c == '.') && word.contains('.') && word.len() > 3;
    let numbers: Vec<&str> = text.split_whitespace().filter(number).collect();
    assert!(numbers.len() > 30, "{}", numbers.len());
    for number in numbers {
        assert!(found.contains(number), "{number} is on the terminal and not on the page");
    }
    assert!(told.contains("intervals hold the truth") && told.contains("2 rehearsals"), "{told}");
}
