//! Slips of a tester or of a device that a result alone does not show: what was seen, why it is doubted, what to check.
//!
//! Given the numbers that made it worth saying; gives a code and a message. It judges nothing.

use crate::quantity::{k_from_c, kg_from_lb};
use crate::wording::{counted, counted_as, listed};

/// What a file says of the ride beside its sport.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RiddenAs {
    /// Indoor cycling or spinning.
    Indoor,
    /// A ride through a world on a screen.
    Virtual,
    /// With a motor.
    EBike,
}

/// Share of drop-outs from which values rest on what was bridged.
const MUCH_POWER_LOST: f64 = 0.1;

/// A difference with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    /// "Crr" or "CdA".
    pub quantity: &'static str,
    pub by: f64,
    pub se: f64,
}

impl std::fmt::Display for Apart {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        let decimals = if self.quantity == "Crr" { 5 } else { 4 };
        write!(f, "{:+.decimals$} ± {:.decimals$} in {}", self.by, self.se, self.quantity)
    }
}

/// The mass of a run, and the one that would make it like its twins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassWanted {
    pub stated_kg: f64,
    pub needed_kg: f64,
}

/// Misclosures that go one way from the first lap of a run to its last.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MisclosureTrend {
    /// Over the usual length of a run, m a lap, and the power that would do it, W.
    pub change_m: f64,
    pub power_w: f64,
    pub run_minutes: f64,
    pub p_value: f64,
    /// Runs that go that way, and all that can show it.
    pub runs: usize,
    pub of: usize,
    /// The solution explains it with a wind that changes through the runs.
    pub taken_for_wind: bool,
}

impl MisclosureTrend {
    fn message(&self) -> String {
        let MisclosureTrend { change_m, power_w, run_minutes, p_value, runs, of, taken_for_wind } = self;
        let climbs = *change_m > 0.0;
        let (way, power) = if climbs { ("climbs", "too much") } else { ("falls", "too little") };
        let causes = if climbs {
            "the zero of the power meter creeps up as its temperature changes, tyres lose air, the wind rises, or something rubs"
        } else {
            "the zero of the power meter creeps down as its temperature changes, tyres warm up, or the wind drops"
        };
        let wind = match taken_for_wind {
            true => " The solution takes it for a change of the wind, which is right only if the wind did change.",
            false => "",
        };
        let place = if *of == 1 { String::new() } else { format!(" in {runs} of {of} runs") };
        format!(
            "The misclosure {way} steadily from the first lap of a run to the last{place}. It changes by {change_m:+.2} m a lap in {run_minutes:.0} min (p {}), as if power read {:.1} W {power} by the end. Likely {causes}.{wind} Differences are safe only as far as every run had the same share of it. Leave the bicycle outside for half an hour before setting the zero and set it before each run, look at the pressure of the tyres after riding, and log the wind.",
            short_p(*p_value),
            power_w.abs()
        )
    }
}

/// A p-value within a sentence.
pub(super) fn short_p(p: f64) -> String {
    if p < 0.001 { "< 0.001".into() } else { format!("{p:.3}") }
}

/// The catalogue.
#[derive(Debug, Clone, PartialEq)]
pub enum Slip {
    /// Zeros of the power meter while the rider pedalled.
    PowerDropOuts { bridged: usize, lost: usize, share: f64 },
    /// The file says how it was ridden.
    RiddenAs(RiddenAs),
    /// Positions move and altitude never does.
    LevelToTheDecimetre { distance_m: f64 },
    /// Holes in the distance by which laps are counted: the first one, and the laps that cannot be placed for them.
    WayUnknown { holes: usize, first_s: f64, unplaced: usize, of: usize },
    /// Two runs have moments in common.
    RunsOverlap { other: String, shared_s: f64 },
    /// The runs stand in another order than their clocks say; numbers of the runs by the clock.
    OrderAgainstClock { by_clock: Vec<usize> },
    /// Runs of other days than most.
    OtherDay { day: String, usual_day: String, days: f64 },
    /// A mass that is unlike the others or that of no rider.
    MassOdd { mass_kg: f64, others_kg: Option<f64> },
    /// Stated temperature against that of the device.
    TemperatureOdd { stated_c: f64, device_c: f64 },
    /// Stretches of the loop, from and to, m from the gate, that no lap in use shows, and what is expected of the height gained there.
    NoLapShows { stretches_m: Vec<[f64; 2]>, height_sd_m: f64 },
    /// Runs at different temperatures are brought to one by a rule that nobody stated.
    TyreRuleSupposed { apart_c: f64, reference_c: f64, per_c: f64, u_per_c: f64 },
    /// The devices show temperatures far apart, and nobody stated any.
    TyresOfUnknownTemperature { apart_c: f64 },
    /// Stated wind against the one that the laps show, both at the height of the rider.
    WindOdd { stated_m_s: f64, fitted_m_s: f64, apart_m_s: f64, se_m_s: f64, runs: usize, of: usize },
    /// Values that no bicycle has.
    Implausible { values: Vec<String>, cause: String, withheld: bool },
    /// Most laps of a run break the energy account alike.
    RunUnlike { marked: usize, laps: usize, reason: String },
    /// Laps whose misclosure goes with the time since the run began.
    MisclosureTrend(MisclosureTrend),
    /// A run differs from the other runs of its set-up.
    RunDiffers { file: String, setup: String, apart: Apart, twins: usize, mass: Option<MassWanted> },
    /// The two runs of a set-up differ, and nothing says which is wrong.
    PairDiffers { files: [String; 2], setup: String, apart: Apart, mass_ratio: Option<f64> },
    /// Two runs fit the set-ups of each other.
    SetupsSwapped { pairs: Vec<[String; 2]> },
}

impl Slip {
    /// A short word a script can test for.
    pub fn code(&self) -> &'static str {
        match self {
            Slip::PowerDropOuts { share, .. } if *share > MUCH_POWER_LOST => "power-unreliable",
            Slip::PowerDropOuts { .. } => "power-drop-outs",
            Slip::RiddenAs(RiddenAs::Indoor) => "ridden-indoors",
            Slip::RiddenAs(RiddenAs::Virtual) => "virtual-ride",
            Slip::RiddenAs(RiddenAs::EBike) => "motor",
            Slip::LevelToTheDecimetre { .. } => "altitude-constant",
            Slip::WayUnknown { .. } => "way-unknown",
            Slip::RunsOverlap { .. } => "runs-overlap",
            Slip::OrderAgainstClock { .. } => "order-against-clock",
            Slip::OtherDay { .. } => "other-day",
            Slip::MassOdd { .. } => "mass-odd",
            Slip::TemperatureOdd { .. } => "temperature-odd",
            Slip::NoLapShows { .. } => "steps-unshown",
            Slip::TyreRuleSupposed { .. } => "tyre-temperature-rule",
            Slip::TyresOfUnknownTemperature { .. } => "tyre-temperature-unknown",
            Slip::WindOdd { .. } => "wind-odd",
            Slip::Implausible { .. } => "implausible",
            Slip::RunUnlike { .. } => "run-unlike",
            Slip::MisclosureTrend(_) => "misclosure-trend",
            Slip::RunDiffers { .. } => "run-differs",
            Slip::PairDiffers { .. } => "runs-of-setup-differ",
            Slip::SetupsSwapped { .. } => "setups-swapped",
        }
    }

    /// What was seen, why it is doubted, what to check.
    pub fn message(&self) -> String {
        match self {
            Slip::PowerDropOuts { bridged, lost, share } => {
                let lost = if *lost == 0 { String::new() } else { format!("; {} no power, and what that spoils is not used", counted_as(*lost, "record in a longer one has", "records in longer ones have")) };
                let loud = if *share > MUCH_POWER_LOST { " That is a lost signal, not chance: values rest on what was bridged. Look at battery and distance of the meter and ride again" } else { " Look at battery and distance of the meter" };
                format!("Power drops to zero for single seconds while the rider pedals, in {:.1} % of the records: the meter was not heard. {} with a straight line between the neighbours{lost}.{loud}.", 100.0 * share, counted_as(*bridged, "record is bridged", "records are bridged"))
            }
            Slip::RiddenAs(RiddenAs::Indoor) => "The file says that it was ridden indoors. On rollers or a roofed track that is right; anywhere else look whether it is the file you mean.".into(),
            Slip::RiddenAs(RiddenAs::Virtual) => "The file says that it is a virtual ride: its speed and its positions are computed by a program and tell nothing of tyres or air.".into(),
            Slip::RiddenAs(RiddenAs::EBike) => "The file says that the bicycle has a motor, whose power no meter at the crank sees.".into(),
            Slip::LevelToTheDecimetre { distance_m } => format!("Positions move over {:.1} km and altitude never changes, as in a ride made by a program. If the device has no barometer, nothing is wrong; else look whether it is the file you mean.", distance_m / 1000.0),
            Slip::WayUnknown { holes, first_s, unplaced, of } => format!("The bicycle moved while its distance was not recorded (pause, gap or lost speed; {}, the first {first_s:.0} s after the start), so that nobody knows where the laps counted by distance lie after it: {unplaced} of {of} are not used. A lap mark at the line begins the count anew; press it after every pause, or stand still while the device is paused.", counted(*holes, "time")),
            Slip::RunsOverlap { other, shared_s } => format!("This run and {other} were recorded at the same time for {shared_s:.0} s, which one rider cannot do. Check the clocks, and that each file is of its own ride and rider."),
            Slip::OrderAgainstClock { by_clock } => {
                let order: Vec<String> = by_clock.iter().map(|n| n.to_string()).collect();
                format!("The runs stand in another order than their clocks say; by the clock they were ridden {}. If the session gives them as ridden, files were mixed up and so were their set-ups; else nothing is wrong.", order.join(", "))
            }
            Slip::OtherDay { day, usual_day, days } => format!("This run was ridden on {day}, {} from the others ({usual_day}). Road, tyres and air are not the same then: check that it is the right file; days belong into sessions of their own and are brought together with «loopwright pool».", counted(days.round() as usize, "day")),
            Slip::MassOdd { mass_kg, others_kg } => match others_kg {
                Some(others) => format!("The mass of this run is {mass_kg:.1} kg and that of the others {others:.1} kg. Clothes and bottles do not make {:.0} kg: look for digits that changed places or pounds (1 lb is 0.4536 kg).", (mass_kg - others).abs()),
                None if *mass_kg > 100.0 => format!("A rider and bicycle of {mass_kg:.1} kg are rare; {mass_kg:.1} lb would be {:.1} kg. State mass_kg in kilograms, rider and bicycle together.", kg_from_lb(*mass_kg)),
                None => format!("A rider and bicycle of {mass_kg:.1} kg together are rare: is it the rider alone? State mass_kg of rider, bicycle, kit and bottles together."),
            },
            Slip::TemperatureOdd { stated_c, device_c } => format!("The stated air temperature is {stated_c:.1} °C and the devices show {device_c:.1} °C on average. A device in the sun reads a few degrees high, never so far {}. Density is wrong by {:.0} % if the device is right; check temperature_c or the log.", if stated_c > device_c { "low" } else { "high" }, 100.0 * (k_from_c(*device_c) / k_from_c(*stated_c) - 1.0).abs()),
            Slip::NoLapShows { stretches_m, height_sd_m } => {
                let named: Vec<String> = stretches_m.iter().map(|[from, to]| format!("{from:.0} to {to:.0} m")).collect();
                format!("No lap shows the loop from {} after the gate. Every lap stops, brakes or loses its record there. The height across is taken to be 0 ± {height_sd_m:.1} m, which makes Crr wide and leaves CdA and differences between set-ups as they are. Ride one lap through without stopping, or state a survey under [loop].", listed(&named))
            }
            Slip::TyreRuleSupposed { apart_c, reference_c, per_c, u_per_c } => format!("The runs were ridden at temperatures up to {apart_c:.1} °C apart. Crr is brought to {reference_c:.1} °C supposing that it falls by {:.1} ± {:.1} % per °C, as it does with bicycle tyres; ride A B B A and it cancels. State temperature_coefficient_per_c under [loop] (0 for no correction), and temperatures read at the tyres.", 100.0 * per_c, 100.0 * u_per_c),
            Slip::TyresOfUnknownTemperature { apart_c } => format!("The devices show temperatures up to {apart_c:.0} °C apart between runs, and Crr falls by 1 to 2 % per °C. Nothing is corrected, because the sun warms a device unlike tyres. State tyre_temperature_c of each run, or its air."),
            Slip::WindOdd { stated_m_s, fitted_m_s, apart_m_s, se_m_s, runs, of } => format!("The stated wind is {stated_m_s:.1} m/s at the height of the rider and the laps show {fitted_m_s:.1} m/s. They are {apart_m_s:.1} ± {se_m_s:.1} m/s apart as vectors; {runs} of {} disagree. Check unit (m/s, not km/h), direction (where it blows from), height of the mast and the time of the log, or say mode = \"estimate\" under [wind], which needs no reading.", counted(*of, "run")),
            Slip::Implausible { values, cause, withheld } => {
                let withheld = if *withheld { " A Crr below 0.001 or above 0.02 is not given as a result." } else { "" };
                format!("{}: no rider and tyre that were ever measured have that. Likely cause: {cause}.{withheld}", values.join("; "))
            }
            Slip::RunUnlike { marked, laps, reason } => format!("{marked} of {laps} laps of this run break the energy account alike ({reason}), so it is the run and not its laps. Check its power meter (zero, battery, both sides counted), its mass, its wheel size and the unit of its speed, and that it is the right file; those laps are left out."),
            Slip::MisclosureTrend(trend) => trend.message(),
            Slip::RunDiffers { file, setup, apart, twins, mass } => {
                let mass = mass.map(|m| format!(" (it would have to be {:.1} kg instead of {:.1} kg)", m.needed_kg, m.stated_kg));
                format!("{file} differs from the other {twins} runs of {setup} by {apart}, more than its laps allow. Check its mass{}, the zero of the power meter, tyre and pressure, the position, and that the files are not mixed up.", mass.unwrap_or_default())
            }
            Slip::PairDiffers { files: [a, b], setup, apart, mass_ratio } => {
                let mass = mass_ratio.map(|r| format!(" (one would have to be wrong by {:.0} %)", 100.0 * (r - 1.0).abs()));
                format!("{a} and {b} are both of {setup} and differ by {apart}, more than their laps allow; nothing says which is right. Check the masses{}, the zero of the power meter, tyre and pressure, the position, and that the files are not mixed up. A third run would tell.", mass.unwrap_or_default())
            }
            Slip::SetupsSwapped { pairs } => {
                let named: Vec<String> = pairs.iter().map(|[a, b]| format!("{a} and {b}")).collect();
                format!("With the set-ups of {} exchanged all runs of each set-up agree; as stated they do not. Check which file is of which set-up, and the order of riding.", named.join(", or of "))
            }
        }
    }
}
