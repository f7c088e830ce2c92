//! The energy account of one lap, step by step, per unit of weight: metres of elevation.
//!
//! Given a lap's step edges, the ride and the line; gives the sums A, D and B of the balance
//!
//! ```text
//! h = [ Σ ηPΔt − Σ(b₀+b₁v)vΔt − ΔKE ] / mg − Δdrop  −  Crr Σ (N/mg)Δs  −  CdA Σ ½ρ w w∥ u Δt / mg
//!   =                A                                −  Crr   D           −  CdA   B
//! ```
//!
//! Kinetic energy telescopes: only speeds at the step edges enter. It never differentiates speed.

use crate::air::{Direction, WindVector};
use crate::circuit::{Lap, ReferenceLine};
use crate::model::aerodynamic::{
    AirSpeed, Gusts, drag_per_area_n_m2, drag_wind_derivative, gust_drag_per_area_n_m2, yaw_drag_per_area_n_m2,
    yaw_drag_wind_derivative,
};
use crate::model::bearing::bearing_force_n;
use crate::model::kinetic::{kinetic_energy_j, rotating_mass_kg};
use crate::model::lean;
use crate::model::rolling::TyreTemperature;
use crate::sample::{Cumulative, Ride};
use crate::session::RiderAndBike;

/// Instants within a step at which the forces are taken (midpoint rule in time).
const NODES: usize = 6;

/// Everything about a run that its accounts rest on.
#[derive(Debug, Clone)]
pub struct RunConditions<'a> {
    pub run: usize,
    pub setup: usize,
    pub ride: &'a Ride,
    pub line: Option<&'a ReferenceLine>,
    /// Chainage of the step edges as shares of the lap.
    pub edge: &'a [f64],
    pub rider: RiderAndBike,
    pub gravity_m_s2: f64,
    /// Air density at instants, kg/m³.
    pub density: TimeCurve,
    /// Wind at rider height where it was given, m/s; the fitted wind is added to it.
    pub given_wind: WindCurve,
    /// Brings Crr to the reference temperature.
    pub tyres: TyreTemperature,
    /// Scale of measured speed, 1 unless a budget asks otherwise.
    pub speed_scale: f64,
    /// Scale of measured power, likewise.
    pub power_scale: f64,
    /// What is added to the power at the road, W, likewise.
    pub added_power_w: f64,
}

/// A quantity that changes slowly: values at instants, linear between, constant outside.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TimeCurve {
    pub time_s: Vec<f64>,
    pub value: Vec<f64>,
}

impl TimeCurve {
    pub fn constant(value: f64) -> Self {
        TimeCurve { time_s: vec![0.0], value: vec![value] }
    }

    pub fn at(&self, time_s: f64) -> f64 {
        let i = self.time_s.partition_point(|t| *t <= time_s);
        if i == 0 {
            return self.value.first().copied().unwrap_or(f64::NAN);
        }
        if i == self.time_s.len() {
            return self.value[i - 1];
        }
        let f = (time_s - self.time_s[i - 1]) / (self.time_s[i] - self.time_s[i - 1]);
        self.value[i - 1] + f * (self.value[i] - self.value[i - 1])
    }

    pub fn mean(&self) -> f64 {
        self.value.iter().sum::<f64>() / self.value.len().max(1) as f64
    }

    pub fn scaled(&self, factor: f64) -> Self {
        TimeCurve { time_s: self.time_s.clone(), value: self.value.iter().map(|v| v * factor).collect() }
    }
}

/// A wind that changes slowly.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WindCurve {
    pub east_m_s: TimeCurve,
    pub north_m_s: TimeCurve,
}

impl WindCurve {
    pub fn at(&self, time_s: f64) -> WindVector {
        WindVector { east_m_s: self.east_m_s.at(time_s), north_m_s: self.north_m_s.at(time_s) }
    }
}

/// What ride and line say of an instant of a lap, whatever is supposed of rider and air.
#[derive(Debug, Clone, Copy)]
struct Instant {
    time_s: f64,
    /// Speed as measured, m/s.
    speed_m_s: f64,
    curvature_1_m: f64,
    travel: Direction,
}

/// The instants of a lap at which an account is taken, read once for all accounts of the lap.
#[derive(Debug, Clone)]
pub struct LapWay {
    edges: Vec<Instant>,
    /// [`NODES`] to a step.
    nodes: Vec<Instant>,
}

impl LapWay {
    /// `None` when the lap was not cut into the steps of the run.
    pub fn new(run: &RunConditions, lap: &Lap) -> Option<LapWay> {
        let steps = lap.edge_s.len().checked_sub(1).filter(|s| *s > 0 && *s + 1 == run.edge.len())?;
        let lap_length_m = run.line.map_or(lap.distance_m, |l| l.length_m);
        let at = |time_s: f64, share: f64| {
            let chainage_m = share * lap_length_m;
            let toward = run.line.map(|line| line.toward_at(chainage_m)).unwrap_or_default();
            Instant {
                time_s,
                speed_m_s: run.ride.speed.at(time_s),
                curvature_1_m: run.line.map_or(0.0, |l| l.curvature_at(chainage_m)),
                travel: Direction { east: toward.east_m, north: toward.north_m },
            }
        };
        let between = |ends: &[f64], x: f64| ends[0] + x * (ends[1] - ends[0]);
        Some(LapWay {
            edges: lap.edge_s.iter().zip(run.edge).map(|(t, share)| at(*t, *share)).collect(),
            nodes: (0..steps * NODES)
                .map(|i| {
                    let (j, x) = (i / NODES, ((i % NODES) as f64 + 0.5) / NODES as f64);
                    at(between(&lap.edge_s[j..], x), between(&run.edge[j..], x))
                })
                .collect(),
        })
    }
}

/// Forces are taken here.
#[derive(Debug, Clone, Copy)]
struct Node {
    /// Time this node stands for, s.
    span_s: f64,
    /// Speed of the centre of mass, m/s.
    com_speed_m_s: f64,
    travel: Direction,
    density_kg_m3: f64,
    given_wind: WindVector,
}

/// The account of one lap. Columns have one entry a step.
#[derive(Debug, Clone)]
pub struct LapAccount {
    pub run: usize,
    /// Index among the laps of the run.
    pub lap: usize,
    pub setup: usize,
    pub edge_s: Vec<f64>,
    /// Weight m g, N.
    pub weight_n: f64,
    efficiency: f64,
    /// At the road, W.
    added_power_w: f64,
    /// Bearing work, growth of kinetic energy and of the height lost by leaning, J.
    bearing_and_stored_j: Vec<f64>,
    /// D, m, so that Crr is that at the reference temperature.
    pub rolling_m: Vec<f64>,
    /// Crr as ridden over Crr at the reference temperature, which is in D.
    pub crr_over_reference: f64,
    nodes: Vec<Node>,
    /// Middle of the lap in the run, −1 at its beginning to 1 at its end.
    pub phase: f64,
    /// Over the steps in use.
    pub mean_speed_m_s: f64,
    pub mean_density_kg_m3: f64,
    /// Steps that are not used, in order; their entries in all columns are 0.
    pub unused: Vec<usize>,
}

/// Wind of a run while it is being fitted, m/s.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FittedWind {
    pub east_m_s: f64,
    pub north_m_s: f64,
    /// Change from the middle of the run to its end.
    pub drift_east_m_s: f64,
    pub drift_north_m_s: f64,
}

/// The air of a lap as a fit supposes it.
#[derive(Debug, Clone, Copy)]
pub struct SupposedAir<'s> {
    pub wind: FittedWind,
    /// Share of the wind that is met in each step; empty for all of it everywhere.
    pub share: &'s [f64],
    /// k of drag against yaw, see [`crate::model::aerodynamic`].
    pub yaw: f64,
    /// Variance a component, m²/s², of the gusts less that of the error of the fitted wind, whose square adds drag that is
    /// not there; it may be negative.
    pub gust_variance: f64,
}

impl SupposedAir<'_> {
    /// The same wind in every step and nothing else.
    pub fn of_wind(wind: FittedWind) -> SupposedAir<'static> {
        SupposedAir { wind, share: &[], yaw: 0.0, gust_variance: 0.0 }
    }
}

/// B of each step, m per m², and its derivatives.
#[derive(Debug, Clone, Default)]
pub struct AeroColumns {
    pub b: Vec<f64>,
    /// With the fitted wind, per m/s.
    pub east: Vec<f64>,
    pub north: Vec<f64>,
    /// With the logarithm of the share of the wind met in the step.
    pub log_share: Vec<f64>,
    /// With k.
    pub yaw: Vec<f64>,
}

impl LapAccount {
    /// Builds the account; `None` when speed is missing somewhere in the lap.
    pub fn new(run: &RunConditions, lap_index: usize, lap: &Lap) -> Option<LapAccount> {
        LapAccount::along(&LapWay::new(run, lap)?, run, lap_index, lap)
    }

    /// The same along a way already read, on conditions that may differ in anything but ride, line and step edges.
    pub fn along(way: &LapWay, run: &RunConditions, lap_index: usize, lap: &Lap) -> Option<LapAccount> {
        let (rider, g) = (&run.rider, run.gravity_m_s2);
        let weight_n = rider.mass_kg * g;
        let rotating = rotating_mass_kg(rider.wheel_inertia_kg_m2, rider.wheel_radius_m);
        let lean_at = |curvature_1_m: f64, v: f64| lean(curvature_1_m, v, rider.centre_of_mass_height_m, g);
        let stored: Vec<f64> = way
            .edges
            .iter()
            .map(|edge| {
                let v = run.speed_scale * edge.speed_m_s;
                let l = lean_at(edge.curvature_1_m, v);
                kinetic_energy_j(rider.mass_kg, l.com_speed_m_s, rotating, v) - weight_n * l.com_drop_m
            })
            .collect();

        let steps = way.edges.len() - 1;
        let mut account = LapAccount {
            run: run.run,
            lap: lap_index,
            setup: run.setup,
            edge_s: lap.edge_s.clone(),
            weight_n,
            efficiency: rider.drivetrain_efficiency * run.power_scale,
            added_power_w: run.added_power_w,
            bearing_and_stored_j: Vec::with_capacity(steps),
            rolling_m: Vec::with_capacity(steps),
            crr_over_reference: run.tyres.crr_over_reference(),
            nodes: Vec::with_capacity(steps * NODES),
            phase: 2.0 * 0.5 * (lap.start_s + lap.end_s) / run.ride.duration_s() - 1.0,
            mean_speed_m_s: lap.mean_speed_m_s() * run.speed_scale,
            mean_density_kg_m3: run.density.at(0.5 * (lap.start_s + lap.end_s)),
            unused: (0..lap.step_reason.len()).filter(|j| lap.step_reason[*j].is_some()).collect(),
        };
        let (mut used_m, mut used_s) = (0.0, 0.0);
        for (j, nodes) in way.nodes.chunks_exact(NODES).enumerate() {
            let is_used = account.unused.binary_search(&j).is_err();
            let span_s = if is_used { (lap.edge_s[j + 1] - lap.edge_s[j]) / NODES as f64 } else { 0.0 };
            let (mut rolling, mut bearing) = (0.0, 0.0);
            for node in nodes {
                // What was recorded in a step that is not used may be nothing at all.
                let v = if is_used { run.speed_scale * node.speed_m_s } else { 0.0 };
                let l = lean_at(node.curvature_1_m, v);
                rolling += l.load_ratio * v * span_s;
                bearing += bearing_force_n(rider.bearing_friction, v) * v * span_s;
                account.nodes.push(Node {
                    span_s,
                    com_speed_m_s: l.com_speed_m_s,
                    travel: node.travel,
                    density_kg_m3: run.density.at(node.time_s),
                    given_wind: run.given_wind.at(node.time_s),
                });
            }
            account.rolling_m.push(rolling * account.crr_over_reference);
            account.bearing_and_stored_j.push(if is_used { bearing + stored[j + 1] - stored[j] } else { 0.0 });
            used_m +=
                nodes.iter().filter(|_| is_used).map(|node| run.speed_scale * node.speed_m_s * span_s).sum::<f64>();
            used_s += span_s * NODES as f64;
        }
        if !account.unused.is_empty() {
            account.mean_speed_m_s = used_m / used_s;
        }
        let finite = account.bearing_and_stored_j.iter().chain(&account.rolling_m).all(|x| x.is_finite());
        finite.then_some(account)
    }

    pub fn steps(&self) -> usize {
        self.rolling_m.len()
    }

    /// A, m: `work` is the run's cumulative work, read `lag_s` earlier than speed because speed runs behind by it.
    pub fn supplied_m(&self, work: &Cumulative, lag_s: f64) -> Vec<f64> {
        let at: Vec<f64> = self.edge_s.iter().map(|t| work.at(t - lag_s)).collect();
        let supplied =
            at.windows(2).zip(self.edge_s.windows(2).zip(&self.bearing_and_stored_j)).map(|(w, (t, fixed))| {
                (self.efficiency * (w[1] - w[0]) + self.added_power_w * (t[1] - t[0]) - fixed) / self.weight_n
            });
        self.of_used_steps(supplied.collect())
    }

    /// The same lap with its drag scaled, as if CdA had been another in it.
    pub fn with_drag(mut self, factor: f64) -> LapAccount {
        self.nodes.iter_mut().for_each(|node| node.density_kg_m3 *= factor);
        self
    }

    /// Derivative of A with respect to the lag, m/s.
    pub fn supplied_lag_derivative(&self, work: &Cumulative, lag_s: f64) -> Vec<f64> {
        let at: Vec<f64> = self.edge_s.iter().map(|t| work.rate_at(t - lag_s)).collect();
        self.of_used_steps(at.windows(2).map(|w| -self.efficiency * (w[1] - w[0]) / self.weight_n).collect())
    }

    /// A column with 0 for the steps that are not used.
    pub fn of_used_steps(&self, mut column: Vec<f64>) -> Vec<f64> {
        self.unused.iter().for_each(|j| column[*j] = 0.0);
        column
    }

    /// Share of the steps that are used.
    pub fn share_used(&self) -> f64 {
        1.0 - self.unused.len() as f64 / self.steps() as f64
    }

    pub fn uses(&self, step: usize) -> bool {
        self.unused.binary_search(&step).is_err()
    }

    /// The fitted wind at the middle of the lap.
    fn wind(&self, fitted: FittedWind) -> WindVector {
        WindVector {
            east_m_s: fitted.east_m_s + self.phase * fitted.drift_east_m_s,
            north_m_s: fitted.north_m_s + self.phase * fitted.drift_north_m_s,
        }
    }

    /// B and its derivatives in supposed air.
    pub fn aero(&self, air: SupposedAir) -> AeroColumns {
        self.aero_at(air, None)
    }

    /// The same with the speed of each node replaced, as for the planned-speed instrument.
    pub fn aero_at(&self, air: SupposedAir, speeds_m_s: Option<&[f64]>) -> AeroColumns {
        let wind = self.wind(air.wind);
        let gusts = Gusts::isotropic(air.gust_variance.abs().sqrt());
        let columns = || Vec::with_capacity(self.steps());
        let mut out =
            AeroColumns { b: columns(), east: columns(), north: columns(), log_share: columns(), yaw: columns() };
        for (j, nodes) in self.nodes.chunks_exact(NODES).enumerate() {
            let share = air.share.get(j).copied().unwrap_or(1.0);
            let speeds_m_s = speeds_m_s.map(|all| &all[j * NODES..(j + 1) * NODES]);
            let (mut b, mut east, mut north, mut log_share, mut yaw) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for (i, node) in nodes.iter().enumerate() {
                // At another speed the same way is ridden in another time.
                let u = speeds_m_s.map_or(node.com_speed_m_s, |speeds| speeds[i]);
                let met = WindVector {
                    east_m_s: share * (wind.east_m_s + node.given_wind.east_m_s),
                    north_m_s: share * (wind.north_m_s + node.given_wind.north_m_s),
                };
                let density = node.density_kg_m3;
                let flow = AirSpeed::new(u, node.travel, met);
                let of_yaw = yaw_drag_per_area_n_m2(density, flow);
                let mut drag = drag_per_area_n_m2(density, flow) + air.yaw * of_yaw;
                if air.gust_variance != 0.0 {
                    drag += air.gust_variance.signum() * gust_drag_per_area_n_m2(density, flow, gusts);
                }
                let mut slope = drag_wind_derivative(density, flow, node.travel);
                if air.yaw != 0.0 {
                    let more = yaw_drag_wind_derivative(density, flow, node.travel);
                    slope.east += air.yaw * more.east;
                    slope.north += air.yaw * more.north;
                }
                let per = node.com_speed_m_s * node.span_s / self.weight_n;
                b += per * drag;
                east += per * slope.east;
                north += per * slope.north;
                log_share += per * (slope.east * met.east_m_s + slope.north * met.north_m_s);
                yaw += per * of_yaw;
            }
            out.b.push(b);
            out.east.push(share * east);
            out.north.push(share * north);
            out.log_share.push(log_share);
            out.yaw.push(yaw);
        }
        out
    }

    /// Speeds of the centre of mass at the nodes, m/s; NaN in steps that are not used.
    pub fn node_speeds(&self) -> impl Iterator<Item = f64> + '_ {
        self.nodes.iter().enumerate().map(|(i, n)| if self.uses(i / NODES) { n.com_speed_m_s } else { f64::NAN })
    }
}
