//! Numbers that can be published: results of several days brought together, the budget as a table, its check by draws.
//!
//! Given invented results and the sample days; calls the library as the program does.

mod agreement;
mod budget;
mod draws;
#[path = "../made_up/mod.rs"]
mod made_up;
mod next_plan;
mod pooled;
mod refused;
mod results;
#[path = "../sample_folder/mod.rs"]
#[allow(dead_code)]
mod sample_folder;
