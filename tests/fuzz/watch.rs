//! One input run under watch: panics caught, time and memory measured, a hang ends the process with its input kept.
//!
//! Given a target and bytes; gives a verdict. Memory is read from the kernel where it tells (Linux), else not watched.

use super::targets::Target;
use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, Once};
use std::time::{Duration, Instant};

/// An input that takes longer is a hang: inputs are at most a few hundred kilobytes and take milliseconds, and the
/// machine may be busy with other things.
const LONGEST: Duration = Duration::from_secs(20);
/// Memory above that before the input, MB: a hundred times the largest input.
const MOST_MEGABYTES: u64 = 256;

/// Whether an input runs, on whatever thread.
static UNDER_WATCH: AtomicBool = AtomicBool::new(false);
/// One input at a time, also where tests run side by side: a panic tells its place but not its input.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());
/// Where the last panic was, told by the hook.
static LAST_PANIC: Mutex<String> = Mutex::new(String::new());
static HOOK: Once = Once::new();

/// What came of an input.
pub enum Verdict {
    /// Answered or refused; `way` tells ways of answering apart.
    Answered {
        way: String,
    },
    Broken {
        how: String,
    },
}

pub struct Report {
    pub verdict: Verdict,
    pub took: Duration,
}

struct Running {
    since: Instant,
    input: Vec<u8>,
}

/// Watches the inputs of one target.
pub struct Watch<'a> {
    target: &'a Target,
    running: Arc<Mutex<Option<Running>>>,
    current: Option<File>,
    most_megabytes: AtomicU64,
}

impl<'a> Watch<'a> {
    pub fn of(target: &'a Target) -> Self {
        HOOK.call_once(|| {
            let usual = std::panic::take_hook();
            std::panic::set_hook(Box::new(move |info| {
                if !UNDER_WATCH.load(Ordering::SeqCst) {
                    return usual(info);
                }
                let place = info.location().map(|l| format!("{}:{}", l.file(), l.line())).unwrap_or_default();
                *LAST_PANIC.lock().unwrap_or_else(|e| e.into_inner()) = format!("{place}: {info}");
            }));
        });
        let running: Arc<Mutex<Option<Running>>> = Arc::default();
        let (seen, name) = (Arc::downgrade(&running), target.name);
        std::thread::spawn(move || {
            while let Some(running) = seen.upgrade() {
                if let Some(running) = running.lock().unwrap_or_else(|e| e.into_inner()).as_ref()
                    && running.since.elapsed() > LONGEST
                {
                    let path = keep(name, &running.input);
                    println!("{name}: hangs for more than {LONGEST:?}; input kept in {}", path.display());
                    std::process::exit(101);
                }
                drop(running);
                std::thread::sleep(Duration::from_millis(200));
            }
        });
        let current = File::create(folder().join(format!("current-{name}"))).ok();
        Watch { target, running, current, most_megabytes: AtomicU64::new(0) }
    }

    /// Writes the input down before it runs: an overflow of the stack or of memory ends the process without a word.
    /// The file begins with the length of the input and is never shortened, which would cost a flush to the disk.
    fn note(&self, input: &[u8]) {
        if let Some(mut file) = self.current.as_ref() {
            let told = [format!("{:10}\n", input.len()).as_bytes(), input].concat();
            let _ = file.seek(SeekFrom::Start(0)).and_then(|_| file.write_all(&told));
        }
    }

    pub fn most_megabytes(&self) -> u64 {
        self.most_megabytes.load(Ordering::Relaxed)
    }

    pub fn run(&self, input: &[u8]) -> Report {
        let _alone = ONE_AT_A_TIME.lock().unwrap_or_else(|e| e.into_inner());
        self.note(input);
        LAST_PANIC.lock().unwrap_or_else(|e| e.into_inner()).clear();
        let before = memory_reset();
        let since = Instant::now();
        *self.lock() = Some(Running { since, input: input.to_vec() });
        UNDER_WATCH.store(true, Ordering::SeqCst);
        let outcome = catch_unwind(AssertUnwindSafe(|| (self.target.run)(input)));
        UNDER_WATCH.store(false, Ordering::SeqCst);
        *self.lock() = None;
        let took = since.elapsed();
        let grown = memory_peak().saturating_sub(before);
        self.most_megabytes.fetch_max(grown, Ordering::Relaxed);
        // A panic that was caught on the way is one all the same.
        let panic = LAST_PANIC.lock().unwrap_or_else(|e| e.into_inner()).clone();
        let verdict = match outcome {
            _ if !panic.is_empty() => Verdict::Broken { how: panic },
            _ if grown > MOST_MEGABYTES => {
                Verdict::Broken { how: format!("takes more than {MOST_MEGABYTES} MB for {} bytes", input.len()) }
            }
            Ok(way) => Verdict::Answered { way },
            Err(_) => Verdict::Broken { how: "a panic without a message".into() },
        };
        Report { verdict, took }
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Option<Running>> {
        self.running.lock().unwrap_or_else(|e| e.into_inner())
    }
}

/// Resident memory now, MB, from where the next peak is counted; 0 where the kernel does not tell.
fn memory_reset() -> u64 {
    let _ = std::fs::write("/proc/self/clear_refs", "5");
    status("VmRSS:")
}

fn memory_peak() -> u64 {
    status("VmHWM:")
}

fn status(key: &str) -> u64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = text.lines().find_map(|l| l.strip_prefix(key)).unwrap_or("0");
    line.split_whitespace().next().and_then(|n| n.parse::<u64>().ok()).unwrap_or(0) / 1024
}

fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("fuzz");
    let _ = std::fs::create_dir_all(&folder);
    folder
}

/// Writes an input under a name of its contents.
pub fn keep(target: &str, input: &[u8]) -> PathBuf {
    let mark = input.iter().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(*b)).wrapping_mul(0x0100_0000_01b3));
    let path = folder().join(format!("{target}-{mark:016x}"));
    let _ = std::fs::write(&path, input);
    path
}
