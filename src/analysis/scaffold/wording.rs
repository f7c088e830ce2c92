//! Text as a session file takes it.
//!
//! Given keys and foreign text; gives lines and comments that cannot end early.

/// A line with its comment at one column, as far as it fits.
pub fn commented(key: &str, comment: &str) -> String {
    format!("{key:<29} # {comment}\n")
}

/// Text for a comment: names come from files and must not end it.
pub fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::printable::quoted;

    #[test]
    fn names_with_quotes_and_line_ends_stay_within_their_string_and_comment() {
        let text = format!("a = {}\n# {}\n", quoted("x\"\ny"), one_line("p\nq"));
        let table: toml::Table = toml::from_str(&text).unwrap();
        assert_eq!(table["a"].as_str(), Some("x\"\ny"));
        assert_eq!(table.len(), 1);
    }
}
