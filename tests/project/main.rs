//! That the project is as it says: its modules, its libraries, and what the README shows.
//!
//! Given the files of the project and what cargo knows of it.

mod layers;
mod readme;
mod source;
mod supply;
