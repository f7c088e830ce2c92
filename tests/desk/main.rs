//! The desk as a browser and as an attacker meet it: the program is started on a folder of its own and asked over the
//! loopback address.
//!
//! Given the rides of `sample-loops`; calls no function of the desk.

mod attacks;
mod browser;
mod by_form;
mod chromium;
mod factors;
mod served;
mod started;
mod writing;
