//! Names and values of an address or a posted form.
//!
//! Given encoded text; gives pairs in their order. It knows no page.

use super::refusal::Refusal;

/// Most fields of one form: the largest session has 200 runs of some forty.
const MOST_FIELDS: usize = 20_000;
/// Longest value of a field that is not the text of a file, characters.
const LONGEST_VALUE: usize = 2_000;

/// See the module.
#[derive(Debug, Clone, Default)]
pub struct Form {
    pairs: Vec<(String, String)>,
}

impl Form {
    /// Errors: too many fields.
    pub fn parse(encoded: &[u8]) -> Result<Form, Refusal> {
        let mut pairs = Vec::new();
        for (name, value) in form_urlencoded::parse(encoded) {
            if pairs.len() == MOST_FIELDS {
                return Err(Refusal::new(
                    413,
                    format!("The form has more than {MOST_FIELDS} fields; split the day up"),
                ));
            }
            pairs.push((name.into_owned(), value.into_owned()));
        }
        Ok(Form { pairs })
    }

    /// The first value of a name.
    pub fn get(&self, name: &str) -> Option<&str> {
        self.pairs.iter().find(|(n, _)| n == name).map(|(_, value)| value.as_str())
    }

    /// A value on one line without blanks around it, empty where there is none.
    ///
    /// Errors: a value longer than any that a page asks for.
    pub fn line(&self, name: &str) -> Result<String, Refusal> {
        let value = self.get(name).unwrap_or_default();
        if value.chars().count() > LONGEST_VALUE {
            return Err(Refusal::new(413, format!("{name}: longer than the limit of {LONGEST_VALUE} characters")));
        }
        Ok(value.chars().map(|c| if c.is_control() { ' ' } else { c }).collect::<String>().trim().to_string())
    }

    /// A text of several lines that was sent as a JSON string, because a browser changes line ends.
    pub fn text(&self, name: &str) -> Result<String, Refusal> {
        let value = self.get(name).unwrap_or("\"\"");
        serde_json::from_str(value)
            .map_err(|_| Refusal::odd(format!("{name}: not sent by a page of this desk; load the page again")))
    }

    /// Every name in the order of the form.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.pairs.iter().map(|(name, _)| name.as_str())
    }

    /// Puts a value in place of all values of a name, or takes the name out.
    pub fn put(&mut self, name: &str, value: Option<&str>) {
        self.pairs.retain(|(n, _)| n != name);
        self.pairs.extend(value.map(|value| (name.to_string(), value.to_string())));
    }

    pub fn has(&self, name: &str) -> bool {
        self.get(name).is_some()
    }
}

/// A value put into an address.
pub fn encoded(value: &str) -> String {
    form_urlencoded::byte_serialize(value.as_bytes()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_come_back_as_they_were_put_in() {
        let form = Form::parse(format!("a={}&b=1", encoded("x & ü\n=")).as_bytes()).unwrap();
        assert_eq!((form.get("a"), form.line("b").unwrap().as_str()), (Some("x & ü\n="), "1"));
        assert_eq!(form.line("a").unwrap(), "x & ü =");
    }

    #[test]
    fn limits_are_kept() {
        assert_eq!(Form::parse("a=&".repeat(MOST_FIELDS + 1).as_bytes()).unwrap_err().status, 413);
        let long = Form::parse(format!("a={}", "x".repeat(LONGEST_VALUE + 1)).as_bytes()).unwrap();
        assert_eq!(long.line("a").unwrap_err().status, 413);
    }
}
