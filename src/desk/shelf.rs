//! What was read and solved before, so that a page need not wait for it again.
//!
//! Given names of the folder; gives what was found in their files, read in the background, and solved sessions. All of it
//! can be thrown away at any time: the files are the truth. It shows nothing.

use super::folder::Folder;
use super::job::{self, Solved};
use super::refusal::Refusal;
use super::two_answers::{Compared, side_by_side};
use loopwright::analysis::inspection::Inspection;
use loopwright::report::Units;
use std::collections::{HashMap, HashSet};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant, SystemTime};

/// So many solved sessions are kept.
const MOST_SOLVED: usize = 4;

type Stamp = (u64, Option<SystemTime>);
/// What a ride holds, or why it cannot be read.
pub type Looked = Arc<Result<Inspection, String>>;

#[derive(Default)]
struct Rides {
    known: HashMap<String, (Stamp, Looked)>,
    /// Being read.
    open: HashSet<String>,
}

/// A solved state of a session.
pub struct Kept {
    pub state: String,
    pub solved: Solved,
    /// The answer without the laps that were chosen by hand beside the answer with them; empty where none were.
    pub by_hand: Vec<Compared>,
}

/// See the module.
#[derive(Default)]
pub struct Shelf {
    rides: Mutex<Rides>,
    read: Condvar,
    solved: Mutex<Vec<Arc<Kept>>>,
    /// Held while something is solved, so that two tabs do not solve the same.
    solving: Mutex<()>,
}

fn open<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shelf {
    /// What is known of some rides after a wait; `None` for those that are still being read.
    pub fn rides(self: &Arc<Self>, folder: &Arc<Folder>, names: &[String], wait: Duration) -> Vec<Option<Looked>> {
        let until = Instant::now() + wait;
        let stamps: Vec<Option<Stamp>> = names.iter().map(|name| stamp(folder, name)).collect();
        let found = |rides: &Rides| -> Vec<Option<Looked>> {
            let of = |(name, stamp): (&String, &Option<Stamp>)| {
                rides.known.get(name).filter(|(s, _)| Some(*s) == *stamp).map(|(_, looked)| looked.clone())
            };
            names.iter().zip(&stamps).map(of).collect()
        };
        let mut rides = open(&self.rides);
        for (name, stamp) in names.iter().zip(&stamps) {
            let Some(stamp) = *stamp else { continue };
            let is_known = rides.known.get(name).is_some_and(|(s, _)| *s == stamp);
            if !is_known && rides.open.insert(name.clone()) {
                let (shelf, folder, name) = (self.clone(), folder.clone(), name.clone());
                rayon::spawn(move || shelf.look(&folder, name, stamp));
            }
        }
        loop {
            let now = found(&rides);
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() || now.iter().zip(&stamps).all(|(looked, stamp)| looked.is_some() || stamp.is_none()) {
                return now;
            }
            rides = self.read.wait_timeout(rides, left).unwrap_or_else(PoisonError::into_inner).0;
        }
    }

    fn look(&self, folder: &Folder, name: String, stamp: Stamp) {
        let looked = Arc::new(job::looked(folder, &name));
        let mut rides = open(&self.rides);
        rides.open.remove(&name);
        rides.known.insert(name, (stamp, looked));
        self.read.notify_all();
    }

    /// The answer to the text of a session, solved now or before.
    pub fn solved(&self, folder: &Folder, text: &str, file: &str, units: Units) -> Result<Arc<Kept>, Refusal> {
        let state = job::state(folder, text, file)?;
        let known = || open(&self.solved).iter().find(|kept| kept.state == state).cloned();
        if let Some(kept) = known() {
            return Ok(kept);
        }
        let _alone = open(&self.solving);
        if let Some(kept) = known() {
            return Ok(kept);
        }
        let solved = job::solved(folder, text, file, units)?;
        let by_hand = match super::choice::without_choices(text, file)? {
            // Without the choice there may be no answer; then there is nothing to set beside.
            Some(plain) => {
                job::answer(folder, &plain, file).map_or(Vec::new(), |before| side_by_side(&before, &solved.solution))
            }
            None => Vec::new(),
        };
        let kept = Arc::new(Kept { state, solved, by_hand });
        let mut all = open(&self.solved);
        if all.len() >= MOST_SOLVED {
            all.remove(0);
        }
        all.push(kept.clone());
        Ok(kept)
    }
}

fn stamp(folder: &Folder, name: &str) -> Option<Stamp> {
    let there = std::fs::metadata(folder.inside(name).ok()?).ok()?;
    Some((there.len(), there.modified().ok()))
}
