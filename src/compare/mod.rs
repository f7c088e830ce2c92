//! Set-ups against each other: verdicts, multiplicity, equivalence, order, and pooling over days or venues.
//!
//! Given estimates with standard errors and degrees of freedom; gives p-values, verdicts and pooled values. It never
//! looks at samples or laps.

pub mod balanced_order;
pub mod contrast;
pub mod equivalence;
pub mod multiplicity;
pub mod order;
pub mod pooling;
pub mod run_twins;
pub mod verdict;
