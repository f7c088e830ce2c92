//! Chromium led as a person leads it: keys, pages, pictures, over the pipe of its own debugging protocol.
//!
//! Given an address; gives what the page says. Nothing here is asked where there is no Chromium.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// Longest wait for the browser. It only tells a page that never comes from a machine with other things to do.
const PATIENCE: Duration = Duration::from_secs(240);

/// The browser, when there is one: `CHROMIUM`, else the usual place.
fn found() -> Option<PathBuf> {
    let named = std::env::var_os("CHROMIUM").map(PathBuf::from);
    let path = named.unwrap_or_else(|| PathBuf::from("/usr/bin/chromium"));
    path.exists().then_some(path)
}

/// A browser with one page open.
pub struct Chromium {
    child: Child,
    pipe: ChildStdin,
    came: Receiver<Value>,
    next: u64,
    session: String,
    /// What pages complained of.
    pub complaints: Vec<String>,
    _profile: tempfile::TempDir,
}

impl Drop for Chromium {
    fn drop(&mut self) {
        // Its children end with it when it is asked, and not when it is killed.
        let asked = self.pipe.write_all(b"{\"id\":0,\"method\":\"Browser.close\"}\0").and_then(|()| self.pipe.flush());
        let until = Instant::now() + Duration::from_secs(5);
        while asked.is_ok() && Instant::now() < until {
            if matches!(self.child.try_wait(), Ok(Some(_))) {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Chromium {
    /// Starts it; `None` where there is none, which is told.
    pub fn start() -> Option<Chromium> {
        let Some(path) = found() else {
            println!("skipped: no Chromium");
            return None;
        };
        let profile = tempfile::tempdir().expect("a temporary folder");
        // The protocol runs over the third and fourth file of the process, which a shell can lay.
        let mut child = Command::new("sh")
            .args(["-c", "exec \"$0\" \"$@\" 3<&0 4>&1 </dev/null >/dev/null 2>/dev/null"])
            .arg(path)
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run"])
            .args(["--remote-debugging-pipe", "--window-size=1280,900"])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the browser starts");
        let (pipe, out) = (child.stdin.take().expect("a pipe"), child.stdout.take().expect("a pipe"));
        let (send, came) = channel();
        std::thread::spawn(move || {
            for message in BufReader::new(out).split(0) {
                let Ok(message) = message else { return };
                if serde_json::from_slice(&message).is_ok_and(|value: Value| send.send(value).is_err()) {
                    return;
                }
            }
        });
        let (session, complaints) = (String::new(), Vec::new());
        let mut browser = Chromium { child, pipe, came, next: 1, session, complaints, _profile: profile };
        browser.tab();
        Some(browser)
    }

    /// Opens another tab and turns to it; gives the one before.
    pub fn tab(&mut self) -> String {
        let before = std::mem::take(&mut self.session);
        let target = self.call("Target.createTarget", json!({ "url": "about:blank" }));
        let attached = self.call("Target.attachToTarget", json!({ "targetId": target["targetId"], "flatten": true }));
        self.session = attached["sessionId"].as_str().expect("a session").to_string();
        for domain in ["Page", "Runtime", "Log"] {
            self.call(&format!("{domain}.enable"), json!({}));
        }
        before
    }

    /// Turns to another tab.
    pub fn turn_to(&mut self, tab: &str) -> String {
        let before = std::mem::replace(&mut self.session, tab.to_string());
        self.call("Page.bringToFront", json!({}));
        before
    }

    fn call(&mut self, method: &str, parameters: Value) -> Value {
        self.answer(method, parameters).unwrap_or_else(|error| panic!("{method}: {error}"))
    }

    /// What the browser answers, or the error it gives instead.
    fn answer(&mut self, method: &str, parameters: Value) -> Result<Value, Value> {
        let id = self.next;
        self.next += 1;
        let mut message = json!({ "id": id, "method": method, "params": parameters });
        if !self.session.is_empty() {
            message["sessionId"] = json!(self.session);
        }
        self.pipe
            .write_all(format!("{message}\0").as_bytes())
            .and_then(|()| self.pipe.flush())
            .expect("the browser listens");
        let until = Instant::now() + PATIENCE;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let came = self.came.recv_timeout(left).unwrap_or_else(|_| panic!("no answer to {method}"));
            if came["id"] == id {
                return if came["error"].is_null() { Ok(came["result"].clone()) } else { Err(came["error"].clone()) };
            }
            self.heard(&came);
        }
    }

    fn heard(&mut self, event: &Value) {
        match event["method"].as_str() {
            Some("Runtime.exceptionThrown") => self.complaints.push(event["params"].to_string()),
            // A refused form is shown as a page and told as a status, which the browser remarks on.
            Some("Log.entryAdded") if event["params"]["entry"]["source"] != "network" => {
                self.complaints.push(event["params"]["entry"]["text"].to_string());
            }
            _ => {}
        }
    }

    /// What a script of the test says in the page.
    pub fn ask(&mut self, script: &str) -> Value {
        let given = json!({ "expression": script, "returnByValue": true, "awaitPromise": true });
        let came = self.call("Runtime.evaluate", given);
        assert!(came["exceptionDetails"].is_null(), "{script}: {}", came["exceptionDetails"]);
        came["result"]["value"].clone()
    }

    /// Waits until something holds in the page.
    pub fn until(&mut self, script: &str) {
        let until = Instant::now() + PATIENCE;
        let script = format!("document.readyState === 'complete' && Boolean({script})");
        loop {
            // A page that is just being left answers with an error: not yet.
            let given = json!({ "expression": script, "returnByValue": true });
            if self.answer("Runtime.evaluate", given).is_ok_and(|came| came["result"]["value"] == true) {
                return;
            }
            if Instant::now() >= until {
                let page = self.ask("location.href + '\\n' + document.body.innerText.slice(0, 1500)");
                panic!("it does not come: {script}\n{}", page.as_str().unwrap_or_default());
            }
            std::thread::sleep(Duration::from_millis(60));
        }
    }

    /// Opens an address by hand, and waits until another page than the one before is there.
    pub fn open(&mut self, address: &str) {
        self.mark();
        let came = self.call("Page.navigate", json!({ "url": address }));
        assert!(came["errorText"].is_null(), "{address}: {}", came["errorText"]);
        self.until("!window.isLeft");
    }

    /// Presses Enter on what leads to another page, and waits until something holds there. What holds on the page that
    /// is being left does not count.
    pub fn follow(&mut self, script: &str) {
        self.mark();
        self.press("Enter");
        self.until(&format!("!window.isLeft && ({script})"));
    }

    /// Clicks with the mouse on what a selector names, and waits as [`Chromium::follow`] does.
    pub fn click(&mut self, selector: &str, script: &str) {
        let middle = "(() => { const e = document.querySelector('SELECTOR'); e.scrollIntoView({ block: 'center', behavior: 'instant' }); \
                      const b = e.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; })()";
        let at = self.ask(&middle.replace("SELECTOR", selector));
        self.mark();
        for kind in ["mousePressed", "mouseReleased"] {
            let given = json!({ "type": kind, "x": at[0], "y": at[1], "button": "left", "clickCount": 1 });
            let came = self.answer("Input.dispatchMouseEvent", given);
            // The page may be gone as the button is let go.
            assert!(came.is_ok() || kind == "mouseReleased", "{selector}: {came:?}");
        }
        self.until(&format!("!window.isLeft && ({script})"));
    }

    /// Marks the page that is about to be left; another page, or the same one loaded again, does not have the mark.
    fn mark(&mut self) {
        self.ask("window.isLeft = true");
    }

    /// Presses a key.
    pub fn press(&mut self, key: &str) {
        let (code, text) = match key {
            "Tab" => (9, ""),
            "Enter" => (13, "\r"),
            " " => (32, " "),
            "Backspace" => (8, ""),
            "ArrowDown" => (40, ""),
            other => panic!("no key {other}"),
        };
        let one =
            |kind: &str| json!({ "type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code, "text": text });
        self.call("Input.dispatchKeyEvent", one("keyDown"));
        // The page may be gone before the key is let go, which the browser answers with an error.
        let _ = self.answer("Input.dispatchKeyEvent", one("keyUp"));
    }

    /// Walks with the tabulator until the focus is on what a selector names.
    pub fn walk_to(&mut self, selector: &str) {
        for _ in 0..400 {
            self.press("Tab");
            let there = format!("document.activeElement && document.activeElement.matches({selector:?})");
            if self.ask(&there) == true {
                return;
            }
        }
        panic!("the tabulator does not reach {selector}");
    }

    /// Walks to a field and types into it in place of what stands there.
    pub fn write_into(&mut self, selector: &str, text: &str) {
        self.walk_to(selector);
        self.ask("document.activeElement.select && document.activeElement.select()");
        if text.is_empty() {
            self.press("Backspace");
        } else {
            self.call("Input.insertText", json!({ "text": text }));
        }
    }

    /// Shows pages as wide as a screen or a phone.
    pub fn width(&mut self, pixels: u32) {
        let size = json!({ "width": pixels, "height": 900, "deviceScaleFactor": 1, "mobile": pixels < 600 });
        self.call("Emulation.setDeviceMetricsOverride", size);
    }

    /// Keeps a picture of the whole page under the target folder.
    pub fn picture(&mut self, name: &str) {
        let came = self.call("Page.captureScreenshot", json!({ "captureBeyondViewport": true }));
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("desk-pictures");
        std::fs::create_dir_all(&folder).expect("a folder");
        std::fs::write(folder.join(format!("{name}.png")), decoded(came["data"].as_str().unwrap_or_default()))
            .expect("a picture");
    }
}

/// Bytes of base 64 (RFC 4648).
fn decoded(text: &str) -> Vec<u8> {
    const LETTERS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let (mut out, mut held, mut bits) = (Vec::new(), 0u32, 0);
    for byte in text.bytes() {
        let Some(value) = LETTERS.iter().position(|l| *l == byte) else { continue };
        held = (held << 6) | value as u32;
        bits += 6;
        if bits >= 8 {
            bits -= 8;
            out.push((held >> bits) as u8);
        }
    }
    out
}
