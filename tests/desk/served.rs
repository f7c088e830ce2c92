//! The program serving a folder that goes when the test ends, and a client that can get everything wrong.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// Longest wait for an answer. It only tells a desk that hangs from one on a machine with other things to do.
const PATIENCE: Duration = Duration::from_secs(240);

/// What came back.
#[derive(Debug)]
pub struct Came {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Came {
    pub fn header(&self, name: &str) -> Option<&str> {
        let mut lines = self.head.lines().filter_map(|l| l.split_once(": "));
        lines.find(|(n, _)| n.eq_ignore_ascii_case(name)).map(|(_, value)| value)
    }
}

/// A running desk.
pub struct Served {
    child: Child,
    pub place: tempfile::TempDir,
    pub port: u16,
    pub link: String,
    /// Path under which its pages lie.
    pub at: String,
    pub cookie: String,
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A value put into a form or address.
pub fn encoded(value: &str) -> String {
    value
        .bytes()
        .map(|b| if b.is_ascii_alphanumeric() { (b as char).to_string() } else { format!("%{b:02X}") })
        .collect()
}

/// A form.
pub fn form(fields: &[(&str, &str)]) -> String {
    fields.iter().map(|(n, v)| format!("{}={}", encoded(n), encoded(v))).collect::<Vec<_>>().join("&")
}

pub fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-loops").join(name)
}

impl Served {
    /// A desk over a folder «rides» with some files; beside it lies «outside».
    pub fn with(files: &[(&str, &[u8])]) -> Served {
        let place = tempfile::tempdir().expect("a temporary folder");
        for folder in ["rides", "outside"] {
            std::fs::create_dir(place.path().join(folder)).expect("a folder");
        }
        for (name, bytes) in files {
            std::fs::write(place.path().join("rides").join(name), bytes).expect("a file");
        }
        Served::over(place)
    }

    /// A desk over «rides» in a place that is there already.
    pub fn over(place: tempfile::TempDir) -> Served {
        let mut child = Command::new(env!("CARGO_BIN_EXE_loopwright"))
            .arg("desk")
            .arg(place.path().join("rides"))
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        let mut link = String::new();
        BufReader::new(child.stdout.take().expect("its output")).read_line(&mut link).expect("a link");
        let link = link.trim().to_string();
        let port = link.split([':', '/']).find_map(|p| p.parse().ok()).expect("a port in the link");
        let (before, _) = link.split_once("/?").expect("a key in the link");
        let at = before[before.rfind('/').expect("a path in the link")..].to_string();
        let mut served = Served { child, place, port, link, at, cookie: String::new() };
        let key = served.link.split_once("/?").map(|(_, key)| key.to_string()).expect("a key in the link");
        let came = served.raw(&format!("GET {}/?{key} HTTP/1.1\r\nHost: {}\r\n\r\n", served.at, served.host()));
        let cookie = came.header("Set-Cookie").expect("a cookie");
        served.cookie = cookie.split(';').next().expect("a value").to_string();
        served
    }

    /// The rides of a sample loop, without its session.
    pub fn with_rides(name: &str) -> Served {
        let mut files = Vec::new();
        for entry in std::fs::read_dir(sample(name)).expect("the sample is there").flatten() {
            if entry.path().extension().is_some_and(|e| e == "fit") {
                files.push((
                    entry.file_name().into_string().expect("a name"),
                    std::fs::read(entry.path()).expect("a ride"),
                ));
            }
        }
        let files: Vec<(&str, &[u8])> = files.iter().map(|(n, b)| (n.as_str(), b.as_slice())).collect();
        Served::with(&files)
    }

    /// The same with its session.
    pub fn with_session(name: &str) -> Served {
        let served = Served::with_rides(name);
        served.put("session.toml", &std::fs::read_to_string(sample(name).join("session.toml")).expect("a session"));
        served
    }

    pub fn host(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.place.path().join("rides").join(name)
    }

    pub fn put(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).expect("a file in a temporary folder");
    }

    pub fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }

    /// Sends bytes as they are. A connection that is closed without an answer has status 0.
    pub fn raw(&self, request: &str) -> Came {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("the desk listens");
        stream.set_read_timeout(Some(PATIENCE)).expect("a time limit");
        // The other end may have had enough before all is sent.
        let _ = stream.write_all(request.as_bytes());
        let mut bytes = Vec::new();
        let _ = stream.read_to_end(&mut bytes);
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or((text.as_str(), ""));
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
        Came { status, head: head.into(), body: body.into() }
    }

    /// The address of a page; where the desk led to is taken as it is.
    pub fn target(&self, page: &str) -> String {
        if page.starts_with(&self.at) { page.to_string() } else { format!("{}{page}", self.at) }
    }

    /// The same with the host, for a browser.
    pub fn address(&self, page: &str) -> String {
        format!("http://{}{}", self.host(), self.target(page))
    }

    /// Asks from inside.
    pub fn get(&self, target: &str) -> Came {
        let target = self.target(target);
        self.raw(&format!("GET {target} HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\n\r\n", self.host(), self.cookie))
    }

    /// Sends a form from inside.
    pub fn post(&self, target: &str, fields: &[(&str, &str)]) -> Came {
        let (target, body) = (self.target(target), form(fields));
        self.raw(&format!(
            "POST {target} HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nOrigin: http://{}\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
            self.host(),
            self.cookie,
            self.host(),
            body.len()
        ))
    }

    /// The text of a file as a page of the desk sends it along.
    pub fn base(&self, name: &str) -> String {
        serde_json::Value::from(self.text(name)).to_string()
    }

    pub fn kill(&mut self) {
        self.child.kill().expect("the program ends");
        self.child.wait().expect("the program has ended");
    }
}
