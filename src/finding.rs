//! What does not stop a run but must be told: one enum, a sentence and a next step for each.
//!
//! Given the numbers that made it worth saying. It never prints; `report` and `solution` carry it out.

mod code;
mod misfit;
mod order;
mod sentence;
mod sharing;
mod slip;

pub use code::grave;
pub use misfit::{LeftAtSpeed, Misfit, MostLeft};
pub use sharing::FreedDifference;
pub use slip::{Apart, MassWanted, MisclosureTrend, RiddenAs, Slip};

/// Something the reader must know, tied to a run where it belongs to one.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Zero-based index into the session's runs; `None` when it concerns the whole session.
    pub run: Option<usize>,
    pub what: What,
}

impl Finding {
    pub fn of_session(what: What) -> Self {
        Finding { run: None, what }
    }

    pub fn of_run(run: usize, what: What) -> Self {
        Finding { run: Some(run), what }
    }
}

/// The catalogue of findings.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    // -- record --------------------------------------------------------------------------------
    /// The file ends before it says it should.
    Truncated { records: usize, missing_bytes: u64 },
    /// The checksum of a file part is wrong.
    ChecksumMismatch { part: usize },
    /// Messages that could not be decoded were passed over.
    Undecodable { count: usize, reason: String },
    /// Several activities stand in one file.
    SeveralParts { parts: usize },
    /// Only the cycling part of a mixed activity is used.
    OtherSportsLeftOut { records: usize },
    /// Records without a time of their own were dropped.
    RecordsWithoutTime { count: usize },
    /// Records with the time of the one before.
    RepeatedTimes { count: usize },
    /// Records whose time lies before that of a record above them.
    OutOfOrder { count: usize },
    /// Records whose time jumps absurdly.
    TimeJump { count: usize, largest_s: f64, dropped: usize },
    /// A developer field that looks like a native one was not used.
    DeveloperFieldIgnored { name: String },
    /// A developer field stands for power because there is no native power.
    DeveloperFieldUsed { name: String },
    /// The device never filled in the length of a file part.
    NotFinalised { part: usize },
    /// Bytes in a file part cannot be understood.
    Damaged { part: usize, lost_bytes: usize },
    /// Records directly before damaged bytes.
    DoubtfulRecords { count: usize },
    /// Bytes that belong to no file part.
    StrayBytes { bytes: usize },
    /// A part of the file is not an activity.
    OtherFileLeftOut { kind: String },
    /// The file says that the activity is another sport.
    NotCycling { sport: String },
    /// Positions off the globe.
    ImpossiblePositions { count: usize },
    /// Times do not count from a known moment.
    ClockNotSet,
    /// Columns of a table that mean nothing here.
    ColumnsIgnored { names: Vec<String> },
    /// Channels were taken from a second device.
    ChannelsJoined { file: String, channels: Vec<&'static str>, matched: usize, total: usize },
    /// Something said of the second device's file.
    InSecondFile { file: String, what: Box<What> },
    /// Power is zero throughout.
    PowerAllZero { records: usize },
    /// Speed comes from distance because the speed channel is absent.
    SpeedFromDistance,
    /// Speed channel and distance channel disagree.
    SpeedDistanceMismatch { ratio: f64 },

    // -- sample and laps -----------------------------------------------------------------------
    /// The ride is split by gaps in the record.
    Gaps { count: usize, longest_s: f64 },
    /// Positions do not move although the wheel turns.
    NotMoving,
    /// The gate given in the session is far from the route.
    GateFar { distance_m: f64 },
    /// Laps are cut beside the stated gate because speed changes at it.
    CutMoved { distance_m: f64 },
    /// Watts are given at a speed far from those that were ridden.
    ReferenceNotRidden { reference_km_h: f64, slowest_km_h: f64, fastest_km_h: f64 },
    /// Most laps are ridden at two planned speeds, one after the other.
    SpeedChangesWithin { laps: usize, of: usize },
    /// Without one lap a difference in watts is another one, or no longer told from chance.
    OneLapMoves { lap: usize, of: String, power_w: f64, without_w: f64, hangs: bool },
    /// Positions that no bicycle can have reached.
    PositionsUnreachable { count: usize, farthest_m: f64, first_s: f64 },
    /// Positions scatter too much from lap to lap to be used on a track of stated bends.
    PositionsPoor { spread_m: f64 },
    /// Positions show other bends than stated.
    BendsContradicted { radius_m: f64, transition_m: Option<f64>, seen_radius_m: f64, seen_transition_m: f64 },
    /// Positions show no track of two bends.
    NotTwoBends,
    /// Positions show another direction of the home straight than stated.
    BearingContradicted { stated_deg: f64, seen_deg: f64 },
    /// Wind was fitted along a track whose direction nobody knows.
    WindWithoutCompass,
    /// Lap marks that are too many, and those after which one is missing, counted from 1.
    LapMarksOdd { extra: Vec<usize>, missing_after: Vec<usize> },
    /// The lap as ridden by the wheel on a track of stated length.
    RiddenLength { stated_m: f64, ridden_m: f64 },
    /// The lap by the wheel is not the one that is known otherwise.
    SpeedScaleOff { wheel_m: f64, known_m: f64, sd_m: f64, by: &'static str },
    /// The wheel of a run measures another lap than those of the other runs.
    WheelDiffers { wheel_m: f64, usual_m: f64 },
    /// Speeds were brought to the scale at which laps have their known length.
    SpeedCalibrated { factor: f64, relative_u: f64, known_m: f64, by: &'static str },
    /// A run cannot be used and the others are solved without it.
    RunLeftOut { reason: String },
    /// Lap marks of the device are used although positions exist.
    DeviceLaps { count: usize },
    /// Laps cut by distance alone.
    LapsByDistance { length_m: f64, last_off_m: f64 },
    /// Neither positions nor a stated form tell where the bends are.
    BendsUnknown { track: bool },
    /// Some laps are not used.
    LapsLeftOut { used: usize, total: usize, reasons: String },

    // -- air and wind --------------------------------------------------------------------------
    /// Pressure was not stated and is that of the standard atmosphere.
    PressureAssumed { pressure_hpa: f64, elevation_m: Option<f64> },
    /// The stated pressure does not fit the elevation.
    PressureOdd { pressure_hpa: f64, standard_hpa: f64, elevation_m: f64 },
    /// Temperature was not stated.
    TemperatureAssumed { temperature_c: f64, from_device: bool },
    /// Humidity was not stated.
    HumidityAssumed { humidity_pct: f64 },

    // -- solve ---------------------------------------------------------------------------------
    /// CdA and Crr cannot be told apart.
    NotSeparable { reason: String, next: String },
    /// The instruments are too weak to separate CdA from Crr on their own.
    WeakInstruments { first_stage_f: f64 },
    /// Least squares and instruments differ by more than their error.
    Gusty { difference_crr: f64, standard_error: f64 },
    /// The lag is larger than devices usually show.
    LagLarge { lag_s: f64 },
    /// The lag sits on its bound.
    LagAtBound { lag_s: f64 },
    /// The outer solver stopped before it converged.
    NotConverged { iterations: u64 },
    /// Few clusters: the interval is wide for want of laps.
    FewLaps { laps: usize },
    /// The wind that is met differs along the loop.
    WindAlongLoop { least: f64, least_at_m: f64, most: f64, most_at_m: f64 },
    /// Rides contradict what set-ups were stated to share.
    SharingContradicted { quantity: &'static str, p_value: f64, differences: Vec<FreedDifference> },
    /// The model leaves more than chance explains.
    Misfit(Misfit),
    /// Yaw is estimated while the wind is held the same everywhere.
    YawWithoutShelter,
    /// An expectation decides more than the rides do.
    RestsOnExpectation { of: &'static str, quantities: Vec<String>, next: &'static str },
    /// Laps differ more than the scatter within them explains.
    LapsDiffer { name: String, by_laps: f64, within: f64 },
    /// Set-up and time of day cannot be told apart: the venue with the order on it, one entry each.
    OrderConfounded { orders: Vec<(&'static str, String)> },
    /// Wind drifted during the run and is modelled so.
    WindDrifted { change_m_s: f64 },
    /// A fitted drift of Crr and a difference can hardly be told apart.
    DriftConfounded { setup: String, baseline: String, order: String, inflation: f64, better: String },
    /// Two ways to the standard error disagree.
    BootstrapDisagrees { quantity: &'static str, of: String, cluster_se: f64, bootstrap_se: f64 },
    /// There is no second opinion on the standard errors.
    BootstrapNotDone { reason: String },

    // -- rollers -------------------------------------------------------------------------------
    /// The no-load drag of the drums was not stated.
    NoLoadDragAssumed,
    /// The rider was still warming the tyres up.
    WarmUp { window_start_s: f64, time_constant_s: Option<f64> },
    /// Something a sound roller test needs is missing.
    RollerPractice { what: String },
    /// Drums of a size that is hardly ridden: a radius for the diameter changes every Crr.
    DrumsOdd { what: String },
    /// A roller run has no window and is not used.
    RollerRunLeftOut { reason: String },
    /// What stands behind Crr on the flat and is not measured.
    RollerAssumptions {
        drum_diameter_m: f64,
        drum_spacing_m: f64,
        drum_over_flat: f64,
        conversion_fraction: f64,
        rear_weight_fraction: f64,
        front_driven: bool,
    },
    /// No set-up was ridden twice on the rollers.
    NoRepeats { runs: usize, fraction: f64 },
    /// Too few runs were repeated to tell what changes from run to run.
    RunToRunSupposed { repeats: usize, setups: usize, fraction: f64, of: &'static str },
    /// Crr on the loop less Crr on the rollers.
    SurfaceLoss { on: &'static str, setup: String, crr: f64, half_width: Option<f64>, rolling_power_w: f64 },
    /// Loop and rollers see different differences between two set-ups.
    VenuesDisagree { on: &'static str, setup: String, baseline: String, q: f64, p_value: f64 },
    /// A set-up was ridden on one of two venues.
    OneVenueOnly { setup: String, venue: &'static str },
    /// A set-up had different tyre pressures on loop and rollers.
    PressuresDiffer { on: &'static str, setup: String, gap_kpa: f64 },

    // -- slips ---------------------------------------------------------------------------------
    /// Something a tester or a device got wrong that no value shows.
    Slip(Slip),

    // -- several results, random draws ---------------------------------------------------------
    /// The results of several days disagree on a difference.
    ResultsDisagree { setup: String, baseline: String, quantity: String, q: f64, dof: f64, p_value: f64 },
    /// The results of several days have other curves over a quantity.
    CurvesDisagree { factor: String, quantity: String, p_value: f64 },
    /// A curve over a quantity that several results have varied is not told.
    CurveNotPooled { factor: String, why: String },
    /// A difference is in one of several results only.
    OneResultOnly { setup: String, baseline: String, result: String },
    /// Several results have a difference, but no two of them a measured quantity of it.
    NothingToPool { setup: String, baseline: String },
    /// A result of which no difference is pooled.
    ResultNotPooled { result: String },
    /// One set-up id has different labels.
    LabelsDiffer { setup: String, labels: Vec<String> },
    /// Watts of some results are at other reference conditions.
    ReferencesDiffer { results: Vec<String> },
    /// Watts of some results hold rolling alone, those of others air too.
    RollingOnly { setup: String, baseline: String, results: Vec<String> },
    /// Random draws of the inputs and the budget give different intervals.
    MonteCarloDiffers { count: usize, of: usize, largest: String },
    /// Some draws of the inputs had no answer.
    DrawsFailed { failed: usize, draws: usize },
    /// Too few draws to tell whether the intervals are the same.
    TooFewDraws { count: usize, of: usize, wanted: usize },
    /// Intervals that differ by about as much as counts as the same.
    NearTolerance { count: usize, of: usize },
}
