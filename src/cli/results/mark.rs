//! The mark by which a folder is known as ours: a list of everything that was written there, with SHA-256.
//!
//! Given names and bytes; gives the text of the list, and reads it back. A program that checks sums reads it too
//! (`sha256sum --check`). It never looks at the files themselves.

use loopwright::record::sha256_hex;
use loopwright::report::files::ResultFile;
use std::collections::BTreeMap;

/// Name of the list in the folder.
pub const MARK: &str = "loopwright-files.txt";
/// How the first line of a list begins; the kind of the folder follows.
const HEAD: &str = "# loopwright files 1: ";
/// What a person reads who opens the list.
const NOTE: &str = "\
# loopwright replaces the files below as long as they are unchanged. Whatever else lies in this folder is yours and stays.
";
/// Digits of a SHA-256.
const DIGITS: usize = 64;

/// Which command wrote a folder: one never replaces what another wrote.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Solve,
    Pool,
    Plan,
    Rehearse,
    Inspect,
}

impl Kind {
    const ALL: [Kind; 5] = [Kind::Solve, Kind::Pool, Kind::Plan, Kind::Rehearse, Kind::Inspect];

    /// The command, as it is typed.
    pub fn command(self) -> &'static str {
        match self {
            Kind::Solve => "solve",
            Kind::Pool => "pool",
            Kind::Plan => "plan",
            Kind::Rehearse => "rehearse",
            Kind::Inspect => "inspect",
        }
    }

    /// The flag with which a person chooses the folder.
    pub fn flag(self) -> &'static str {
        if self == Kind::Inspect { "--figures" } else { "--out" }
    }
}

/// A list that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    pub kind: Kind,
    /// SHA-256 by names, with `/` between folder and file.
    pub sums: BTreeMap<String, String>,
}

/// The list of these files.
pub fn listed(kind: Kind, files: &[ResultFile]) -> ResultFile {
    let mut text = format!("{HEAD}{}\n{NOTE}", kind.command());
    for file in files {
        text.push_str(&line(&sha256_hex(&file.bytes), &file.name));
    }
    ResultFile { name: MARK.into(), bytes: text.into_bytes() }
}

/// One line, with odd names escaped as `sha256sum` does.
fn line(sum: &str, name: &str) -> String {
    if name.contains(['\\', '\n', '\r']) {
        let escaped = name.replace('\\', "\\\\").replace('\n', "\\n").replace('\r', "\\r");
        return format!("\\{sum}  {escaped}\n");
    }
    format!("{sum}  {name}\n")
}

impl Mark {
    /// Reads a list; where it is not one that we wrote, the number of the first line that tells so.
    pub fn read(text: &str) -> Result<Mark, usize> {
        let mut lines = text.lines().enumerate();
        let head = lines.next().and_then(|(_, line)| line.strip_prefix(HEAD)).ok_or(1_usize)?;
        let kind = Kind::ALL.into_iter().find(|k| k.command() == head).ok_or(1_usize)?;
        let mut sums = BTreeMap::new();
        for (index, line) in lines.filter(|(_, line)| !line.starts_with('#')) {
            let (name, sum) = entry(line).ok_or(index + 1)?;
            sums.insert(name, sum);
        }
        Ok(Mark { kind, sums })
    }

    /// Whether the bytes are those that were written under a name.
    pub fn vouches_for(&self, name: &str, bytes: &[u8]) -> bool {
        self.sums.get(name).is_some_and(|sum| *sum == sha256_hex(bytes))
    }
}

fn entry(line: &str) -> Option<(String, String)> {
    let (escaped, line) = line.strip_prefix('\\').map_or((false, line), |rest| (true, rest));
    let (sum, name) = line.split_once("  ")?;
    let is_sum = sum.len() == DIGITS && sum.bytes().all(|b| b.is_ascii_hexdigit());
    let name = if escaped { unescaped(name)? } else { name.to_string() };
    (is_sum && !name.is_empty()).then(|| (name, sum.to_string()))
}

fn unescaped(name: &str) -> Option<String> {
    let mut out = String::new();
    let mut letters = name.chars();
    while let Some(letter) = letters.next() {
        out.push(match letter {
            '\\' => match letters.next()? {
                '\\' => '\\',
                'n' => '\n',
                'r' => '\r',
                _ => return None,
            },
            other => other,
        });
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(name: &str) -> ResultFile {
        ResultFile { name: name.into(), bytes: name.as_bytes().to_vec() }
    }

    #[test]
    fn a_list_is_read_back_whatever_the_names() {
        let files = ["solution.json", "figures/1.svg", "two  blanks", "back\\slash", "two\nlines\r", "\\n"].map(file);
        let list = String::from_utf8(listed(Kind::Pool, &files).bytes).unwrap();
        let mark = Mark::read(&list).unwrap();
        assert_eq!((mark.kind, mark.sums.len()), (Kind::Pool, files.len()));
        for file in &files {
            assert!(mark.vouches_for(&file.name, &file.bytes), "{:?}", file.name);
            assert!(!mark.vouches_for(&file.name, b"changed"), "{:?}", file.name);
        }
    }

    proptest::proptest! {
        #[test]
        fn any_names_are_read_back_and_any_text_is_read_or_refused(names in proptest::collection::btree_set(".+", 0..9), text in ".*") {
            let files: Vec<ResultFile> = names.iter().map(|name| file(name)).collect();
            let list = String::from_utf8(listed(Kind::Plan, &files).bytes).unwrap();
            let mark = Mark::read(&list).unwrap();
            proptest::prop_assert_eq!(mark.sums.into_keys().collect::<std::collections::BTreeSet<_>>(), names);
            let _ = Mark::read(&text);
            let _ = Mark::read(&format!("{list}{text}"));
        }
    }

    #[test]
    fn another_text_is_no_list_and_the_line_is_told() {
        let sound = String::from_utf8(listed(Kind::Solve, &[file("a")]).bytes).unwrap();
        assert_eq!(Mark::read(""), Err(1));
        assert_eq!(Mark::read("{}"), Err(1));
        assert_eq!(Mark::read(&sound.replace("solve", "bake")), Err(1));
        assert_eq!(Mark::read(&(sound.clone() + "my own note\n")), Err(4));
        assert_eq!(Mark::read(&(sound + "cafe  a\n")), Err(4));
    }
}
