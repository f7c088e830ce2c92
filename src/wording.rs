//! Words that read alike in every output: counts, lists, shares, and text of others made harmless.
//!
//! Given numbers and strings; gives text. Names, reasons and titles from files lose what could steer a terminal, a figure or a
//! spreadsheet by [`crate::printable`]; every renderer calls it, none does it by itself.

use crate::printable;

/// "1 lap", "12 laps".
pub fn counted(count: usize, one: &str) -> String {
    counted_as(count, one, &format!("{one}s"))
}

/// "1 record carries", "3 records carry".
pub fn counted_as(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// Words joined as in a sentence: "a, b and c".
pub fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [start @ .., last] => format!("{} and {last}", start.join(", ")),
    }
}

/// What a reader is told a venue is, from the word of the results: "track", "rollers", or "loop" for a road.
pub fn venue_name(venue: &str) -> &str {
    if venue == "road" { "loop" } else { venue }
}

/// What a reader is told a source of the budget is: the venue by its word, and the delay of speed behind power by the one that
/// its columns and keys have.
pub fn source_name(source: &str, venue: &str) -> String {
    source
        .replace("along the loop", &format!("along the {}", venue_name(venue)))
        .replace("delay left open", "lag left open")
}

/// Words as they begin a sentence.
pub fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// A share as "95 %", with as many decimals as it has and three at most.
pub fn percent(share: f64) -> String {
    if !share.is_finite() {
        return "– %".into();
    }
    let text = format!("{:.3}", share * 100.0);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

/// Text of others with a stand-in for what would steer a terminal or turn the direction of writing round; a line end stays.
pub fn harmless(text: &str) -> String {
    printable::lines(text).into_owned()
}

/// The same on one line.
pub fn on_one_line(text: &str) -> String {
    printable::one_line(text).into_owned()
}

/// A text as a cell of a table for a spreadsheet: what would be taken for a formula gets a mark that says it is text.
pub fn spreadsheet_cell(text: &str) -> String {
    printable::cell(text).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_could_steer_a_terminal_or_a_spreadsheet_is_taken_out() {
        assert_eq!(harmless("a\u{1b}[31m\u{7}b\nc\u{202e}d"), "a\u{fffd}[31m\u{fffd}b\nc\u{fffd}d");
        assert_eq!(on_one_line("a\tb\nc"), "a b c");
        assert_eq!(spreadsheet_cell("=1+1"), "'=1+1");
        assert_eq!(spreadsheet_cell("28 mm, 5 bar"), "28 mm, 5 bar");
    }

    #[test]
    fn counts_lists_and_shares_read_as_in_a_sentence() {
        assert_eq!((counted(1, "lap"), counted(12, "lap")), ("1 lap".into(), "12 laps".into()));
        assert_eq!(listed(&["a".into(), "b".into(), "c".into()]), "a, b and c");
        assert_eq!(
            (percent(0.95), percent(0.999), percent(0.6827)),
            ("95 %".into(), "99.9 %".into(), "68.27 %".into())
        );
    }
}
