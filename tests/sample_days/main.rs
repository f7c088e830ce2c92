//! Days of `sample-loops` solved and set beside what was put into them; one file of open roller sessions from elsewhere.

mod factors;
mod rollers;
mod rollers_elsewhere;
#[path = "../sample_folder/mod.rs"]
mod sample_folder;
mod second_opinion;
mod venues;
