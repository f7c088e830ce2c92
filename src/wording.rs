//! Words that read alike in every output: counts, lists, shares, and text of others made harmless.
//!
//! Given numbers and strings; gives text. This is the one place where names, reasons and titles from files lose what could
//! steer a terminal, a figure or a spreadsheet; every renderer calls it, none does it by itself.

/// "1 lap", "12 laps".
pub fn counted(count: usize, one: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

/// Words joined as in a sentence: "a, b and c".
pub fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [start @ .., last] => format!("{} and {last}", start.join(", ")),
    }
}

/// A share as "95 %", with as many decimals as it has and three at most.
pub fn percent(share: f64) -> String {
    if !share.is_finite() {
        return "– %".into();
    }
    let text = format!("{:.3}", share * 100.0);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

/// Control characters, and marks that turn the direction of writing round, left out; a line end stays.
pub fn harmless(text: &str) -> String {
    text.chars().filter(|c| *c == '\n' || !(c.is_control() || turns_text(*c))).collect()
}

/// The same on one line.
pub fn on_one_line(text: &str) -> String {
    harmless(&text.replace(['\n', '\r', '\t'], " "))
}

/// A text as a cell of a table for a spreadsheet: what would be taken for a formula gets a mark that says it is text.
pub fn spreadsheet_cell(text: &str) -> String {
    let text = on_one_line(text);
    if text.starts_with(['=', '+', '-', '@']) { format!("'{text}") } else { text }
}

/// Marks of the bidirectional algorithm (Unicode Standard Annex 9) and non-characters, which XML forbids.
fn turns_text(c: char) -> bool {
    matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_could_steer_a_terminal_or_a_spreadsheet_is_taken_out() {
        assert_eq!(harmless("a\u{1b}[31m\u{7}b\nc\u{202e}d"), "a[31mb\ncd");
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
