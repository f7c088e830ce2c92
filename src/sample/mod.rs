//! One clean time base: a recording becomes a [`Ride`] whose columns share a clock and whose gaps are marked.
//!
//! Given a [`Recording`](crate::record::Recording); gives cumulative energy and distance as smooth functions of
//! time. It never fills a gap and never deletes a sample.

mod clock;
mod curve;
mod drop_out;
mod exclusion;
mod frame;

pub use clock::{Ride, align, speed_to_distance_ratio};
pub use curve::{Cumulative, Sampled};
pub use drop_out::DropOuts;
pub use exclusion::{Reason, mark_samples};
pub use frame::{SampleColumns, samples_frame};
