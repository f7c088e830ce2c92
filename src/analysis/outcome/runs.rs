//! What is known of each run: its laps, its air, its wind and its delay.
//!
//! Given a solved loop; gives the runs as they are written. It computes no fit.

use super::Report;
use crate::air::WindVector;
use crate::analysis::lap_inputs::tyre_temperature;
use crate::analysis::ridden_session::RiddenSession;
use crate::analysis::run_results::run_result;
use crate::sample::Ride;
use crate::solution::{LapResult, Measured, RunResult, WindResult};
use crate::solve::account::LapAccount;
use crate::solve::fit::residuals;

impl Report<'_> {
    pub(super) fn runs(&self, inputs: &RiddenSession, rides: &[Ride]) -> Vec<RunResult> {
        let fit = &self.venue.fit;
        let frame = self.venue.frame();
        let problem = frame.problem(&self.venue.laps, &fit.used, &fit.weight, fit.scatter);
        let blocks = problem.blocks(&fit.parameters);
        let closures: Vec<f64> = residuals(&problem, &blocks).iter().map(|r| r.iter().sum()).collect();
        let measured = |column: Option<usize>, held: Option<f64>| match column {
            Some(c) => {
                let se = fit.covariance.parameter_standard_error(c);
                Measured { value: Some(fit.parameters[c]), se: Some(se).filter(|s| s.is_finite()) }
            }
            None => Measured { value: held, se: None },
        };
        self.session
            .runs
            .iter()
            .enumerate()
            .map(|(k, stated)| {
                let ride = &rides[k];
                let columns = &fit.layout.runs[k];
                let given = self.venue.air[k].wind.at(0.5 * ride.duration_s());
                let east = measured(columns.east, Some(given.east_m_s));
                let north = measured(columns.north, Some(given.north_m_s));
                let compass = self.venue.cut.has_bearings || columns.east.is_none();
                let wind = east.value.zip(north.value).map(|(east_m_s, north_m_s)| WindVector { east_m_s, north_m_s });
                let misclosure = |lap: usize| {
                    fit.used.iter().position(|&i| {
                        let at = self.venue.address[i];
                        at.run == k && at.lap == lap
                    })
                };
                let account = |used: Option<usize>| used.map(|a| &self.venue.laps[fit.used[a]].account);
                let laps = self.venue.cut.runs[k]
                    .iter()
                    .enumerate()
                    .map(|(i, lap)| {
                        let at = misclosure(i);
                        let work = ride.work_j.at(lap.end_s) - ride.work_j.at(lap.start_s);
                        LapResult {
                            lap: lap.number,
                            start_s: lap.start_s,
                            duration_s: lap.duration_s(),
                            distance_m: lap.distance_m,
                            mean_speed_m_s: account(at).map_or(lap.mean_speed_m_s(), |a| a.mean_speed_m_s),
                            mean_power_w: Some(work / lap.duration_s()).filter(|p| p.is_finite()),
                            planned_speed_class: at.map(|a| fit.classes.of_lap[a] + 1),
                            misclosure_m: at.map(|a| closures[a]),
                            used: at.is_some(),
                            share_used: account(at).map_or(0.0, LapAccount::share_used),
                            reason: if at.is_some() {
                                None
                            } else {
                                lap.reason.map(|r| r.in_words(stated.lap_reasons.get(&lap.number.to_string())))
                            },
                        }
                    })
                    .collect();
                RunResult {
                    air_density_kg_m3: Some(self.venue.air[k].density.mean()),
                    temperature_c: Some(self.venue.air[k].temperature_c),
                    crr_over_reference: self.over_reference(k),
                    lag_s: measured(columns.lag, self.venue.choices.held_lag_s[k]),
                    wind: WindResult {
                        speed_m_s: wind.map(|w| w.speed_m_s()),
                        from_deg: wind.filter(|_| compass).and_then(|w| w.from_deg()),
                        east_m_s: if compass { east } else { Measured::default() },
                        north_m_s: if compass { north } else { Measured::default() },
                        // A track that nobody says the bearing of is laid with its home straight to the north.
                        along_m_s: if compass { Measured::default() } else { north },
                        across_m_s: if compass { Measured::default() } else { east },
                        drift_east_m_s: columns
                            .drift_east
                            .filter(|_| compass)
                            .map_or_else(Measured::default, |c| measured(Some(c), None)),
                        drift_north_m_s: columns
                            .drift_north
                            .filter(|_| compass)
                            .map_or_else(Measured::default, |c| measured(Some(c), None)),
                        gust_m_s: self.venue.gustiness.map(|g| g.sd_m_s()),
                    },
                    laps,
                    ..run_result(inputs, ride, k)
                }
            })
            .collect()
    }

    /// Where a temperature coefficient was stated.
    fn over_reference(&self, run: usize) -> Option<f64> {
        self.session.circuit.temperature_coefficient_per_c?;
        Some(tyre_temperature(self.session, &self.session.runs[run], &self.venue.air[run]).crr_over_reference())
    }
}
