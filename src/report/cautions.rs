//! What the program asks of every rider, in print wherever a test is planned or reported.
//!
//! Given nothing; gives sentences.

/// The cautions, one sentence or two each.
pub const CAUTIONS: [&str; 7] = [
    "Ride only where it is lawful and free of traffic, or closed to it; obey local law and the rules of the venue.",
    "Keep your eyes on the road ahead, never on a screen.",
    "Never inflate beyond the lower of the two maximum pressures marked on tyre and rim; a hookless rim has a lower limit \
     still.",
    "A glued or sealed tyre must have cured, and somebody qualified must have checked it, before it is ridden.",
    "Stop when something rubs, leaks or feels wrong; a test can be repeated.",
    "The results compare set-ups under the conditions ridden and say nothing about safety.",
    "The more a difference matters, the more it deserves a second day: one day has one weather.",
];
