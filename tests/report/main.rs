//! What somebody reads: figures, the page and the summary of invented days.
//!
//! Given made-up results; looks at the words and places of what is written, and at the page in headless Chromium where there
//! is one.

mod figures;
#[path = "../made_up/mod.rs"]
mod made_up;
mod on_paper;
mod page;
mod page_in_browser;
mod pictures;
mod reading;
#[allow(dead_code)]
#[path = "../sample_folder/mod.rs"]
mod sample_folder;
mod summary;
mod written;
