//! The tables of the page that are plain rows of text: pairs, venues, budgets, runs.
//!
//! Given the solution; gives headings, captions and rows. Tables without a row are left out.

use serde::Serialize;

use super::super::differences::{self, Naming};
use super::super::monte_carlo;
use super::super::number::{UNKNOWN, significant};
use super::super::run_table::{self, Detail};
use super::super::table::Grid;
use super::super::together::{agreement, together};
use super::super::units::Units;
use super::super::verdict::{name_of, reference_speed};
use super::rows::typographic;
use crate::solution::{BudgetLine, Contribution, Solution};

/// Decimals beyond which a contribution is not told.
const CRR_DECIMALS: usize = 7;
const CDA_DECIMALS: usize = 5;
const WATT_DECIMALS: usize = 3;
/// Letters of the longest number with what stands beside it, "12.3 from 240° ± 10".
const LONGEST_NUMBER: usize = 24;

/// A table under a heading of its own.
#[derive(Serialize)]
pub struct Titled {
    id: String,
    heading: String,
    caption: String,
    header: Vec<String>,
    rows: Vec<Vec<Cell>>,
}

#[derive(Serialize)]
struct Cell {
    text: String,
    /// "n" for numbers, which are not broken over lines, else "words".
    class: &'static str,
}

impl Cell {
    fn of(text: &str) -> Cell {
        // Both ends of an interval may be below nought.
        let text = text.replace('\n', " ").split(" to ").map(typographic).collect::<Vec<_>>().join(" to ");
        let number = text.starts_with(|c: char| c.is_ascii_digit() || "+−<–".contains(c))
            // A name may begin with a digit too.
            && text.chars().count() <= LONGEST_NUMBER;
        Cell { class: if number { "n" } else { "words" }, text }
    }
}

impl Titled {
    /// `None` when the table has no row or nothing beside the names.
    fn of(id: &str, heading: &str, caption: &str, grid: Grid) -> Option<Titled> {
        if grid.rows.is_empty() || grid.header.len() < 2 {
            return None;
        }
        Some(Titled {
            id: id.into(),
            heading: heading.into(),
            caption: caption.into(),
            header: grid.header.into_iter().map(|h| h.replace('\n', " ")).collect(),
            rows: grid.rows.iter().map(|row| row.iter().map(|cell| Cell::of(cell)).collect()).collect(),
        })
    }
}

/// Every pair, where there are more than the baseline's own.
pub fn pairs(solution: &Solution) -> Option<Titled> {
    if solution.setups.len() < 3 {
        return None;
    }
    let grid = differences::grid(solution, &solution.all_pairs, Naming::Pair);
    let caption = "Here p is adjusted for the number of all pairs, so it may be larger than above; for those who ask every \
                   question at once.";
    Titled::of("pairs", "Every pair", caption, grid)
}

/// Loop and rollers side by side.
pub fn venues(solution: &Solution, units: Units) -> Vec<Titled> {
    let Some(both) = together(solution, units) else { return Vec::new() };
    let crr = "Crr of each set-up where it was ridden, on a flat. Surface: Crr on the loop less Crr on the rollers, what the \
               road and the casing on it cost as far as the conversion from drum to flat holds.";
    let differences =
        format!("Differences in Crr from the baseline on each venue and together. {}", agreement(solution));
    [
        Titled::of("venue-set-ups", "Crr on loop and rollers", crr, both.setups),
        Titled::of("venue-differences", "Differences seen on both", differences.trim(), both.differences),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The budget of the results at the top, where a session mixes venues that of the rollers, and their check by draws.
pub fn budgets(solution: &Solution, units: Units) -> Vec<Titled> {
    let mut all = vec![budget(solution, units, &solution.budget, "budget-values", "")];
    if let Some(rollers) = solution.venues.iter().flat_map(|v| &v.results).find(|r| r.venue == "rollers") {
        let rolling = Solution { separable: true, ..solution.clone() };
        all.push(budget(&rolling, units, &rollers.budget, "budget-rollers", " on the rollers"));
    }
    all.push(drawn(solution));
    all.into_iter().flatten().collect()
}

/// The check of the budget by random draws, where one was asked for.
fn drawn(solution: &Solution) -> Option<Titled> {
    let made = solution.monte_carlo.as_ref()?;
    let grid = monte_carlo::table(solution, made, monte_carlo::IN_PAGE);
    let caption = format!("{} draws of all instrument inputs. {}", made.draws, monte_carlo::sentence(made));
    Titled::of("budget-draws", "Check by random draws", &caption, grid)
}

fn budget(solution: &Solution, units: Units, lines: &[BudgetLine], id: &str, place: &str) -> Option<Titled> {
    let baseline = name_of(solution, &solution.baseline);
    let speed = reference_speed(solution, units);
    let watts = if place.is_empty() { format!("W at {speed}") } else { format!("Rolling, W at {speed}") };
    let mut grid = Grid::new(&[
        "Source",
        "Standard uncertainty",
        "Crr",
        "CdA, m²",
        &watts,
        "Resistance, N",
        "Crr, difference",
        "CdA, m², difference",
        "W, difference",
    ]);
    // Values that are not known have no budget; differences may be known all the same.
    let own = |value: Option<f64>, decimals| {
        if solution.separable { two(value, decimals) } else { UNKNOWN.to_string() }
    };
    let compared = solution.contrasts.iter().any(|c| c.power_w.value.is_some());
    for line in lines {
        let largest = |pick: fn(&Contribution) -> Option<f64>, decimals| {
            let values = line.contrasts.iter().filter(|_| compared).filter_map(pick).map(f64::abs);
            two(values.filter(|v| v.is_finite()).reduce(f64::max), decimals)
        };
        grid.rows.push(vec![
            line.source.clone(),
            crate::report::budget::uncertainty(line),
            own(line.crr, CRR_DECIMALS),
            own(line.cda_m2, CDA_DECIMALS),
            own(line.power_w, WATT_DECIMALS),
            two(line.drag_n, 3),
            largest(|c| c.crr, CRR_DECIMALS),
            largest(|c| c.cda_m2, CDA_DECIMALS),
            largest(|c| c.power_w, WATT_DECIMALS),
        ]);
    }
    let grid = grid.without_empty(UNKNOWN);
    if grid.header.len() < 3 {
        return None;
    }
    let mut caption =
        format!("By how much one standard uncertainty of each source moves the results{place}, for {baseline}");
    if compared {
        caption.push_str(" itself and for the difference that it moves most");
    }
    caption.push('.');
    Titled::of(id, if place.is_empty() { "Results" } else { "Rollers" }, &caption, grid)
}

/// Two digits, or "< 0.001" where fewer than so many decimals would hold them: nobody needs a millionth of a watt.
fn two(value: Option<f64>, decimals: usize) -> String {
    // A quantity that a source cannot move at all would fill a column with zeros.
    let Some(size) = value.map(f64::abs).filter(|v| v.is_finite() && *v > 1e-12) else { return UNKNOWN.into() };
    let least = 10f64.powi(-(decimals as i32));
    if size < least { format!("< {least:.decimals$}") } else { significant(size, 2) }
}

/// Runs on the loop and runs on rollers.
pub fn runs(solution: &Solution, units: Units) -> Vec<Titled> {
    let on_loop = run_table::on_loop(solution, units, Detail::Full);
    let on_rollers = run_table::on_rollers(solution, units, Detail::Full);
    let window = "Seconds of the window count from the first record; the standard error of Crr is that of the scatter within \
                  the window alone.";
    [
        Titled::of("runs-loop", "On the loop", "Wind is where it blows from, at the height of the rider.", on_loop),
        Titled::of("runs-rollers", "On rollers", window, on_rollers),
    ]
    .into_iter()
    .flatten()
    .collect()
}
