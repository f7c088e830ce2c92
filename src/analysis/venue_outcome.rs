//! What one venue, or all of them together, gives.
//!
//! Given by the venues; holds results before their findings are put in order. It computes nothing.

use super::instrument::InstrumentBudget;
use crate::evidence::Evidence;
use crate::finding::Finding;
use crate::sample::SampleColumns;
use crate::solution::Solution;

/// What one venue, or all of them together, gives.
pub struct VenueOutcome {
    /// Without its findings.
    pub solution: Solution,
    pub findings: Vec<Finding>,
    pub evidence: Evidence,
    /// What is added to each record of each run.
    pub columns: Vec<SampleColumns>,
    pub budget: Option<InstrumentBudget>,
}
