//! The power balance of a bicycle, one physical term a file.
//!
//! Given speeds, loads, air and wind in SI units; gives forces, energies and the state of a leaning bicycle:
//!
//! ```text
//! η P  =  d/dt [ ½ m u² + ½ (I/r²) v² + m g (z + h (cos φ − 1)) ]        kinetic, elevation, lean
//!         + Crr N v  +  ½ ρ CdA w w∥ u  +  (b₀ + b₁ v) v                 rolling, aerodynamic, bearing
//! ```
//!
//! v is the speed of the tyre contact along the measured line, u that of the centre of mass. Every function is a
//! pure formula: none fits anything, keeps state or looks at a clock.

pub mod aerodynamic;
pub mod bearing;
pub mod elevation;
pub mod kinetic;
pub mod lean;
pub mod rolling;

pub use aerodynamic::{AirSpeed, Gusts, WindDerivative};
pub use lean::{Lean, lean};
