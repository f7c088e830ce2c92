//! Parts of the computation against answers that somebody else vouches for: published, certified, or worked out another way.
//!
//! Given numbers with their source beside them or in `tests/data`, and definitions written out in dense matrices; solves no
//! day.

mod air;
mod cluster_robust;
mod dense_cluster;
mod geodesy;
mod nonlinear;
mod road;
mod statistics;
mod track;
mod variance;
mod working_covariance;
