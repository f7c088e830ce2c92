//! How the desk is started: what is printed, and what is refused before anything is served.

use super::served::Served;
use std::process::{Command, Output};

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_loopwright")).arg("desk").args(arguments).output().expect("the program starts")
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn a_folder_that_is_none_and_a_port_that_is_taken_are_refused_with_the_next_step() {
    let output = run(&["nowhere-at-all"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(told(&output).contains("nowhere-at-all: cannot be read"), "{}", told(&output));
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml");
    let output = run(&[file]);
    assert!(told(&output).contains("not a folder; name the folder of the rides"), "{}", told(&output));
    let served = Served::with(&[]);
    let output = run(&[".", "--port", &served.port.to_string()]);
    assert_eq!(output.status.code(), Some(2));
    assert!(told(&output).contains("--port") && told(&output).contains("0 for any that is free"), "{}", told(&output));
}

#[test]
fn every_start_has_a_key_of_its_own_and_a_cookie_of_another_desk_does_not_open_it() {
    let (one, other) = (Served::with(&[]), Served::with(&[]));
    assert_ne!(one.link, other.link);
    let value = one.cookie.split_once('=').unwrap().1;
    let name = other.cookie.split_once('=').unwrap().0;
    let came = other.raw(&format!(
        "GET {} HTTP/1.1\r\nHost: {}\r\nCookie: {name}={value}\r\n\r\n",
        other.target("/rides"),
        other.host()
    ));
    assert_eq!(came.status, 403);
}

#[test]
fn a_desk_with_nothing_in_its_folder_says_what_to_do() {
    let served = Served::with(&[]);
    assert!(served.get("/rides").body.contains("Copy the files of the rides into it"));
    let rides = served.target("/rides");
    assert_eq!(served.get("/day").header("Location"), Some(rides.as_str()));
    assert_eq!(served.get("/result").header("Location"), Some(rides.as_str()));
    assert!(served.get("/plan").body.contains("Begin a plan"));
}
