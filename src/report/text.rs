//! The summary on the terminal: verdict, differences, set-ups, both venues, runs, findings, in this order.
//!
//! Given the solution and how it is to be printed; gives text that fits the width. It prints nothing itself.

use super::crr_drift;
use super::differences::{self, Naming};
use super::factors;
use super::findings::{self, Meaning};
use super::lap_bootstrap;
use super::lap_length;
use super::laps_left_out;
use super::leave_one_out;
use super::number::percent;
use super::run_table;
use super::run_to_run;
use super::setup_table;
use super::table::paragraph;
use super::together::{agreement, heading_of_setups, together};
use super::units::Units;
use super::verdict::Verdict;
use crate::solution::Solution;
use crate::wording::{harmless, venue_name};

/// No narrower than this, whatever the terminal says.
pub(super) const LEAST_WIDTH: usize = 40;
/// Longer lines are hard to read.
pub(super) const MOST_WIDTH: usize = 100;

/// How much is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Extent {
    #[default]
    Full,
    /// As above with every finding to its last sentence.
    Whole,
    /// The verdict and one table, as for a pipe.
    Brief,
}

/// What makes letters bold on a terminal, and what ends it (ECMA-48, 8.3.117, SGR).
const BOLD_BEGINS: &str = "\u{1b}[1m";
const BOLD_ENDS: &str = "\u{1b}[22m";

/// What makes letters yellow, for what may turn the answer, and what ends it (ECMA-48, SGR).
const CAUTION_BEGINS: &str = "\u{1b}[33m";
const CAUTION_ENDS: &str = "\u{1b}[39m";

/// All of them.
pub const MARKS: [&str; 4] = [BOLD_BEGINS, BOLD_ENDS, CAUTION_BEGINS, CAUTION_ENDS];

/// Whether the reader's terminal has bold letters and colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Emphasis {
    #[default]
    Plain,
    Bold,
}

/// How the summary is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Print {
    pub width: usize,
    pub units: Units,
    pub extent: Extent,
    pub emphasis: Emphasis,
}

impl Print {
    pub fn plain(width: usize, units: Units) -> Print {
        Print { width, units, extent: Extent::Full, emphasis: Emphasis::Plain }
    }
}

/// Text in the making: everything of others loses its control characters before it is made bold.
struct Page {
    print: Print,
    text: String,
}

impl Page {
    /// Text between marks, line by line, so that a pager cuts none.
    fn marked(&self, text: &str, [begins, ends]: [&str; 2]) -> String {
        let one = |line: &str| if line.is_empty() { String::new() } else { format!("{begins}{line}{ends}") };
        match self.print.emphasis {
            Emphasis::Plain => text.to_string(),
            Emphasis::Bold => text.split('\n').map(one).collect::<Vec<_>>().join("\n"),
        }
    }

    fn bold(&self, words: &str) -> String {
        self.marked(&harmless(&paragraph(words, self.print.width, "")), [BOLD_BEGINS, BOLD_ENDS])
    }

    fn say(&mut self, words: &str) {
        if !words.is_empty() {
            self.text.push_str(&harmless(&paragraph(words, self.print.width, "")));
        }
    }

    fn say_bold(&mut self, words: &str) {
        let text = self.bold(words);
        self.text.push_str(&text);
    }

    fn section(&mut self, heading: &str, body: &str) {
        self.headed(&self.bold(heading), body);
    }

    /// A section of what may turn the answer, whose heading stands out.
    fn section_of_caution(&mut self, heading: &str, body: &str) {
        self.headed(&self.marked(&self.bold(heading), [CAUTION_BEGINS, CAUTION_ENDS]), body);
    }

    fn headed(&mut self, heading: &str, body: &str) {
        if !body.is_empty() {
            self.text.push_str(&format!("\n{heading}{}\n", harmless(body.trim_end())));
        }
    }
}

/// See the module.
pub fn summary(solution: &Solution, print: Print) -> String {
    let print = Print { width: print.width.clamp(LEAST_WIDTH, MOST_WIDTH), ..print };
    let (width, units) = (print.width, print.units);
    let mut page = Page { print, text: String::new() };
    let verdict = Verdict::of(solution, units);
    page.say_bold(&verdict.headline);
    page.say(&verdict.also.join(" "));
    let share = percent(solution.confidence);
    let lines = |all: &[String]| -> String { all.iter().map(|line| item(line, width)).collect() };
    page.section("Not shown", &lines(&verdict.not_shown));
    // In full these stand among the findings.
    if print.extent == Extent::Brief {
        page.section_of_caution("In doubt", &lines(&verdict.doubts));
    }
    let venue = venue_name(&solution.circuit.kind);
    let on_the_loop = if solution.venues.is_some() { format!(" on the {venue}") } else { String::new() };
    let both = together(solution, units);
    // What both venues say is what a day of both is ridden for.
    let of_both = both.as_ref().map_or(String::new(), |both| both.differences.text(width));
    page.section(&format!("Differences seen on {venue} and rollers"), &of_both);
    page.say(&agreement(solution));
    let baseline = super::verdict::name_of(solution, &solution.baseline);
    let compared = differences::table(solution, &solution.contrasts, Naming::Setup).text(width);
    let set_ups = setup_table::set_ups(solution, units).text(width);
    let note = format!("± is half the width of the {share} interval.");
    let has_differences = solution.contrasts.iter().any(|c| c.power_w.value.is_some() || c.crr.value.is_some());
    // In brief there is one table: that of both venues where there is one.
    if has_differences && (of_both.is_empty() || print.extent != Extent::Brief) {
        page.section(&format!("Differences from {baseline}{on_the_loop}"), &compared);
    }
    page.section("What the factors do", &lines(&factors::sentences(solution)));
    if has_differences && print.extent == Extent::Brief {
        page.say(&note);
        return page.text;
    }
    if has_differences && solution.contrasts.iter().any(|c| c.p_holm.is_some()) {
        page.say(&format!(
            "{note} p is adjusted for the number of comparisons (Holm). SDD is the smallest detectable difference: what such a \
             test finds in four of five repeats."
        ));
    }
    if print.extent == Extent::Full {
        page.say(&leave_one_out::leading(solution));
    } else if print.extent == Extent::Whole {
        page.section(leave_one_out::HEADING, &lines(&leave_one_out::sentences(solution)));
    }
    page.section(&format!("Set-ups{on_the_loop}"), &set_ups);
    if !has_differences {
        page.say(&note);
    }
    if print.extent == Extent::Brief {
        return page.text;
    }
    page.say(&run_to_run::sentence(solution));
    page.say(&lap_bootstrap::sentence(solution));
    page.say(&crr_drift::sentence(solution));
    if let Some(both) = both {
        page.section(&heading_of_setups(solution), &both.setups.text(width));
    }
    runs(solution, &mut page);
    page.text.push_str(&told(solution, &page));
    page.text
}

fn runs(solution: &Solution, page: &mut Page) {
    let (width, units) = (page.print.width, page.print.units);
    let on_loop = run_table::on_loop(solution, units).text(width);
    let on_rollers = run_table::on_rollers(solution, units).text(width);
    let heading = if on_loop.is_empty() || on_rollers.is_empty() {
        "Runs".into()
    } else {
        format!("Runs on the {}", venue_name(&solution.circuit.kind))
    };
    page.section(&heading, &on_loop);
    if !on_loop.is_empty() {
        page.say(&lap_length::sentence(&solution.circuit, units));
    }
    page.section(if on_loop.is_empty() { "Runs" } else { "Runs on rollers" }, &on_rollers);
    page.say(&laps_left_out::sentence(solution));
}

/// What may change the answer is told in full, the rest in two lines each unless the whole is wanted.
fn told(solution: &Solution, page: &Page) -> String {
    let mut own = Page { print: page.print, text: String::new() };
    let mut shortened = false;
    for group in findings::grouped(&findings::of_result(solution, page.print.units)) {
        let mut lines = String::new();
        for told in &group.told {
            let place = if told.place.is_empty() { String::new() } else { format!("{}: ", told.place) };
            let told_whole = group.meaning == Meaning::Changes && told.full.len() == 1;
            let whole = page.print.extent == Extent::Whole || told_whole;
            let words = if whole && !told.full.is_empty() { told.full.join(" ") } else { told.brief.clone() };
            let place = if whole && told.full.len() > 1 { String::new() } else { place };
            shortened |= !whole && !told.full.is_empty();
            lines.push_str(&item(&format!("{place}{words} [{}]", told.code), page.print.width));
        }
        let heading = format!("Findings: {}", group.heading.to_lowercase());
        match group.meaning {
            Meaning::Changes => own.section_of_caution(&heading, &lines),
            _ => own.section(&heading, &lines),
        }
    }
    if shortened {
        own.say(
            "Each finding in full, with what to do next, is in report.html and solution.json, or here with --full.",
        );
    }
    own.text
}

/// A line of a list.
pub(super) fn item(words: &str, width: usize) -> String {
    paragraph(words, width, "  ").replacen("  ", "- ", 1)
}

pub(super) fn section(text: &mut String, width: usize, heading: &str, body: &str) {
    if !body.is_empty() {
        text.push_str(&format!("\n{}{}\n", paragraph(heading, width, ""), body.trim_end()));
    }
}
