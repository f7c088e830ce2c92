//! From laps to CdA and Crr: energy accounts, elimination of the profile, least squares and planned-speed instruments.
//!
//! Given laps at equal steps of chainage with masses, air and wind; gives the parameters with everything that the
//! uncertainty needs. It reads no file and compares no set-ups.
//!
//! # How the solver works
//!
//! The head of each file named here says more, with formulas and their sources; paths are those below `src`.
//!
//! * **Account** (`solve/account.rs`). A lap is cut into steps of about 32 m. Energies are read from cumulative curves at
//!   the edges, so speed is never differentiated. On roads no edge lies in a hairpin. Lean enters here, from the curvature of the line
//!   (`model/lean.rs`; the simulation has its own in `simulate/lean.rs`): speed and height of the centre of mass, and the load on the tyres. Per unit of weight the sums are
//!   metres of elevation.
//! * **Parameters** (`solve/layout.rs`). Crr and CdA by day or by set-up; lag (of speed behind power), wind and its drift by run; the share of
//!   the wind along the loop (`solve/wind_along.rs`) for all runs; yaw by day or by set-up; a drift of Crr where it is
//!   asked for.
//! * **Profile** (`solve/profile.rs`, `solve/design.rs`). The height of each step is common to all laps. It is taken out of
//!   every column, or held to a survey.
//! * **Priors** (`solve/prior.rs`). What is expected of a parameter is one more row of the equations. Its width is part of
//!   the interval (`V_prior` of `uncertainty/cluster.rs`) and a line of the budget (`analysis/prior_budget.rs`).
//! * **Spread of the day's air** (`solve/spread.rs`). Two things are taken from the rides before they are solved with
//!   instruments: how much the wind may differ along the loop (the scale of its prior), and what share of the differences
//!   between the winds of runs is more than their errors. The instrumental variable of yaw uses winds whose differences are
//!   shrunk by that share. `forecast` foresees both for a planned day.
//! * **Instrumental variables** (`solve/instrumental_variables.rs`). A gust changes speed and drag together, which biases least squares. So each
//!   column is evaluated at the mean speed of its planned class, with the run's own air, mass and wind. Where speeds form
//!   no separate classes the mean of all laps is the instrument, and CdA and Crr share what laps cannot tell as both are
//!   expected; with no instrument at all for CdA, Crr alone answered for a meter that reads half, and hit its bound. The
//!   instruments go along with the parameters until the solution is near: held at a far point, least squares at one speed,
//!   they left 6 of 40 such days without any solution.
//! * **Equations** (`solve/normal.rs`, `solve/outer.rs`). Runs are eliminated one by one, so work grows with runs and not
//!   with their cube. argmin drives the descent; the step is ours.
//! * **One object afterwards** (`solve/solved.rs`). Whatever is asked of a fit is answered from the same derivatives,
//!   instruments and factored equations. Inputs that did not move give the fit again to the last digit.
//! * **Freed forms** (`analysis/freed.rs`). The same equations with something freed: each run by itself
//!   (`analysis/run_values.rs`), or each set-up, to test what was stated to be shared (`analysis/sharing.rs`).
//! * **Inference.** The lap is the cluster for scatter, with CR2 and Satterthwaite's degrees of freedom
//!   (`uncertainty/cluster.rs`). Few laps are shrunk towards a model of their scatter (`uncertainty/moderation.rs`). The
//!   run is the unit of replication: what changes between runs is mixed in (`uncertainty/replication.rs`).
//! * **Steps that are not used** (`circuit/spoiled_steps.rs`). A stop, a brake, a lost meter, a gap or a stay off the line
//!   costs the steps it touches and some seconds on each side (`LapAccount::unused`). The balance holds step by step, so the rest of the lap counts: its
//!   rows are missing in the profile, the equations and the covariance (`Rows`). The height across steps that no lap shows
//!   is a parameter with an expectation (`Layout::open_height`); it opens Crr, and hardly CdA or differences.
//! * **Laps that are not used** (`Reason`). By records (`sample/exclusion.rs`); gaps, lengths and ways
//!   that are not known (`circuit/lap_sequence.rs`); too few steps left (`circuit/spoiled_steps.rs`); a speed that changes at the
//!   line (`circuit/lap.rs`); `leave_out` and `keep` (`lap_inputs::overrule`); the account (`solve/screen.rs`: braking, a push, an
//!   outlying misclosure); a whole run unlike the others (`analysis/slip/run_unlike.rs`).
//! * **Gusts** (`solve/gust.rs`) add to mean drag; their variance comes from residuals 2.5 to 12 s apart. **Weights**
//!   (`solve/weights.rs`): fast laps are noisier.
//! * **Does the model explain the day?** (`analysis/model_check.rs`, `uncertainty/sign_flip.rs`). What the fit leaves along the
//!   loop is compared with days on which whole laps err the other way at random: by run, by planned speed, at one place, and
//!   in the form that a wind turning along the loop would give it (`analysis/wind_turn.rs`). With three planned speeds
//!   `analysis/drag_bend.rs` asks whether drag grows with speed as one CdA and one Crr have it.
//! * **Findings of the air** (`analysis/air_along.rs`): where the wind is met along the loop, and whether the rides told
//!   yaw.

pub mod account;
pub mod design;
pub mod fit;
pub mod gust;
mod heights;
pub mod instrumental_variables;
pub mod layout;
pub mod normal;
pub mod outer;
pub mod prior;
pub mod profile;
pub mod screen;
pub mod separation;
pub mod solved;
pub mod speed_class;
pub mod spread;
pub mod weights;
pub mod wind_along;
