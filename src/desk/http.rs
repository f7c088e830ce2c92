//! One request read from a connection within stated sizes and one span of time, and one answer written to it.
//!
//! Given a connection; gives a [`Request`] or the reason why it is refused. Heads are parsed by `httparse`. Every connection
//! carries one request, and a body has a stated length. It knows no page and judges nobody.

use super::refusal::Refusal;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpStream};
use std::time::{Duration, Instant};

/// Most bytes of a request's first line and headers; a browser sends one or two thousand.
pub const LARGEST_HEAD: usize = 16 << 10;
/// Most headers.
pub const MOST_HEADERS: usize = 64;
/// Longest address, bytes.
pub const LONGEST_TARGET: usize = 4 << 10;
/// Most bytes of a form: twice the text of the largest day that can be planned.
pub const LARGEST_BODY: usize = 2 << 20;
/// In what time a whole request must have come.
const PATIENCE: Duration = Duration::from_secs(10);
/// How long a refused request may still be sent before its connection is closed.
const AFTERTHOUGHT: Duration = Duration::from_secs(1);

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Shows something and changes nothing.
    Get,
    /// Changes something.
    Post,
}

/// A request as it came.
#[derive(Debug)]
pub struct Request {
    pub method: Method,
    pub path: String,
    pub query: String,
    pub body: Vec<u8>,
    headers: Vec<(String, String)>,
}

impl Request {
    /// The value of a header that is there exactly once; the name in small letters.
    pub fn header(&self, name: &str) -> Option<&str> {
        let mut all = self.headers.iter().filter(|(n, _)| n == name).map(|(_, value)| value.as_str());
        let first = all.next()?;
        all.next().is_none().then_some(first)
    }

    /// Reads a request. Errors: what is wrong with it, and `None` where the other end has gone.
    pub fn read(stream: &mut TcpStream) -> Result<Request, Option<Refusal>> {
        let until = Instant::now() + PATIENCE;
        let mut bytes = Vec::new();
        let (mut request, head, length) = loop {
            if let Some(found) = head_of(&bytes)? {
                break found;
            }
            if bytes.len() > LARGEST_HEAD {
                return Err(Some(too_long_head()));
            }
            more(stream, &mut bytes, LARGEST_HEAD + 1, until)?;
        };
        if length > LARGEST_BODY {
            return Err(Some(Refusal::new(
                413,
                format!("The form holds {length} bytes, more than the limit of {LARGEST_BODY}; split it up"),
            )));
        }
        let mut body = bytes.split_off(head);
        while body.len() < length {
            more(stream, &mut body, length, until)?;
        }
        body.truncate(length);
        request.body = body;
        Ok(request)
    }
}

fn too_long_head() -> Refusal {
    Refusal::new(
        431,
        format!("The head of the request is longer than the limit of {LARGEST_HEAD} bytes and {MOST_HEADERS} headers"),
    )
}

/// Reads once, up to a total of `limit` bytes.
fn more(stream: &mut TcpStream, bytes: &mut Vec<u8>, limit: usize, until: Instant) -> Result<(), Option<Refusal>> {
    let left = until.saturating_duration_since(Instant::now());
    let late = || Some(Refusal::new(408, "The request did not come in time"));
    if left.is_zero() || stream.set_read_timeout(Some(left)).is_err() {
        return Err(late());
    }
    let mut part = [0; 8192];
    let room = limit.saturating_sub(bytes.len()).clamp(1, part.len());
    match stream.read(&mut part[..room]) {
        Ok(0) => Err(None),
        Ok(count) => {
            bytes.extend_from_slice(&part[..count]);
            Ok(())
        }
        Err(e) if e.kind() == std::io::ErrorKind::Interrupted => Ok(()),
        Err(_) => Err(late()),
    }
}

/// The head, where it is whole: the request without its body, the length of the head, and that of the body.
fn head_of(bytes: &[u8]) -> Result<Option<(Request, usize, usize)>, Option<Refusal>> {
    let bad = |message: &str| Some(Refusal::new(400, message));
    let mut headers = [httparse::EMPTY_HEADER; MOST_HEADERS];
    let mut parsed = httparse::Request::new(&mut headers);
    let head = match parsed.parse(bytes) {
        Ok(httparse::Status::Complete(head)) if head <= LARGEST_HEAD => head,
        Ok(httparse::Status::Complete(_)) | Err(httparse::Error::TooManyHeaders) => return Err(Some(too_long_head())),
        Ok(httparse::Status::Partial) => return Ok(None),
        Err(e) => return Err(bad(&format!("This is no request that can be understood ({e})"))),
    };
    let method = match parsed.method {
        Some("GET") => Method::Get,
        Some("POST") => Method::Post,
        _ => return Err(Some(Refusal::new(405, "Only GET and POST are known here"))),
    };
    let target = parsed.path.unwrap_or_default();
    if target.len() > LONGEST_TARGET {
        return Err(Some(Refusal::new(414, format!("The address is longer than the limit of {LONGEST_TARGET} bytes"))));
    }
    if !target.starts_with('/') {
        return Err(bad("The address does not begin with a slash"));
    }
    let (path, query) = target.split_once('?').unwrap_or((target, ""));
    let mut kept = Vec::with_capacity(parsed.headers.len());
    for header in parsed.headers.iter() {
        let value = std::str::from_utf8(header.value).map_err(|_| bad("A header is not text"))?;
        kept.push((header.name.to_ascii_lowercase(), value.trim().to_string()));
    }
    let request = Request { method, path: path.into(), query: query.into(), body: Vec::new(), headers: kept };
    if request.headers.iter().any(|(name, _)| name == "transfer-encoding") {
        return Err(Some(Refusal::new(411, "A form must state its length")));
    }
    let length = match request.headers.iter().filter(|(name, _)| name == "content-length").count() {
        0 => 0,
        _ => request
            .header("content-length")
            .filter(|l| !l.is_empty() && l.len() < 16 && l.bytes().all(|b| b.is_ascii_digit()))
            .and_then(|l| l.parse().ok())
            .ok_or_else(|| bad("The length of the form cannot be understood"))?,
    };
    Ok(Some((request, head, length)))
}

/// Writes an answer and closes the connection so that the answer arrives even where more was being sent.
pub fn write(stream: &mut TcpStream, head: &str, body: &[u8]) {
    let sent = stream
        .set_write_timeout(Some(PATIENCE))
        .and_then(|()| stream.write_all(head.as_bytes()))
        .and_then(|()| stream.write_all(body))
        .and_then(|()| stream.shutdown(Shutdown::Write));
    // Whoever has gone needs no answer.
    if sent.is_err() {
        return;
    }
    let until = Instant::now() + AFTERTHOUGHT;
    let mut scrap = [0; 8192];
    let mut dropped = 0;
    while dropped < LARGEST_BODY {
        let left = until.saturating_duration_since(Instant::now());
        if left.is_zero() || stream.set_read_timeout(Some(left)).is_err() {
            return;
        }
        match stream.read(&mut scrap) {
            Ok(count) if count > 0 => dropped += count,
            _ => return,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(head: &[u8]) -> u16 {
        match head_of(head) {
            Err(Some(refusal)) => refusal.status,
            Ok(Some(_)) => 200,
            Ok(None) => 0,
            Err(None) => 1,
        }
    }

    #[test]
    fn a_head_is_read_when_it_is_whole() {
        let bytes = b"POST /day?a=b HTTP/1.1\r\nHost: h\r\nContent-Length: 3\r\n\r\nabc";
        let (request, head, length) = head_of(bytes).unwrap().unwrap();
        assert_eq!((request.method, request.path.as_str(), request.query.as_str()), (Method::Post, "/day", "a=b"));
        assert_eq!((&bytes[head..], length, request.header("host")), (&b"abc"[..], 3, Some("h")));
        assert_eq!(status(b"GET / HTTP/1.1\r\nHost: h\r\n"), 0);
    }

    #[test]
    fn what_is_odd_is_refused_with_its_own_status() {
        assert_eq!(status(b"PUT / HTTP/1.1\r\n\r\n"), 405);
        assert_eq!(status(b"GET http://elsewhere/ HTTP/1.1\r\n\r\n"), 400);
        assert_eq!(status(b"POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n"), 411);
        assert_eq!(status(b"POST / HTTP/1.1\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\n"), 400);
        assert_eq!(status(b"POST / HTTP/1.1\r\nContent-Length: -1\r\n\r\n"), 400);
        assert_eq!(status(format!("GET /{} HTTP/1.1\r\n\r\n", "x".repeat(LONGEST_TARGET)).as_bytes()), 414);
        let many = format!("GET / HTTP/1.1\r\n{}\r\n", "a: b\r\n".repeat(MOST_HEADERS + 1));
        assert_eq!(status(many.as_bytes()), 431);
        assert_eq!(status(b"\x16\x03\x01 not http"), 400);
    }

    #[test]
    fn a_header_that_is_there_twice_counts_as_missing() {
        let (request, ..) = head_of(b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n").unwrap().unwrap();
        assert_eq!(request.header("host"), None);
    }
}
