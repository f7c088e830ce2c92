//! What the desk answers with, and the headers that go with every answer.
//!
//! Given a page, a file or a refusal; gives the head and the body. The content policy lets a page load only what this desk
//! serves: no inline script, no inline style, no frame around it, nothing from elsewhere.

use super::refusal::Refusal;

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";
/// A page to print or keep brings its style along; its script is not needed and not run.
const POLICY_OF_A_SHEET: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// See the module.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    kind: &'static str,
    policy: &'static str,
    /// Further headers; values hold nothing of a user.
    more: Vec<(&'static str, String)>,
    pub body: Vec<u8>,
}

impl Answer {
    fn new(kind: &'static str, body: impl Into<Vec<u8>>) -> Answer {
        Answer { status: 200, kind, policy: POLICY, more: Vec::new(), body: body.into() }
    }

    pub fn page(html: String) -> Answer {
        Answer::new("text/html; charset=utf-8", html)
    }

    pub fn json(value: &serde_json::Value) -> Answer {
        Answer::new("application/json", value.to_string())
    }

    pub fn style(text: &'static str) -> Answer {
        Answer::new("text/css; charset=utf-8", text)
    }

    pub fn script(text: &'static str) -> Answer {
        Answer::new("text/javascript; charset=utf-8", text)
    }

    /// A page of the program that stands by itself and can be printed.
    pub fn sheet(html: impl Into<Vec<u8>>) -> Answer {
        Answer { policy: POLICY_OF_A_SHEET, ..Answer::new("text/html; charset=utf-8", html) }
    }

    /// A file to keep; the name is one of the program's own.
    pub fn download(name: &str, body: Vec<u8>) -> Answer {
        let name: String = name.chars().filter(|c| c.is_ascii_alphanumeric() || "-_.".contains(*c)).collect();
        Answer::new("application/octet-stream", body)
            .with("Content-Disposition", format!("attachment; filename=\"{name}\""))
    }

    /// Leads on to a page of the desk.
    pub fn see(place: &str) -> Answer {
        // Addresses are put together from encoded parts; a line end in one would be a fault of ours, and is not sent.
        let place: String = place.chars().filter(|c| c.is_ascii_graphic()).collect();
        Answer { status: 303, ..Answer::new("text/plain", "") }.with("Location", place)
    }

    /// Leads to places of a desk at a path of its own.
    pub fn within(mut self, at: &str) -> Answer {
        for (_, place) in self.more.iter_mut().filter(|(name, _)| *name == "Location") {
            place.insert_str(0, at);
        }
        self
    }

    pub fn with_status(self, status: u16) -> Answer {
        Answer { status, ..self }
    }

    pub fn with(mut self, name: &'static str, value: String) -> Answer {
        self.more.push((name, value));
        self
    }

    /// Words alone, for whoever is not let in.
    pub fn words(refusal: &Refusal) -> Answer {
        Answer::new("text/plain; charset=utf-8", format!("{}\n", refusal.message)).with_status(refusal.status)
    }

    /// The head as it is sent.
    pub fn head(&self) -> String {
        let mut head = format!(
            "HTTP/1.1 {} {}\r\nContent-Type: {}\r\nContent-Length: {}\r\nConnection: close\r\nCache-Control: no-store\r\n\
             Content-Security-Policy: {}\r\nX-Content-Type-Options: nosniff\r\nReferrer-Policy: same-origin\r\n\
             Cross-Origin-Resource-Policy: same-origin\r\nCross-Origin-Opener-Policy: same-origin\r\n",
            self.status,
            if self.status < 400 { "OK" } else { "Refused" },
            self.kind,
            self.body.len(),
            self.policy
        );
        for (name, value) in &self.more {
            head.push_str(&format!("{name}: {value}\r\n"));
        }
        head.push_str("\r\n");
        head
    }
}
