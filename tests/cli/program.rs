//! Running the program in a folder of its own.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A folder that goes when the test ends.
pub struct Desk {
    folder: tempfile::TempDir,
}

/// What a run of the program left behind.
#[derive(Debug)]
pub struct Outcome {
    pub status: i32,
    pub stdout: String,
    pub stderr: String,
}

impl Desk {
    pub fn new() -> Desk {
        Desk { folder: tempfile::tempdir().expect("a temporary folder") }
    }

    /// A desk with one file on it.
    pub fn with(name: &str, bytes: impl AsRef<[u8]>) -> Desk {
        let desk = Desk::new();
        desk.put(name, bytes);
        desk
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn put(&self, name: &str, bytes: impl AsRef<[u8]>) {
        std::fs::write(self.path(name), bytes).expect("a file in a temporary folder");
    }

    pub fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }

    /// Every file and folder on the desk, deep.
    pub fn listing(&self) -> BTreeSet<PathBuf> {
        let mut found = BTreeSet::new();
        let mut open = vec![self.folder.path().to_path_buf()];
        while let Some(folder) = open.pop() {
            for entry in std::fs::read_dir(folder).expect("a readable folder").flatten() {
                if entry.path().is_dir() {
                    open.push(entry.path());
                }
                found.insert(entry.path());
            }
        }
        found
    }

    /// The program with this folder as its own, not yet started.
    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_loopwright"));
        command.args(arguments).current_dir(self.folder.path()).stdin(Stdio::null());
        command.env("COLUMNS", "80").env_remove("RUST_BACKTRACE");
        command
    }

    pub fn run(&self, arguments: &[&str]) -> Outcome {
        Outcome::from(self.command(arguments).output().expect("the program starts"))
    }

    /// Runs what must be refused: the given status, every word in the message, nothing written, no result printed.
    pub fn refused(&self, arguments: &[&str], status: i32, words: &[&str]) -> Outcome {
        let before = self.listing();
        let outcome = self.run(arguments);
        assert_eq!(outcome.status, status, "{arguments:?}: {outcome:?}");
        for word in words {
            assert!(outcome.stderr.contains(word), "{arguments:?}: «{word}» is not in: {}", outcome.stderr);
        }
        assert_eq!(outcome.stdout, "", "{arguments:?}");
        assert_eq!(self.listing(), before, "{arguments:?} wrote something");
        outcome
    }

    /// Runs what must succeed; gives standard output.
    pub fn answered(&self, arguments: &[&str]) -> String {
        let outcome = self.run(arguments);
        assert_eq!(outcome.status, 0, "{arguments:?}: {outcome:?}");
        outcome.stdout
    }

    /// The same as a JSON value.
    pub fn json(&self, arguments: &[&str]) -> serde_json::Value {
        let mut all = arguments.to_vec();
        all.extend(["--format", "json"]);
        serde_json::from_str(&self.answered(&all)).expect("standard output is JSON")
    }
}

impl From<Output> for Outcome {
    fn from(output: Output) -> Self {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        // A program that a signal ended has no status.
        let status = output.status.code().unwrap_or(-1);
        Outcome { status, stdout: text(&output.stdout), stderr: text(&output.stderr) }
    }
}

impl Outcome {
    /// Whatever came in, the program ends in one of the three ways that it promises.
    pub fn assert_orderly(&self) {
        assert!((0..=2).contains(&self.status), "{self:?}");
        assert!(!self.stderr.contains("panicked"), "{self:?}");
        let told = ["loopwright: ", "error: ", "{\"error\":"].iter().any(|start| self.stderr.starts_with(start));
        assert_eq!(self.status != 0, told, "{self:?}");
    }
}

/// A file of the sample folders that come with the program.
pub fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-loops").join(name)
}
