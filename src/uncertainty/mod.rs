//! How far a result may be off: type A from the scatter of laps, type B from the instruments.
//!
//! Given matrices, residuals and stated uncertainties; gives standard errors, degrees of freedom and intervals. It
//! never estimates a parameter and never decides between set-ups (that is `compare`).

pub mod anova;
pub mod bootstrap;
pub mod budget;
mod adjustment;
pub mod cluster;
pub mod interval;
mod laps;
pub mod mixture;
pub mod moderation;
mod moments;
pub mod monte_carlo;
pub mod power;
pub mod replication;
mod run_to_run;
mod residual_model;
pub mod rounding;
pub mod rows;
pub mod sign_flip;
pub mod serial;
pub mod student;
pub mod trend;
pub mod working;
