//! Stub.

pub mod least_squares;
