//! Who may ask: only the browser that was given the key, and only from a page of this desk.
//!
//! Given a request; says whether it comes from a stranger, brings the key, or comes from inside. The page that a stranger
//! could make a browser send for is refused by four things that such a page cannot forge: the host it asks for (a name
//! turned to the loopback address later), the origin of a form, where the browser says the request comes from, and a
//! cookie that is never sent along from other sites. Browsers do not part cookies by port; so every page lies under a path that
//! is drawn at the start, the cookie belongs to that path, and another server of this machine is not sent it. It answers
//! nothing itself.

use super::form::Form;
use super::http::{Method, Request};
use super::refusal::Refusal;
use loopwright::record::sha256_hex;

/// Bytes of the key.
const KEY_BYTES: usize = 32;
/// Bytes of the path.
const PATH_BYTES: usize = 16;
/// The only kind of form that pages of the desk send.
const FORM: &str = "application/x-www-form-urlencoded";

/// See the module.
pub struct Gate {
    host: String,
    /// In front of the path of every page.
    path: String,
    cookie: String,
    key: String,
}

/// Where a request comes from.
#[derive(Debug)]
pub enum Entry<'a> {
    Stranger(Refusal),
    /// The link with the key was opened.
    WithKey,
    /// A page is asked for, by its path within the desk.
    Inside(&'a str),
}

impl Gate {
    /// A gate with a fresh key for a port. Errors: the system gives no random numbers.
    pub fn new(port: u16) -> Result<Gate, getrandom::Error> {
        let mut bytes = [0; KEY_BYTES + PATH_BYTES];
        getrandom::fill(&mut bytes)?;
        let hex = |bytes: &[u8]| bytes.iter().map(|b| format!("{b:02x}")).collect::<String>();
        let (key, path) = bytes.split_at(KEY_BYTES);
        Ok(Gate {
            host: format!("127.0.0.1:{port}"),
            path: format!("/{}", hex(path)),
            cookie: format!("loopwright-desk-{port}"),
            key: hex(key),
        })
    }

    /// The link to open.
    pub fn link(&self) -> String {
        format!("http://{}{}/?key={}", self.host, self.path, self.key)
    }

    /// What stands in front of the path of every page.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The cookie that stands for the key from then on. It is another value, so that the link stays secret where a cookie is
    /// read.
    pub fn set_cookie(&self) -> String {
        format!("{}={}; Path={}/; HttpOnly; SameSite=Strict", self.cookie, self.pass(), self.path)
    }

    fn pass(&self) -> String {
        sha256_hex(format!("pass {}", self.key).as_bytes())
    }

    /// See the module.
    pub fn judge<'a>(&self, request: &'a Request) -> Entry<'a> {
        let stranger = |status, message: &str| Entry::Stranger(Refusal::new(status, message));
        if request.header("host") != Some(self.host.as_str()) {
            return stranger(421, "This desk answers to the address of its own link only");
        }
        let path = request.path.strip_prefix(&self.path).filter(|path| path.starts_with('/'));
        let with_key = request.method == Method::Get && path == Some("/") && self.brings_key(request);
        let from_elsewhere =
            request.header("sec-fetch-site").is_some_and(|site| !matches!(site, "same-origin" | "none"));
        if from_elsewhere && !with_key {
            return stranger(403, "Another site asked for this; open the link that the program printed");
        }
        if request.method == Method::Post {
            if request.header("origin") != Some(format!("http://{}", self.host).as_str()) {
                return stranger(403, "This form was not sent by a page of this desk");
            }
            let kind = request.header("content-type").unwrap_or_default();
            if kind.split(';').next().map(str::trim) != Some(FORM) {
                return stranger(415, "This is not a form of this desk");
            }
        }
        if with_key {
            return Entry::WithKey;
        }
        if let Some(path) = path.filter(|_| self.has_cookie(request)) {
            return Entry::Inside(path);
        }
        stranger(403, "Open the link that «loopwright desk» printed when it was started; it holds the key to this desk")
    }

    fn brings_key(&self, request: &Request) -> bool {
        let given = Form::parse(request.query.as_bytes()).ok();
        given.and_then(|form| form.get("key").map(|key| same(key, &self.key))).unwrap_or(false)
    }

    fn has_cookie(&self, request: &Request) -> bool {
        let mut all = request.header("cookie").unwrap_or_default().split(';');
        all.any(|one| {
            one.trim().split_once('=').is_some_and(|(n, value)| n == self.cookie && same(value, &self.pass()))
        })
    }
}

/// Digests are compared, so that the time it takes tells nothing of the key.
fn same(given: &str, wanted: &str) -> bool {
    sha256_hex(given.as_bytes()) == sha256_hex(wanted.as_bytes())
}
