//! What a page is made of.
//!
//! Given nothing; plain data.

use super::super::units::Units;
use crate::plot::Figure;
use crate::session::Session;
use crate::solution::Solution;

/// What a page is made of.
#[derive(Debug, Clone, Copy)]
pub struct PageInput<'a> {
    pub session: &'a Session,
    pub solution: &'a Solution,
    /// Drawn for a text column (160 mm).
    pub figures: &'a [Figure],
    /// The same drawn for a phone (80 mm), matched by name; may be empty.
    pub narrow_figures: &'a [Figure],
    pub units: Units,
}
