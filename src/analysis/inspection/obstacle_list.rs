//! Obstacles as they are collected.
//!
//! Given what was seen and what to do about it; gives them in the order in which they are told.

use super::held::Obstacle;

/// Collects obstacles.
#[derive(Default)]
pub(super) struct List(Vec<Obstacle>);

impl List {
    pub(super) fn prevents(&mut self, code: &'static str, what: impl Into<String>, remedy: impl Into<String>) {
        self.0.push(Obstacle { code, prevents: true, what: what.into(), remedy: remedy.into() });
    }

    pub(super) fn weakens(&mut self, code: &'static str, what: impl Into<String>, remedy: impl Into<String>) {
        self.0.push(Obstacle { code, prevents: false, what: what.into(), remedy: remedy.into() });
    }

    pub(super) fn has(&self, code: &str) -> bool {
        self.0.iter().any(|o| o.code == code)
    }

    /// In the order of collecting within each kind.
    pub(super) fn preventing_first(mut self) -> Vec<Obstacle> {
        self.0.sort_by_key(|o| !o.prevents);
        self.0
    }
}
