//! The quantities that are pooled, by name.
//!
//! Given nothing; holds one value for each of them. It computes nothing.

/// One value for each quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantities<T> {
    pub crr: T,
    pub cda_m2: T,
    pub power_w: T,
}

/// What is pooled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Crr,
    Cda,
    Power,
}

impl Kind {
    pub fn word(self) -> &'static str {
        match self {
            Kind::Crr => "Crr",
            Kind::Cda => "CdA",
            Kind::Power => "watts",
        }
    }

    /// Name in the solution.
    pub fn key(self) -> &'static str {
        match self {
            Kind::Crr => "crr",
            Kind::Cda => "cda_m2",
            Kind::Power => "power_w",
        }
    }

    pub fn of<T>(self, all: &Quantities<T>) -> &T {
        match self {
            Kind::Crr => &all.crr,
            Kind::Cda => &all.cda_m2,
            Kind::Power => &all.power_w,
        }
    }
}
