//! The three quantities that a set-up or a difference is told by, and a value for each.
//!
//! Given nothing; names them. It computes nothing.

/// One value for each quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantities<T> {
    pub crr: T,
    pub cda_m2: T,
    pub power_w: T,
}

/// One of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    Crr,
    Cda,
    Power,
}

impl Quantity {
    pub const ALL: [Quantity; 3] = [Quantity::Crr, Quantity::Cda, Quantity::Power];

    pub fn word(self) -> &'static str {
        match self {
            Quantity::Crr => "Crr",
            Quantity::Cda => "CdA",
            Quantity::Power => "watts",
        }
    }

    /// Key in the solution.
    pub fn key(self) -> &'static str {
        match self {
            Quantity::Crr => "crr",
            Quantity::Cda => "cda_m2",
            Quantity::Power => "power_w",
        }
    }

    pub fn of<T>(self, all: &Quantities<T>) -> &T {
        match self {
            Quantity::Crr => &all.crr,
            Quantity::Cda => &all.cda_m2,
            Quantity::Power => &all.power_w,
        }
    }
}
