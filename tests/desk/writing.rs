//! What stands in the folder after the program or the world was rude.

use super::served::Served;
use std::sync::atomic::{AtomicBool, Ordering};

fn mass(served: &Served, base: &str, mass: &str) -> super::served::Came {
    served.post("/day", &[("session", "session.toml"), ("base", base), ("rider_and_bike.mass_kg", mass)])
}

#[test]
fn a_file_that_was_edited_outside_is_left_alone_and_both_are_shown() {
    let served = Served::with_session("two-positions");
    let base = served.base("session.toml");
    let edited = served.text("session.toml").replace("title = \"", "title = \"Edited: ");
    served.put("session.toml", &edited);
    let came = mass(&served, &base, "81.25");
    assert_eq!(came.status, 409);
    assert_eq!(served.text("session.toml"), edited);
    assert!(came.body.contains("Edited: ") && came.body.contains("81.25"), "{}", came.body);
    assert!(came.body.contains("Put my changes on the file as it is now"));
    // Put on the file as it is now, both changes stand.
    assert_eq!(mass(&served, &served.base("session.toml"), "81.25").status, 303);
    assert_eq!(served.text("session.toml"), edited.replacen(&first_mass(&edited), "mass_kg = 81.25", 1));
}

fn first_mass(text: &str) -> String {
    text.lines().find(|l| l.starts_with("mass_kg")).expect("a mass").to_string()
}

#[test]
fn of_two_tabs_the_second_is_told() {
    let served = Served::with_session("two-positions");
    let base = served.base("session.toml");
    assert_eq!(mass(&served, &base, "80").status, 303);
    let after = served.text("session.toml");
    assert_eq!(mass(&served, &base, "81").status, 409);
    assert_eq!(served.text("session.toml"), after);
    // A file that is gone is not made again in silence.
    std::fs::remove_file(served.path("session.toml")).unwrap();
    assert_eq!(mass(&served, &base, "82").status, 409);
    assert!(!served.path("session.toml").exists());
}

#[test]
fn a_run_that_took_the_place_of_another_does_not_get_its_values() {
    let served = Served::with_session("two-positions");
    let base = served.base("session.toml");
    let text = served.text("session.toml");
    let swapped = text.replace("run-1.fit", "x").replace("run-2.fit", "run-1.fit").replace("\"x\"", "\"run-2.fit\"");
    served.put("session.toml", &swapped);
    let came = served.post("/day", &[("session", "session.toml"), ("base", &base), ("run.0.mass_kg", "79.5")]);
    assert_eq!(came.status, 409);
    assert!(came.body.contains("another run or set-up stands there now"), "{}", came.body);
    assert!(!came.body.contains("Put my changes"), "{}", came.body);
}

#[test]
fn a_program_killed_while_saving_leaves_the_old_or_the_new_session_whole() {
    let mut served = Served::with_session("two-positions");
    let versions: Vec<String> = (0..2)
        .map(|i| served.text("session.toml").replacen("title = \"", &format!("title = \"{} ", "x".repeat(400 + i)), 1))
        .collect();
    let titles: Vec<String> = versions
        .iter()
        .map(|v| v.lines().find_map(|l| l.strip_prefix("title = \"")).unwrap().trim_end_matches('"').to_string())
        .collect();
    for round in 0..6 {
        served.put("session.toml", &versions[0]);
        let done = AtomicBool::new(false);
        let (port, day, cookie) = (served.port, served.target("/day"), served.cookie.clone());
        let bases: Vec<String> = versions.iter().map(|v| serde_json::Value::from(v.as_str()).to_string()).collect();
        std::thread::scope(|scope| {
            let (done, titles, bases) = (&done, &titles, &bases);
            scope.spawn(move || {
                let mut turn = 0;
                while !done.load(Ordering::Relaxed) {
                    let body = super::served::form(&[
                        ("session", "session.toml"),
                        ("base", &bases[turn % 2]),
                        ("title", &titles[(turn + 1) % 2]),
                    ]);
                    if !sent(port, &day, &cookie, &body) {
                        return;
                    }
                    turn += 1;
                }
            });
            std::thread::sleep(std::time::Duration::from_millis(40 + 23 * round));
            served.kill();
            done.store(true, Ordering::Relaxed);
        });
        let left = served.text("session.toml");
        assert!(versions.contains(&left), "round {round}: neither the old nor the new session:\n{left}");
        let place = std::mem::replace(&mut served.place, tempfile::tempdir().unwrap());
        served = Served::over(place);
        // The next save clears what the killed program left.
        let base = served.base("session.toml");
        let came = mass(&served, &base, "84.5");
        assert_eq!(came.status, 303, "{}", came.body);
        let hidden = std::fs::read_dir(served.path("")).unwrap().flatten();
        assert_eq!(hidden.filter(|e| e.file_name().to_string_lossy().starts_with('.')).count(), 0);
    }
}

/// Whether a form reached the desk.
fn sent(port: u16, day: &str, cookie: &str, body: &str) -> bool {
    use std::io::{Read, Write};
    let Ok(mut stream) = std::net::TcpStream::connect(("127.0.0.1", port)) else { return false };
    let request = format!(
        "POST {day} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: {cookie}\r\nOrigin: http://127.0.0.1:{port}\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let mut answer = Vec::new();
    stream.write_all(request.as_bytes()).is_ok() && stream.read_to_end(&mut answer).is_ok() && !answer.is_empty()
}
