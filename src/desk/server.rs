//! The loop that takes connections, one thread for each and no more than a page needs.
//!
//! Given a listener on the loopback address and a desk; answers until the program is ended.

use super::answer::Answer;
use super::http::{self, Request};
use super::open::Desk;
use super::refusal::Refusal;
use super::route;
use std::net::{TcpListener, TcpStream};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Most connections at a time; a browser opens six.
const MOST_CONNECTIONS: usize = 48;

/// Counts a connection for as long as it lives.
struct Counted(Arc<AtomicUsize>);

impl Drop for Counted {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::AcqRel);
    }
}

/// See the module.
pub fn serve(listener: &TcpListener, desk: &Arc<Desk>) {
    let open = Arc::new(AtomicUsize::new(0));
    for stream in listener.incoming() {
        // A connection that failed before it was taken is nobody's loss.
        let Ok(mut stream) = stream else { continue };
        let counted = Counted(open.clone());
        if open.fetch_add(1, Ordering::AcqRel) >= MOST_CONNECTIONS {
            // Nothing is waited for here, or others would be kept waiting.
            drop(stream);
            continue;
        }
        let desk = desk.clone();
        std::thread::spawn(move || {
            let _counted = counted;
            answer(&mut stream, &desk);
        });
    }
}

fn answer(stream: &mut TcpStream, desk: &Desk) {
    let answer = match Request::read(stream) {
        Ok(request) => catch_unwind(AssertUnwindSafe(|| route::answer(desk, &request))).unwrap_or_else(|_| {
            Answer::words(&Refusal::new(
                500,
                "A fault of the program; nothing was written. Please report it with the session",
            ))
        }),
        Err(Some(refusal)) => Answer::words(&refusal),
        Err(None) => return,
    };
    http::write(stream, &answer.head(), &answer.body);
}
