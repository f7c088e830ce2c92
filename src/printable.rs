//! Text of others made fit to be shown: on a terminal, in a page, in a table, in a message.
//!
//! Given text from a file, its name or a flag; gives the same text without what could steer a terminal, turn the order
//! of letters round or become a formula. It never changes letters, digits or signs that are only read.

use std::borrow::Cow;

/// What stands for a character that is not shown.
const STAND_IN: char = '\u{FFFD}';
/// What stands at the end of a text that was cut.
const CUT: char = '…';

/// Whether a character does something else than being read: control characters, marks of text direction (Unicode
/// Standard Annex 9), separators of lines, invisible tags, the mark of byte order within a text, and the non-characters that
/// XML forbids.
///
/// Joiners stay: some scripts need them to be read.
pub fn is_odd(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{061C}' | '\u{200B}' | '\u{200E}' | '\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
        || matches!(c, '\u{FEFF}' | '\u{FFF9}'..='\u{FFFB}' | '\u{FFFE}' | '\u{FFFF}' | '\u{E0000}'..='\u{E007F}')
}

/// A string of a TOML file.
pub fn quoted(text: &str) -> String {
    toml::Value::String(text.to_string()).to_string()
}

/// The text in one line, with a stand-in for each odd character; tabs and ends of lines become blanks.
///
/// ```
/// use loopwright::printable::one_line;
/// assert_eq!(one_line("25 mm, größer"), "25 mm, größer");
/// assert_eq!(one_line("a\u{1b}[2Jb\tc"), "a\u{FFFD}[2Jb c");
/// ```
pub fn one_line(text: &str) -> Cow<'_, str> {
    shown(text, &|c| if matches!(c, '\n' | '\r' | '\t') { ' ' } else { STAND_IN })
}

/// The same for a text of several lines, whose ends stay.
pub fn lines(text: &str) -> Cow<'_, str> {
    shown(text, &|c| match c {
        '\n' => '\n',
        '\r' | '\t' => ' ',
        _ => STAND_IN,
    })
}

fn shown<'a>(text: &'a str, instead: &dyn Fn(char) -> char) -> Cow<'a, str> {
    if text.contains(is_odd) {
        return Cow::Owned(text.chars().map(|c| if is_odd(c) { instead(c) } else { c }).collect());
    }
    Cow::Borrowed(text)
}

/// At most so many of the first characters, in one line, for a message that quotes a file.
///
/// Behind an odd character nothing is quoted: what holds one is no text that a person wrote.
///
/// ```
/// use loopwright::printable::excerpt;
/// assert_eq!(excerpt("temperature", 40), "temperature");
/// assert_eq!(excerpt("temperature", 4), "temp…");
/// assert_eq!(excerpt("HOME=/root\0KEY=1", 40), "HOME=/root…");
/// ```
pub fn excerpt(text: &str, most: usize) -> String {
    let readable: String = text.chars().take_while(|c| !is_odd(*c)).take(most).collect();
    if readable.len() == text.len() { readable } else { format!("{readable}{CUT}") }
}

/// A cell of a table that a spreadsheet will not take for a formula: text that begins like one gets an apostrophe in
/// front, numbers stay as they are (common practice, no source).
///
/// ```
/// use loopwright::printable::cell;
/// assert_eq!(cell("=2+3"), "'=2+3");
/// assert_eq!(cell(" @SUM(A1)"), "' @SUM(A1)");
/// assert_eq!(cell("-0.25"), "-0.25");
/// assert_eq!(cell("latex - green"), "latex - green");
/// ```
pub fn cell(text: &str) -> Cow<'_, str> {
    let shown = one_line(text);
    let like_formula = shown.trim_start().starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠']);
    if like_formula && shown.parse::<f64>().is_err() { Cow::Owned(format!("'{shown}")) } else { shown }
}

/// The first odd character of a text as Unicode numbers it, such as `U+001B`.
pub fn odd_character(text: &str) -> Option<String> {
    text.chars().find(|c| is_odd(*c)).map(|c| format!("U+{:04X}", c as u32))
}

/// JSON with odd characters written as escapes, which means the same to a program and nothing to a terminal.
pub fn json(text: &str) -> Cow<'_, str> {
    // The blanks between values of JSON are ends of lines; within its texts they are escaped already.
    let plain = |c: char| !is_odd(c) || c == '\n';
    if text.chars().all(plain) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if plain(c) {
            out.push(c);
            continue;
        }
        let mut units = [0; 2];
        for unit in c.encode_utf16(&mut units) {
            out.push_str(&format!("\\u{unit:04x}"));
        }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn odd_characters_are_shown_as_a_stand_in_and_all_others_stay() {
        for odd in
            ['\0', '\u{7}', '\u{1b}', '\u{7f}', '\u{9b}', '\u{202e}', '\u{2066}', '\u{200f}', '\u{feff}', '\u{e0041}']
        {
            assert_eq!(one_line(&format!("a{odd}b")), "a\u{FFFD}b", "{odd:?}");
            assert!(odd_character(&format!("a{odd}b")).is_some_and(|name| name.starts_with("U+")));
        }
        for sound in ["größe", "шина", "צמיג", "車輪", "می\u{200c}خواهم", "👩\u{200d}🔧", "a & b <c>", ""]
        {
            assert_eq!(one_line(sound), sound);
            assert_eq!(lines(sound), sound);
            assert_eq!(odd_character(sound), None);
        }
        assert_eq!(lines("a\nb\r\n\u{1b}c"), "a\nb \n\u{FFFD}c");
    }

    #[test]
    fn escaped_json_means_the_same() {
        let value = serde_json::json!({ "label\u{202e}": "a\u{1b}[2J\u{9b}\u{feff}\u{e0041}\n\"b\"", "n": 1.5 });
        let text = serde_json::to_string_pretty(&value).unwrap();
        let escaped = json(&text);
        assert!(!escaped.chars().any(|c| is_odd(c) && c != '\n'), "{escaped}");
        assert_eq!(serde_json::from_str::<serde_json::Value>(&escaped).unwrap(), value);
    }
}
