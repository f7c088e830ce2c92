//! A pair of set-ups in words: watts with their interval and how they were judged.
//!
//! Given numbers that were judged elsewhere; gives parts of a sentence.

use super::super::number::{p_value, shown};
use crate::solution::Estimate;
use crate::standing::{Pair, Watts};

/// "6.1 ± 2.4 W".
pub fn watts(estimate: &Estimate) -> String {
    format!("{} W", shown(estimate).whole())
}

/// Words after the watts, with a space behind them where there are any.
pub(super) fn in_words(watts: Watts) -> &'static str {
    match watts {
        Watts::All => "",
        Watts::Rolling => "of rolling ",
    }
}

/// " (p 0.003)", or nothing.
pub(super) fn judged(pair: &Pair) -> String {
    match pair.p_holm {
        Some(p) => format!(" (p {})", p_value(Some(p))),
        None => String::new(),
    }
}
