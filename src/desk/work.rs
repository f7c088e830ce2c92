//! Long work in the background: how far it is, what came of it, and its end on request.
//!
//! Given something to do that calls back as each of its parts begins; runs one at a time. A part cannot be interrupted: the
//! request to end is seen when the next part begins, by unwinding out of the callback. It knows no page.

use super::job::Told;
use super::refusal::Refusal;
use serde::Serialize;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// So many finished ones are kept.
const MOST_KEPT: usize = 8;

/// How it stands.
#[derive(Debug, Clone, Serialize)]
#[serde(rename_all = "kebab-case", tag = "is")]
pub enum State {
    Running,
    Done { told: Told },
    Cancelled,
    Failed { message: String },
}

/// One piece of work.
pub struct Work {
    pub id: u64,
    pub title: String,
    /// Page that it was started from.
    pub from: String,
    /// Parts in all.
    pub parts: u64,
    done: AtomicU64,
    cancel: AtomicBool,
    state: Mutex<State>,
}

/// What unwinds on request.
struct Cancelled;

impl Work {
    pub fn done(&self) -> u64 {
        self.done.load(Ordering::Relaxed).min(self.parts)
    }

    pub fn state(&self) -> State {
        self.state.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    pub fn is_running(&self) -> bool {
        matches!(self.state(), State::Running)
    }

    pub fn is_ending(&self) -> bool {
        self.cancel.load(Ordering::Relaxed)
    }

    pub fn cancel(&self) {
        self.cancel.store(true, Ordering::Relaxed);
    }

    fn at_each(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
        if self.cancel.load(Ordering::Relaxed) {
            // No panic is reported: this is an end that was asked for.
            resume_unwind(Box::new(Cancelled));
        }
    }

    fn end(&self, state: State) {
        *self.state.lock().unwrap_or_else(PoisonError::into_inner) = state;
    }
}

/// All work of this desk.
#[derive(Default)]
pub struct Works {
    all: Mutex<Vec<Arc<Work>>>,
}

type Doing = Box<dyn FnOnce(&(dyn Fn() + Sync)) -> Result<Told, Refusal> + Send>;

impl Works {
    /// Starts something. Errors: something else is running.
    pub fn start(&self, title: String, from: String, parts: u64, doing: Doing) -> Result<u64, Refusal> {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(other) = all.iter().find(|w| w.is_running()) {
            let message = format!("«{}» is still running; wait for it or cancel it", other.title);
            return Err(Refusal::new(409, message));
        }
        let id = all.last().map_or(1, |w| w.id + 1);
        let (done, cancel, state) = (AtomicU64::new(0), AtomicBool::new(false), Mutex::new(State::Running));
        let work = Arc::new(Work { id, title, from, parts, done, cancel, state });
        all.push(work.clone());
        if all.len() > MOST_KEPT {
            all.remove(0);
        }
        std::thread::spawn(move || {
            let came = catch_unwind(AssertUnwindSafe(|| doing(&|| work.at_each())));
            work.end(match came {
                Ok(_) if work.is_ending() => State::Cancelled,
                Ok(Ok(told)) => State::Done { told },
                Ok(Err(refusal)) => State::Failed { message: refusal.message },
                Err(reason) if reason.is::<Cancelled>() => State::Cancelled,
                Err(_) => State::Failed { message: "a fault of the program; please report it with the session".into() },
            });
        });
        Ok(id)
    }

    /// What is under way, if anything is.
    pub fn running(&self) -> Option<Arc<Work>> {
        let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.iter().find(|w| w.is_running()).cloned()
    }

    pub fn find(&self, id: &str) -> Result<Arc<Work>, Refusal> {
        let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        let found = id.parse().ok().and_then(|id: u64| all.iter().find(|w| w.id == id).cloned());
        found.ok_or_else(|| Refusal::new(404, "This work is no longer known; start it again"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::{Duration, Instant};

    fn words(text: &str) -> Told {
        Told { wide: text.into(), narrow: text.into() }
    }

    fn ended(works: &Works, id: u64) -> State {
        let until = Instant::now() + Duration::from_secs(20);
        while Instant::now() < until {
            let work = works.find(&id.to_string()).unwrap();
            if !work.is_running() {
                return work.state();
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        panic!("it does not end");
    }

    #[test]
    fn work_is_counted_and_told_and_the_next_one_may_start() {
        let works = Works::default();
        let count = |each: &(dyn Fn() + Sync)| {
            (0..5).for_each(|_| each());
            Ok(words("five"))
        };
        let id = works.start("count".into(), "/".into(), 5, Box::new(count)).unwrap();
        assert!(matches!(ended(&works, id), State::Done { told } if told.wide == "five"));
        assert_eq!(works.find("1").unwrap().done(), 5);
        assert!(works.start("again".into(), "/".into(), 5, Box::new(count)).is_ok());
    }

    #[test]
    fn long_work_ends_on_request_and_blocks_other_work_until_then() {
        use rayon::prelude::*;
        let works = Works::default();
        let long = |each: &(dyn Fn() + Sync)| {
            // As the program does it: in parallel. To the end it would take longer than is waited for.
            (0..100_000).into_par_iter().for_each(|_| {
                each();
                std::thread::sleep(Duration::from_millis(2));
            });
            Ok(words("never"))
        };
        let id = works.start("long".into(), "/".into(), 100_000, Box::new(long)).unwrap();
        assert_eq!(works.start("other".into(), "/".into(), 1, Box::new(|_| Ok(words("")))).unwrap_err().status, 409);
        works.find(&id.to_string()).unwrap().cancel();
        assert!(matches!(ended(&works, id), State::Cancelled));
    }
}
