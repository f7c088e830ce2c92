//! Who is fastest, by how much, against whom, and whether that is shown: the verdict in numbers.
//!
//! Given a solution whose differences were judged elsewhere; puts the set-ups in order and picks the comparisons that
//! answer the question. It tests nothing and says nothing in words.

use crate::solution::{CombinedContrast, Contrast, Estimate, Solution, VenueResult};

/// What the watts of a standing are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Watts {
    /// All of it: rolling, air and bearings.
    All,
    /// Rolling alone, as on rollers.
    Rolling,
}

/// Where the differences were seen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ground {
    /// The one venue of the session.
    Only,
    /// Loop and rollers, brought together.
    Together,
    /// One of two venues, by its word in the results.
    Venue(String),
}

/// What may be said of a pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    Real,
    /// Smaller than what the tester calls negligible.
    Equivalent,
    /// It may be chance.
    Open,
}

/// A pair of set-ups, the faster one by the estimate first.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    pub faster: String,
    pub slower: String,
    /// By how many watts the slower one needs more.
    pub watts: Estimate,
    pub p_holm: Option<f64>,
    /// Smallest detectable difference, W.
    pub detectable_w: Option<f64>,
    pub shown: Shown,
}

/// The set-ups in order with the comparisons that matter.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    pub watts: Watts,
    pub ground: Ground,
    pub baseline: String,
    /// Ids, the one that needs the fewest watts first; only those with a known difference, and the baseline.
    pub order: Vec<String>,
    /// Every other set-up beside the baseline, in the same order.
    pub with_baseline: Vec<Pair>,
    /// The fastest and the next best; unknown where that pair was not judged.
    pub best_two: Option<Pair>,
}

impl Standing {
    /// The pair of the fastest and the baseline; where the baseline itself is fastest, that with the next best.
    pub fn leading(&self) -> Option<&Pair> {
        let fastest = self.order.first()?;
        if *fastest == self.baseline {
            return self.best_two.as_ref();
        }
        self.with_baseline.iter().find(|pair| pair.faster == *fastest)
    }
}

/// One standing, or one for each venue where loop and rollers do not say the same; none without a known difference.
///
/// Where only tyres differ (CdA is shared) the watts of a loop are those of rolling, so loop and rollers answer one question
/// and are taken together while they agree. Where CdA differs too, the question is that of all watts, which only a loop can
/// answer.
pub fn standings(solution: &Solution) -> Vec<Standing> {
    let Some(venues) = &solution.venues else {
        let rollers = !solution.runs.is_empty() && solution.runs.iter().all(|run| run.venue == "rollers");
        let watts = if rollers { Watts::Rolling } else { Watts::All };
        return of(watts, Ground::Only, &solution.baseline, &solution.contrasts, &solution.all_pairs)
            .into_iter()
            .collect();
    };
    let only_rolling = solution.contrasts.iter().all(|c| is_held(&c.cda_m2) || c.power_w.value.is_none());
    if !only_rolling {
        let ground = Ground::Venue(solution.circuit.kind.clone());
        return of(Watts::All, ground, &solution.baseline, &solution.contrasts, &solution.all_pairs)
            .into_iter()
            .collect();
    }
    let together: Vec<Contrast> = venues.combined.iter().map(as_contrast).collect();
    let pairs: Vec<Contrast> = venues.combined_pairs.iter().map(as_contrast).collect();
    let baseline = venues.combined.first().map_or(&solution.baseline, |c| &c.baseline);
    if venues.combined.iter().all(|c| c.agreement.agree) && !together.is_empty() {
        // What one venue alone has seen answers the same question there.
        let with_alone = |seen: Vec<Contrast>, of: &dyn Fn(&VenueResult) -> Vec<Contrast>| {
            let alone = venues
                .results
                .iter()
                .flat_map(of)
                .filter(|c| !seen.iter().any(|t| t.is_between(&c.setup, &c.baseline)));
            let alone: Vec<Contrast> = alone.collect();
            [seen, alone].concat()
        };
        let known = |v: &VenueResult| v.contrasts.iter().filter(|c| c.baseline == *baseline).cloned().collect();
        let contrasts = with_alone(together, &known);
        let best =
            of(Watts::Rolling, Ground::Together, baseline, &contrasts, &with_alone(pairs, &|v| v.all_pairs.clone()));
        if best.is_some() {
            return best.into_iter().collect();
        }
    }
    venues.results.iter().filter_map(of_venue).collect()
}

/// Set-ups of which one venue alone tells something, with its word in the results, where others are taken together.
pub fn seen_on_one_venue(solution: &Solution) -> Vec<(String, String)> {
    let Some(venues) = &solution.venues else { return Vec::new() };
    let is_alone = |c: &&Contrast| {
        let known = c.power_w.value.is_some();
        known && !venues.combined.iter().any(|t| t.setup == c.setup || t.baseline == c.setup)
    };
    let of = |v: &VenueResult| -> Vec<(String, String)> {
        v.contrasts.iter().filter(is_alone).map(|c| (c.setup.clone(), v.venue.clone())).collect()
    };
    venues.results.iter().flat_map(of).collect()
}

fn of_venue(venue: &VenueResult) -> Option<Standing> {
    let watts = if venue.venue == "rollers" { Watts::Rolling } else { Watts::All };
    of(watts, Ground::Venue(venue.venue.clone()), &venue.baseline, &venue.contrasts, &venue.all_pairs)
}

/// Whether a difference is zero because both set-ups have one value.
fn is_held(difference: &Estimate) -> bool {
    difference.value == Some(0.0) && difference.se.is_none() && difference.low.is_none()
}

fn as_contrast(combined: &CombinedContrast) -> Contrast {
    Contrast {
        setup: combined.setup.clone(),
        baseline: combined.baseline.clone(),
        crr: combined.crr,
        power_w: combined.rolling_power_w,
        p_value: combined.p_value,
        p_holm: combined.p_holm,
        detectable_power_w: combined.detectable_power_w,
        p_equivalence: combined.p_equivalence,
        verdict: combined.verdict.clone(),
        ..Contrast::default()
    }
}

/// Set-ups by their differences in watts from the baseline, itself among them, the one that needs the fewest first.
pub fn fastest_first<'a>(baseline: &'a str, watts: impl Iterator<Item = (&'a str, Option<f64>)>) -> Vec<&'a str> {
    let known = watts.filter_map(|(id, watts)| Some((id, watts.filter(|w| w.is_finite())?)));
    let mut places: Vec<(&str, f64)> = known.chain(std::iter::once((baseline, 0.0))).collect();
    places.sort_by(|a, b| a.1.total_cmp(&b.1));
    places.into_iter().map(|(id, _)| id).collect()
}

/// The standing by these differences from the baseline; `pairs` may hold others. `None` without a known difference.
pub fn of(
    watts: Watts,
    ground: Ground,
    baseline: &str,
    contrasts: &[Contrast],
    pairs: &[Contrast],
) -> Option<Standing> {
    let order: Vec<String> = fastest_first(baseline, contrasts.iter().map(|c| (c.setup.as_str(), c.power_w.value)))
        .into_iter()
        .map(str::to_string)
        .collect();
    let between = |a: &str, b: &str| contrasts.iter().chain(pairs).find(|c| c.is_between(a, b)).and_then(pair);
    let with_baseline = order.iter().filter(|id| *id != baseline).filter_map(|id| between(id, baseline)).collect();
    let best_two = between(&order[0], order.get(1)?);
    Some(Standing { watts, ground, baseline: baseline.to_string(), order, with_baseline, best_two })
}

/// A difference as a pair, the faster set-up first.
fn pair(contrast: &Contrast) -> Option<Pair> {
    let value = contrast.power_w.value.filter(|w| w.is_finite())?;
    let e = contrast.power_w;
    let turned = value < 0.0;
    let (faster, slower) =
        if turned { (&contrast.setup, &contrast.baseline) } else { (&contrast.baseline, &contrast.setup) };
    let watts = if turned {
        Estimate { value: Some(-value), low: e.high.map(|w| -w), high: e.low.map(|w| -w), ..e }
    } else {
        e
    };
    Some(Pair {
        faster: faster.clone(),
        slower: slower.clone(),
        watts,
        p_holm: contrast.p_holm.filter(|p| p.is_finite()),
        detectable_w: contrast.detectable_power_w.filter(|w| w.is_finite()),
        shown: match contrast.verdict.as_str() {
            "separated" => Shown::Real,
            "equivalent" => Shown::Equivalent,
            _ => Shown::Open,
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::{Agreement, Venues};

    fn contrast(setup: &str, baseline: &str, watts: f64, verdict: &str) -> Contrast {
        let power_w = Estimate {
            value: Some(watts),
            se: Some(0.5),
            low: Some(watts - 1.0),
            high: Some(watts + 2.0),
            ..Estimate::default()
        };
        let held = Estimate { value: Some(0.0), ..Estimate::default() };
        Contrast {
            setup: setup.into(),
            baseline: baseline.into(),
            power_w,
            cda_m2: held,
            verdict: verdict.into(),
            ..Contrast::default()
        }
    }

    fn day() -> Solution {
        Solution {
            baseline: "a".into(),
            contrasts: vec![contrast("b", "a", -3.0, "separated"), contrast("c", "a", 1.0, "not separated")],
            all_pairs: vec![contrast("b", "a", -3.0, "separated"), contrast("c", "b", 4.0, "separated")],
            ..Solution::default()
        }
    }

    #[test]
    fn the_faster_set_up_stands_first_and_the_interval_turns_with_it() {
        let all = standings(&day());
        let [only] = all.as_slice() else { panic!("{all:?}") };
        assert_eq!(only.order, ["b", "a", "c"]);
        let leading = only.leading().expect("a pair");
        assert_eq!((leading.faster.as_str(), leading.slower.as_str()), ("b", "a"));
        // −3 with an interval from −4 to −1 is 3 with one from 1 to 4 the other way round.
        assert_eq!((leading.watts.value, leading.watts.low, leading.watts.high), (Some(3.0), Some(1.0), Some(4.0)));
    }

    #[test]
    fn where_the_baseline_is_fastest_it_is_set_beside_the_next_best() {
        let mut solution = day();
        solution.contrasts = vec![contrast("b", "a", 5.0, "separated"), contrast("c", "a", 2.0, "not separated")];
        let standing = standings(&solution).remove(0);
        let leading = standing.leading().expect("a pair");
        assert_eq!((leading.faster.as_str(), leading.slower.as_str(), leading.shown), ("a", "c", Shown::Open));
    }

    #[test]
    fn loop_and_rollers_stand_together_while_they_agree_and_apart_where_not() {
        let mut solution = day();
        let venue = |name: &str, watts: f64| VenueResult {
            venue: name.into(),
            baseline: "a".into(),
            contrasts: vec![contrast("b", "a", watts, "separated")],
            ..VenueResult::default()
        };
        let combined = CombinedContrast {
            setup: "b".into(),
            baseline: "a".into(),
            rolling_power_w: contrast("b", "a", -3.2, "separated").power_w,
            verdict: "separated".into(),
            agreement: Agreement { agree: true, ..Agreement::default() },
            ..CombinedContrast::default()
        };
        solution.venues = Some(Venues {
            results: vec![venue("road", -3.0), venue("rollers", -3.5)],
            combined: vec![combined],
            combined_pairs: Vec::new(),
            surface_loss: Vec::new(),
        });
        let together = standings(&solution);
        assert_eq!(together.iter().map(|s| s.ground.clone()).collect::<Vec<_>>(), [Ground::Together]);
        if let Some(venues) = &mut solution.venues {
            venues.combined[0].agreement.agree = false;
        }
        let apart = standings(&solution);
        assert_eq!(apart.len(), 2);
        assert_eq!(apart[1].ground, Ground::Venue("rollers".into()));
    }
}
