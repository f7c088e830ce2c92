//! Faults while results are written: whoever looks afterwards finds the old results or the new ones, whole.

use crate::program::Desk;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

/// Contents of all files of a folder by their names in it.
type Contents = BTreeMap<PathBuf, Vec<u8>>;

fn contents(folder: &Path) -> Contents {
    let mut found = Contents::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(at) = open.pop() {
        for entry in std::fs::read_dir(&at).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder).expect("below the folder").to_path_buf();
                found.insert(name, std::fs::read(&path).expect("a readable file"));
            }
        }
    }
    found
}

/// Two sessions of the same rides that differ in their titles, and what each gives.
struct TwoSessions {
    desk: Desk,
    results: [Contents; 2],
}

impl TwoSessions {
    const NAMES: [&'static str; 2] = ["first.toml", "second.toml"];
    const OWN: [&'static str; 2] = ["note.txt", "figures/thesis.svg"];

    fn new() -> TwoSessions {
        let desk = Desk::new();
        let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-loops/two-positions");
        for entry in std::fs::read_dir(&sample).expect("the sample is there").flatten() {
            if entry.path().extension().is_some_and(|e| e == "fit") {
                desk.put(&entry.file_name().to_string_lossy(), std::fs::read(entry.path()).expect("a ride"));
            }
        }
        let text = std::fs::read_to_string(sample.join("session.toml")).expect("the session of the sample");
        let results = TwoSessions::NAMES.map(|name| {
            let titled =
                text.lines().map(|l| if l.starts_with("title") { format!("title = \"{name}\"") } else { l.into() });
            desk.put(name, titled.collect::<Vec<String>>().join("\n"));
            let out = format!("{name}-alone");
            desk.answered(&["solve", name, "--out", &out]);
            contents(&desk.path(&out))
        });
        assert!(results[0] != results[1] && results[0].len() == results[1].len() && results[0].len() > 10);
        TwoSessions { desk, results }
    }

    fn solving(&self, which: usize, out: &str) -> Command {
        let mut command = self.desk.command(&["solve", TwoSessions::NAMES[which], "--out", out]);
        command.stdout(Stdio::null()).stderr(Stdio::null());
        command
    }

    /// Puts files of the user among results.
    fn add_own(&self, out: &str) {
        for name in TwoSessions::OWN {
            self.desk.put(&format!("{out}/{name}"), name);
        }
    }

    /// Fails when a folder holds anything but one of the two results and, where they were added, the user's files.
    fn is_whole(&self, out: &str, when: &str, with_own: bool) {
        let mut found = contents(&self.desk.path(out));
        for name in TwoSessions::OWN.iter().filter(|_| with_own) {
            assert_eq!(found.remove(Path::new(name)).as_deref(), Some(name.as_bytes()), "{when}: {name} is lost");
        }
        let names: Vec<&PathBuf> = found.keys().collect();
        assert!(self.results.contains(&found), "{when}: a mixture or a part: {names:?}");
    }
}

#[test]
fn a_run_killed_at_any_moment_leaves_old_or_new_results_whole() {
    let two = TwoSessions::new();
    assert!(two.solving(0, "out").status().expect("the program starts").success());
    two.add_own("out");
    let mut killed = 0;
    for round in 0..40 {
        let mut child = two.solving((round + 1) % 2, "out").spawn().expect("the program starts");
        std::thread::sleep(Duration::from_millis(20 + 9 * round as u64));
        child.kill().expect("a process can be killed");
        killed += usize::from(!child.wait().expect("it ends").success());
        two.is_whole("out", &format!("killed in round {round}"), true);
    }
    // Some of the moments must have been before the end, or nothing was tried.
    assert!(killed > 0);
    // A dead run's folder, made for certain, beside those that the kills may have left.
    std::fs::create_dir_all(two.desk.path(".loopwright-dead/new")).expect("a folder");
    two.desk.put(".loopwright-dead/new/report.html", "half a page");
    two.desk.put(".loopwright-dead/loopwright.lock", "");
    // Afterwards the folder can be written as before, and what the dead have left is gone.
    assert!(two.solving(0, "out").status().expect("the program starts").success());
    two.is_whole("out", "after all", true);
    let left: Vec<PathBuf> =
        std::fs::read_dir(two.desk.path(".")).expect("the desk").flatten().map(|e| e.path()).collect();
    let hidden = |p: &&PathBuf| p.file_name().is_some_and(|n| n.to_string_lossy().starts_with('.'));
    assert_eq!(left.iter().find(hidden), None);
}

#[test]
fn two_runs_at_once_into_one_folder_leave_the_results_of_one() {
    let two = TwoSessions::new();
    for round in 0..6 {
        let mut running = [0, 1, 0].map(|which| two.solving(which, "out").spawn().expect("the program starts"));
        for child in &mut running {
            assert!(child.wait().expect("it ends").success(), "round {round}");
        }
        two.is_whole("out", &format!("round {round}"), round > 0);
        two.add_own("out");
    }
    let left: Vec<PathBuf> = two
        .desk
        .listing()
        .into_iter()
        .filter(|p| p.file_name().is_some_and(|n| n.to_string_lossy().starts_with('.')))
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

/// A small disk of its own, where the machine allows one; gone with the value.
#[cfg(target_os = "linux")]
struct SmallDisk {
    at: PathBuf,
}

#[cfg(target_os = "linux")]
impl SmallDisk {
    fn of(at: PathBuf, bytes: usize) -> Option<SmallDisk> {
        std::fs::create_dir_all(&at).ok()?;
        let size = format!("size={bytes}");
        let mounted = Command::new("mount").args(["-t", "tmpfs", "-o", &size, "loopwright-test"]).arg(&at).output();
        if mounted.is_ok_and(|o| o.status.success()) {
            return Some(SmallDisk { at });
        }
        println!("skipped: this user cannot mount a small disk");
        None
    }

    fn read_only(&self) {
        let done = Command::new("mount").args(["-o", "remount,ro"]).arg(&self.at).status();
        assert!(done.is_ok_and(|s| s.success()));
    }
}

#[cfg(target_os = "linux")]
impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.at).status();
    }
}

#[test]
#[cfg(target_os = "linux")]
fn a_full_or_read_only_disk_keeps_the_old_results_and_says_so() {
    let two = TwoSessions::new();
    // A page of 4 KiB a file; room for one result and a half.
    let pages: usize = two.results[0].values().map(|bytes| bytes.len().div_ceil(4096) + 1).sum();
    let Some(disk) = SmallDisk::of(two.desk.path("disk"), pages * 4096 * 3 / 2) else { return };
    let solve = |which: usize| two.desk.run(&["solve", TwoSessions::NAMES[which], "--out", "disk/out"]);
    assert_eq!(solve(0).status, 0);
    let full = solve(1);
    assert_eq!(full.status, 1, "{full:?}");
    assert!(full.stderr.contains("disk/out") && full.stderr.contains("No space left"), "{full:?}");
    assert_eq!(contents(&two.desk.path("disk/out")), two.results[0]);
    assert_eq!(std::fs::read_dir(&disk.at).expect("the disk").count(), 1, "something is left behind");
    disk.read_only();
    let refused = solve(1);
    assert_eq!(refused.status, 1, "{refused:?}");
    assert!(refused.stderr.contains("disk/out") && refused.stderr.contains("Read-only"), "{refused:?}");
    assert_eq!(contents(&two.desk.path("disk/out")), two.results[0]);
}

#[test]
fn results_go_through_a_link_and_to_odd_names_but_not_over_a_file() {
    let two = TwoSessions::new();
    for out in ["with space", "größe", "deep/er/down"] {
        assert_eq!(two.desk.run(&["solve", "first.toml", "--out", out]).status, 0, "{out}");
        assert_eq!(contents(&two.desk.path(out)), two.results[0], "{out}");
    }
    two.desk.put("taken", "a file of somebody");
    let words = ["taken: it is a file, not a folder", "choose another folder with --out"];
    two.desk.refused(&["solve", "first.toml", "--out", "taken"], 2, &words);
    assert_eq!(two.desk.text("taken"), "a file of somebody");
    let long = "n".repeat(300);
    two.desk.refused(&["solve", "first.toml", "--out", &long], 1, &["nnn"]);
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("with space", two.desk.path("link")).expect("a link");
        assert_eq!(two.desk.run(&["solve", "second.toml", "--out", "link"]).status, 0);
        assert!(two.desk.path("link").is_symlink());
        assert_eq!(contents(&two.desk.path("with space")), two.results[1]);
        std::os::unix::fs::symlink("nothing", two.desk.path("dangling")).expect("a link");
        two.desk.refused(
            &["solve", "first.toml", "--out", "dangling"],
            2,
            &["dangling: it is a link that leads nowhere"],
        );
    }
}

#[test]
fn a_reader_that_closes_the_pipe_ends_the_program_without_a_panic() {
    let two = TwoSessions::new();
    let mut command = two.desk.command(&["solve", "first.toml", "--out", "out"]);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    assert!(!String::from_utf8_lossy(&output.stderr).contains("panicked"));
    assert_eq!(contents(&two.desk.path("out")), two.results[0]);
}

#[test]
fn numbers_do_not_depend_on_the_locale() {
    let two = TwoSessions::new();
    let told = ["C", "de_DE.UTF-8", "fr_FR.UTF-8"].map(|locale| {
        let mut command = two.desk.command(&["solve", "first.toml", "--out", locale]);
        command.env("LANG", locale).env("LC_ALL", locale).env("LC_NUMERIC", locale);
        let output = command.output().expect("the program starts");
        assert_eq!(contents(&two.desk.path(locale)), two.results[0], "{locale}");
        output.stdout
    });
    assert!(told[0] == told[1] && told[1] == told[2]);
}
