//! What a stranger, another site and a hostile file try, and what they get.

use super::served::{Served, form};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

const TOY: &str =
    "[rider_and_bike]\nmass_kg = 86.0\n\n[[setup]]\nid = \"a\"\n\n[[run]]\nfile = \"1.fit\"\nsetup = \"a\"\n";

#[test]
fn only_the_loopback_address_is_listened_on() {
    let served = Served::with(&[]);
    // The address of this machine that others would use, where it has one.
    let outward = std::net::UdpSocket::bind("0.0.0.0:0").and_then(|socket| {
        socket.connect("192.0.2.1:9")?;
        socket.local_addr()
    });
    if let Ok(address) = outward
        && !address.ip().is_loopback()
    {
        let tried = TcpStream::connect_timeout(&(address.ip(), served.port).into(), Duration::from_secs(2));
        assert!(tried.is_err(), "{} answers", address.ip());
    }
    assert_eq!(served.get("/rides").status, 200);
}

#[test]
fn without_the_key_nothing_is_shown() {
    let served = Served::with(&[("session.toml", TOY.as_bytes())]);
    let host = served.host();
    let inside = ["/", "/rides", "/day", "/desk.js", "/?key=", "/?key=0000", "/rides?key=0000"];
    for target in inside.into_iter().flat_map(|page| [page.to_string(), served.target(page)]) {
        let came = served.raw(&format!("GET {target} HTTP/1.1\r\nHost: {host}\r\n\r\n"));
        assert_eq!(came.status, 403, "{target}");
        assert!(!came.body.contains("session") && came.header("Set-Cookie").is_none(), "{target}: {}", came.body);
    }
    let (name, rides) = (served.cookie.split('=').next().unwrap(), served.target("/rides"));
    for cookie in [format!("{name}=0000"), format!("{name}="), format!("x{}", served.cookie), "a=b".into()] {
        let came = served.raw(&format!("GET {rides} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\n\r\n"));
        assert_eq!(came.status, 403, "{cookie}");
    }
    // The key of the link is not what the cookie holds, and the cookie is strict and out of reach of scripts.
    let key = served.link.split_once("key=").unwrap().1;
    assert!(!served.cookie.contains(key));
    let came = served.raw(&format!("GET {}?key={key} HTTP/1.1\r\nHost: {host}\r\n\r\n", served.target("/")));
    let set = came.header("Set-Cookie").unwrap();
    assert!(set.contains("HttpOnly") && set.contains("SameSite=Strict"), "{set}");
    // Browsers do not part cookies by port, but by path: another server of this machine does not know that of the desk.
    assert!(set.contains(&format!("; Path={}/;", served.at)) && served.at.len() == 33, "{set}");
    let elsewhere = format!("GET /rides HTTP/1.1\r\nHost: {host}\r\nCookie: {}\r\n\r\n", served.cookie);
    assert_eq!(served.raw(&elsewhere).status, 403);
}

#[test]
fn a_name_turned_to_the_loopback_address_gets_nothing() {
    let served = Served::with(&[]);
    let (port, rides) = (served.port, served.target("/rides"));
    for host in [
        format!("rebound.example:{port}"),
        "127.0.0.1".into(),
        format!("localhost:{port}"),
        "127.0.0.1:1".into(),
        String::new(),
    ] {
        let came = served.raw(&format!("GET {rides} HTTP/1.1\r\nHost: {host}\r\nCookie: {}\r\n\r\n", served.cookie));
        assert_eq!(came.status, 421, "{host}");
    }
    let twice =
        format!("GET {rides} HTTP/1.1\r\nHost: {0}\r\nHost: evil\r\nCookie: {1}\r\n\r\n", served.host(), served.cookie);
    assert_eq!(served.raw(&twice).status, 421);
    let none = format!("GET {rides} HTTP/1.1\r\nCookie: {}\r\n\r\n", served.cookie);
    assert_eq!(served.raw(&none).status, 421);
}

#[test]
fn forms_of_other_sites_change_nothing_even_with_the_cookie() {
    let served = Served::with(&[("session.toml", TOY.as_bytes())]);
    let base = served.base("session.toml");
    let body = form(&[("session", "session.toml"), ("base", &base), ("rider_and_bike.mass_kg", "70")]);
    let send = |more: &str| {
        served.raw(&format!(
            "POST {} HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\n{more}Content-Length: {}\r\n\r\n{body}",
            served.target("/day"),
            served.host(),
            served.cookie,
            body.len()
        ))
    };
    let kind = "Content-Type: application/x-www-form-urlencoded\r\n";
    let origin = format!("Origin: http://{}\r\n", served.host());
    for (more, status) in [
        (kind.to_string(), 403),
        (format!("{kind}Origin: http://evil.example\r\n"), 403),
        (format!("{kind}Origin: null\r\n"), 403),
        (format!("{kind}Origin: https://{}\r\n", served.host()), 403),
        (format!("{kind}Origin: http://127.0.0.1:1\r\n"), 403),
        (format!("{kind}{origin}Sec-Fetch-Site: cross-site\r\n"), 403),
        (format!("{kind}{origin}Sec-Fetch-Site: same-site\r\n"), 403),
        (format!("Content-Type: text/plain\r\n{origin}"), 415),
        (format!("Content-Type: multipart/form-data; boundary=x\r\n{origin}"), 415),
    ] {
        assert_eq!(send(&more).status, status, "{more}");
        assert_eq!(served.text("session.toml"), TOY, "{more}");
    }
    // The same form from a page of the desk is saved, or all of the above would prove nothing.
    assert_eq!(send(&format!("{kind}{origin}")).status, 303);
    assert!(served.text("session.toml").contains("mass_kg = 70"));
    // And no page that only shows something writes.
    let came = served.get(&format!("/day?{}", form(&[("session", "session.toml"), ("rider_and_bike.mass_kg", "60")])));
    assert_eq!(came.status, 200);
    assert!(served.text("session.toml").contains("mass_kg = 70"));
}

#[test]
fn every_answer_carries_a_policy_without_inline_script() {
    let served = Served::with_session("two-positions");
    for target in ["/rides", "/day", "/result", "/plan", "/nothing", "/desk.js", "/result/report?session=session.toml"]
    {
        let came = served.get(target);
        let policy = came.header("Content-Security-Policy").unwrap_or_else(|| panic!("{target} has no policy"));
        assert!(
            policy.starts_with("default-src 'none'") && policy.contains("frame-ancestors 'none'"),
            "{target}: {policy}"
        );
        let script = policy.split(';').find(|p| p.trim().starts_with("script-src")).unwrap_or("script-src 'none'");
        assert!(!script.contains("unsafe"), "{target}: {policy}");
        assert_eq!(came.header("X-Content-Type-Options"), Some("nosniff"));
        assert_eq!(came.header("Cache-Control"), Some("no-store"));
        if target != "/desk.js" && !target.starts_with("/result/report") {
            assert!(
                !came.body.contains("<script>") && !came.body.contains(" style=") && !came.body.contains(" onclick"),
                "{target}"
            );
        }
    }
}

#[test]
fn requests_beyond_the_limits_are_refused_and_the_desk_lives_on() {
    let served = Served::with(&[]);
    let (host, cookie) = (served.host(), &served.cookie);
    let (rides, day) = (served.target("/rides"), served.target("/day"));
    let head = format!("Host: {host}\r\nCookie: {cookie}\r\n");
    let long = "x".repeat(20_000);
    assert_eq!(served.raw(&format!("GET {rides}?{} HTTP/1.1\r\n{head}\r\n", &long[..5000])).status, 414);
    assert_eq!(served.raw(&format!("GET {rides} HTTP/1.1\r\n{head}A: {long}\r\n\r\n")).status, 431);
    assert_eq!(served.raw(&format!("GET {rides} HTTP/1.1\r\n{head}{}\r\n", "a: b\r\n".repeat(80))).status, 431);
    let post = format!(
        "POST {day} HTTP/1.1\r\n{head}Origin: http://{host}\r\nContent-Type: application/x-www-form-urlencoded\r\n"
    );
    assert_eq!(served.raw(&format!("{post}Content-Length: 3000000\r\n\r\n")).status, 413);
    assert_eq!(served.raw(&format!("{post}Content-Length: 99999999999999999999\r\n\r\n")).status, 400);
    assert_eq!(served.raw(&format!("{post}Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n")).status, 411);
    let fields = "a=b&".repeat(20_001);
    assert_eq!(served.raw(&format!("{post}Content-Length: {}\r\n\r\n{fields}", fields.len())).status, 413);
    let value = form(&[("session", "session.toml"), ("base", "\"\""), ("title", &"t".repeat(3000))]);
    assert_ne!(served.raw(&format!("{post}Content-Length: {}\r\n\r\n{value}", value.len())).status, 303);
    assert_eq!(served.raw("\u{16}\u{3}\u{1}\r\n\r\n").status, 400);
    assert_eq!(served.raw(&format!("DELETE {rides} HTTP/1.1\r\n{head}\r\n")).status, 405);
    assert_eq!(served.get("/rides").status, 200);
}

#[test]
fn a_client_that_sends_nothing_is_let_go_and_does_not_keep_others_waiting() {
    let served = Served::with(&[]);
    let mut idle: Vec<TcpStream> = (0..20).map(|_| TcpStream::connect(("127.0.0.1", served.port)).unwrap()).collect();
    for stream in &mut idle {
        let _ = stream.write_all(b"GET /rides HTTP/1.1\r\nHost:");
    }
    assert_eq!(served.get("/rides").status, 200);
    let begun = Instant::now();
    idle[0].set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    let mut answer = Vec::new();
    let _ = idle[0].read_to_end(&mut answer);
    assert!(begun.elapsed() < Duration::from_secs(25), "it is still open");
    assert!(String::from_utf8_lossy(&answer).contains(" 408 "), "{}", String::from_utf8_lossy(&answer));
}

#[test]
fn nothing_outside_the_folder_is_read_or_written() {
    let served = Served::with_session("two-positions");
    let outside = served.place.path().join("outside");
    std::fs::write(outside.join("secret.toml"), TOY.replace("86.0", "77.7")).unwrap();
    std::fs::copy(served.path("run-1.fit"), outside.join("ride.fit")).unwrap();
    let absolute = outside.join("secret.toml").display().to_string();
    for name in [
        "../outside/secret.toml",
        absolute.as_str(),
        "..\\outside\\secret.toml",
        "./../outside/secret.toml",
        "/etc/passwd",
    ] {
        for page in ["/day", "/result", "/rides", "/result/lap", "/result/file", "/plan/sheet"] {
            let came = served
                .get(&format!("{page}?{}&run=1&lap=1&name=report.html", form(&[("session", name), ("plan", name)])));
            assert!(came.status >= 400 || came.status == 303, "{page} {name}: {}", came.status);
            assert!(!came.body.contains("77.7"), "{page} {name}");
        }
        let came = served.post("/day", &[("session", name), ("base", "\"\""), ("title", "x")]);
        assert!(came.status >= 400, "{name}: {}", came.status);
        let came = served.post("/plan/new", &[("name", &format!("{name}.toml"))]);
        assert!(came.status >= 400, "{name}: {}", came.status);
        let came = served.post("/rides", &[("session", ""), ("name", name), ("file.0", "run-1.fit"), ("setup.0", "a")]);
        assert!(came.status >= 400, "{name}: {}", came.status);
    }
    // A session that names a ride outside, which the command line allows when the path is absolute.
    let ride = outside.join("ride.fit").display().to_string();
    let session = served.text("session.toml").replace("\"run-1.fit\"", &format!("{ride:?}"));
    served.put("session.toml", &session);
    let came = served.get("/result?session=session.toml");
    assert_eq!(came.status, 403);
    assert!(came.body.contains("plain files in its folder"), "{}", came.body);
    assert_eq!(std::fs::read_dir(&outside).unwrap().count(), 2);
    assert_eq!(std::fs::read_dir(served.place.path()).unwrap().count(), 2);
}

#[cfg(unix)]
#[test]
fn links_lead_nowhere() {
    use std::os::unix::fs::symlink;
    let served = Served::with_session("two-positions");
    let outside = served.place.path().join("outside");
    std::fs::write(outside.join("secret.toml"), TOY.replace("86.0", "77.7")).unwrap();
    std::fs::copy(served.path("run-1.fit"), outside.join("ride.fit")).unwrap();
    symlink(outside.join("secret.toml"), served.path("linked.toml")).unwrap();
    symlink(outside.join("ride.fit"), served.path("linked.fit")).unwrap();
    symlink(outside.join("made.toml"), served.path("dangling.toml")).unwrap();
    symlink(&outside, served.path("session-results")).unwrap();
    symlink(&outside, served.path("sub")).unwrap();
    let rides = served.get("/rides?session=session.toml").body;
    assert!(rides.contains("run-1.fit") && !rides.contains("linked"), "links are listed");
    for name in ["linked.toml", "sub/secret.toml"] {
        assert_eq!(served.get(&format!("/day?{}", form(&[("session", name)]))).status, 403, "{name}");
        assert!(served.post("/day", &[("session", name), ("base", "\"\""), ("title", "x")]).status >= 400, "{name}");
    }
    assert!(served.post("/plan/new", &[("name", "dangling.toml")]).status >= 400);
    for ride in ["linked.fit", "sub/ride.fit"] {
        let other = served.text("session.toml").replace("\"run-1.fit\"", &format!("{ride:?}"));
        served.put("other.toml", &other);
        assert_eq!(served.get("/result?session=other.toml").status, 403, "{ride}");
    }
    assert_eq!(served.post("/result/write", &[("session", "session.toml")]).status, 403);
    let mut left: Vec<_> = std::fs::read_dir(&outside).unwrap().flatten().map(|e| e.file_name()).collect();
    left.sort();
    assert_eq!(left, ["ride.fit", "secret.toml"]);
    assert!(std::fs::read_to_string(outside.join("secret.toml")).unwrap().contains("77.7"));
}

#[test]
fn text_of_files_is_shown_as_text() {
    const EVIL: &str = "<script>alert(1)</script><img src=x onerror=alert(1)>\\\"' onfocus=\\\"alert(1)";
    let ride = std::fs::read(super::served::sample("two-positions").join("run-1.fit")).unwrap();
    let name = "a<b>&'.fit";
    let served = Served::with(&[(name, &ride), ("broken<i>.fit", b"<script>alert(2)</script>")]);
    let session = format!(
        "title = \"{EVIL}\"\n[rider_and_bike]\nmass_kg = 86.0\n[air]\ntemperature_c = 18.0\npressure_hpa = 1000.0\n\
         [[setup]]\nid = \"a<u>\"\nlabel = \"{EVIL}\"\n[[run]]\nfile = \"{name}\"\nsetup = \"a<u>\"\nleave_out = [1]\nlap_reasons = {{ 1 = \"{EVIL}\" }}\n"
    );
    served.put("session.toml", &session);
    served.put("plan.toml", &format!("title = \"{EVIL}\"\norder = [\"{EVIL}\"]\nspeeds_km_h = [30.0]\n"));
    for target in [
        "/rides",
        "/day",
        "/result",
        "/plan",
        "/result/lap?session=session.toml&run=1&lap=1",
        "/rides?session=%3Cscript%3Ealert(1)%3C/script%3E",
        "/work?id=%3Cscript%3E",
        "/%3Cscript%3Ealert(1)%3C/script%3E",
    ] {
        let came = served.get(target);
        assert!(came.body.contains("<main"), "{target}: {came:?}");
        for evil in ["<script>alert", "<img src=x", "onfocus=\"", "<b>&'.fit", "a<u>", "broken<i>"] {
            assert!(!came.body.contains(evil), "{target} holds {evil}");
        }
    }
}
