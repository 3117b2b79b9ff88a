//! The setting with which satellite and subwoofer join best, among all that a receiver can be set to.
//!
//! For each combination of filters and both polarities, all delays and gains of the ranges are searched by branch and bound
//! (`math/least_place.rs`, bounds: `ripple.rs`), until it is proven that no other delay or gain has less ripple at its worst seat by
//! more than [`SETTLED_DB`]. Among the settings within [`AS_GOOD_DB`] of the best ripple of all, the one is taken whose ripple
//!
//! ```text
//! R(τ − δ), R(τ), R(τ + δ): the largest of them
//! ```
//!
//! is least: δ is the delay error that it shall be least spoiled by, s. That search is proven in the same way.
//!
//! The gain's range lies around the match of levels (`level_match.rs`), so that no ripple is bought with excess boost.
//! Ours, because the ripple of a worst seat has many hollows and sharp edges, in which a search downhill is caught.

use super::level_match::level_match_db;
use super::parts::{Filters, Parts, Polarity, Setting, overlap_hz};
use super::ripple::Overlap;
use crate::math::{LeastPlace, Looked, Region, Thoroughness, least_place, of_each};
use crate::response::OctaveFraction;
use std::f64::consts::{LN_10, TAU};

/// What is searched through.
#[derive(Debug, Clone, PartialEq)]
pub struct Choices {
    /// The combinations of filters that are allowed, at least one.
    pub filters: Vec<Filters>,
    /// Delays of the satellite, s.
    pub delay_s: [f64; 2],
    /// Gains of the subwoofer, dB over the match of levels.
    pub over_match_db: [f64; 2],
    /// The subwoofer's only gain, dB, whatever the match of levels; absent: any within `over_match_db`.
    pub gain_db: Option<f64>,
    /// The polarities.
    pub polarities: Vec<Polarity>,
    /// Where ripple counts; absent: an octave to each side of the crossover.
    pub band_hz: Option<[f64; 2]>,
    /// Levels are those of the mean power over so much; absent: as they are.
    pub smoothing: Option<OctaveFraction>,
    /// δ.
    pub delay_error_s: f64,
}

/// A setting with what it does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// The setting.
    pub setting: Setting,
    /// Ripple of its worst seat, dB.
    pub ripple_db: f64,
    /// The largest ripple when the delay is off by δ to either side.
    pub spoiled_db: f64,
}

/// What the search found.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The setting that is recommended.
    pub best: Candidate,
    /// The best of other combinations of filters, at most [`ALTERNATIVES`], the best first.
    pub others: Vec<Candidate>,
    /// Nothing within the choices has less ripple than this, dB.
    pub at_least_db: f64,
}

/// How much less ripple a setting could have that was not found, dB.
pub const SETTLED_DB: f64 = 0.01;
/// A setting that is worse than the best by less than this is as good, dB (as interface and README say: 0.1).
pub const AS_GOOD_DB: f64 = 0.1;
/// So many other combinations of filters are told.
pub const ALTERNATIVES: usize = 4;
/// How much less a delay error could spoil a setting that was not found, dB.
const SETTLED_SPOILED_DB: f64 = 0.002;
/// Boxes that a search may look at; a hard room needs some ten thousand.
const MOST_LOOKS: usize = 400_000;
/// The first look.
const FIRST_LOOKS: usize = 400;
/// The first boxes are this wide.
const FIRST_DELAY_S: f64 = 2e-3;
const FIRST_GAIN_DB: f64 = 3.0;

/// The least ripple of one polarity.
struct Least {
    polarity: Polarity,
    least: LeastPlace<2>,
}

/// One combination of filters, ready to be searched.
struct Searched<'a> {
    choices: &'a Choices,
    filters: Filters,
    overlap: Overlap,
    gain_db: [f64; 2],
}

/// The best setting. `None` without filters or polarities.
pub fn best_setting(parts: &Parts, choices: &Choices) -> Option<Found> {
    let searched: Vec<Searched<'_>> =
        choices.filters.iter().map(|filters| Searched::new(parts, choices, *filters)).collect();
    // A first look tells what a combination can do at any rate, and which are out of the question.
    let firsts: Vec<Vec<Least>> = of_each(&searched, |one| one.least_ripples(FIRST_LOOKS, f64::INFINITY));
    let no_interest_db = last_of_interest_db(firsts.iter().map(|both| least_value_db(both)).collect());
    let least_of_each: Vec<Vec<Least>> = of_each(&searched, |one| one.least_ripples(MOST_LOOKS, no_interest_db));
    let all = || least_of_each.iter().flatten();
    let least_db = all().map(|least| least.least.value).reduce(f64::min)?;
    let at_least_db = all().map(|least| least.least.at_least).fold(f64::INFINITY, f64::min);
    let allowed_db = at_least_db.max(least_db - SETTLED_DB) + AS_GOOD_DB;
    let is_as_good = |at: &usize| least_value_db(&least_of_each[*at]) <= allowed_db;
    let as_good: Vec<usize> = (0..searched.len()).filter(is_as_good).collect();
    let robust = of_each(&as_good, |&at| (at, searched[at].least_spoiled(allowed_db, &least_of_each[at])));
    let spoiled_db = |one: &(usize, Option<Candidate>)| one.1.map_or(f64::INFINITY, |candidate| candidate.spoiled_db);
    let (chosen, best) = robust.into_iter().min_by(|a, b| spoiled_db(a).total_cmp(&spoiled_db(b)))?;
    let candidate = |at: usize| {
        let least = least_of_each[at].iter().min_by(|a, b| a.least.value.total_cmp(&b.least.value))?;
        Some(searched[at].candidate(least.polarity, least.least.place)).filter(|_| at != chosen)
    };
    let mut others: Vec<Candidate> = (0..searched.len()).filter_map(candidate).collect();
    others.sort_by(|a, b| a.ripple_db.total_cmp(&b.ripple_db));
    others.truncate(ALTERNATIVES);
    Some(Found { best: best?, others, at_least_db })
}

fn least_value_db(both: &[Least]) -> f64 {
    both.iter().map(|least| least.least.value).fold(f64::INFINITY, f64::min)
}

/// Combinations that are certainly not among the best and its alternatives need no closer look.
fn last_of_interest_db(mut reached_db: Vec<f64>) -> f64 {
    reached_db.sort_by(f64::total_cmp);
    let best_db = reached_db.first().map_or(f64::INFINITY, |db| db + AS_GOOD_DB);
    reached_db.get(ALTERNATIVES).map_or(f64::INFINITY, |db| best_db.max(*db))
}

impl<'a> Searched<'a> {
    fn new(parts: &Parts, choices: &'a Choices, filters: Filters) -> Self {
        let band_hz = choices.band_hz.unwrap_or_else(|| overlap_hz(filters.crossover_hz));
        let gain_db = match choices.gain_db {
            Some(gain_db) => [gain_db; 2],
            None => choices.over_match_db.map(|over_db| level_match_db(parts, &filters) + over_db),
        };
        Self { choices, filters, overlap: Overlap::new(parts, &filters, band_hz, choices.smoothing), gain_db }
    }

    /// The whole range in boxes of a first size.
    fn regions(&self) -> Vec<Region<2>> {
        let pieces = |[from, to]: [f64; 2], width: f64| {
            let count = (((to - from) / width).ceil() as usize).max(1);
            let step = (to - from) / count as f64;
            (0..count).map(move |n| [from + n as f64 * step, from + (n + 1) as f64 * step])
        };
        let delays = pieces(self.choices.delay_s, FIRST_DELAY_S);
        let region = |delay: [f64; 2]| {
            pieces(self.gain_db, FIRST_GAIN_DB)
                .map(move |gain| Region { low: [delay[0], gain[0]], high: [delay[1], gain[1]] })
        };
        delays.flat_map(region).collect()
    }

    fn thoroughness(&self, settled: f64, most_looks: usize, no_interest: f64) -> Thoroughness<2> {
        // Sides count by how much they move a part of the sum: its angle in radians, its size in nepers.
        let unit = [1.0 / (TAU * self.filters.crossover_hz), 20.0 / LN_10];
        Thoroughness { settled, no_interest, most_looks, unit }
    }

    /// The least ripple of each polarity.
    fn least_ripples(&self, most_looks: usize, no_interest_db: f64) -> Vec<Least> {
        let thoroughness = self.thoroughness(SETTLED_DB, most_looks, no_interest_db);
        let one = |polarity: &Polarity| {
            let look = |region: &Region<2>, enough_db: f64| self.overlap.over(region, 0.0, *polarity, enough_db);
            Some(Least { polarity: *polarity, least: least_place(self.regions(), None, thoroughness, look)? })
        };
        self.choices.polarities.iter().filter_map(one).collect()
    }

    /// Of all settings of these filters with at most so much ripple, the one that a delay error spoils least.
    fn least_spoiled(&self, allowed_db: f64, both: &[Least]) -> Option<Candidate> {
        let is_allowed = |least: &&Least| least.least.value <= allowed_db;
        let known = both.iter().filter(is_allowed).map(|least| self.candidate(least.polarity, least.least.place));
        let mut best = known.min_by(|a, b| a.spoiled_db.total_cmp(&b.spoiled_db));
        for Least { polarity, least } in both {
            let known = best.map(|best| ([best.setting.delay_s, best.setting.gain_db], best.spoiled_db));
            let thoroughness = self.thoroughness(SETTLED_SPOILED_DB, MOST_LOOKS, f64::INFINITY);
            let look = |region: &Region<2>, enough_db: f64| self.spoiled_over(region, *polarity, allowed_db, enough_db);
            let regions = least.left.iter().filter(|(_, at_least)| *at_least <= allowed_db).map(|(region, _)| *region);
            let found = least_place(regions.collect(), known, thoroughness, look);
            let is_better = |value: f64| best.is_none_or(|best| value < best.spoiled_db);
            if let Some(found) = found.filter(|found| is_better(found.value)) {
                best = Some(self.candidate(*polarity, found.place));
            }
        }
        best
    }

    fn spoiled_over(&self, region: &Region<2>, polarity: Polarity, allowed_db: f64, enough_db: f64) -> Looked {
        let nowhere = Looked { at_least: f64::INFINITY, in_the_middle: None };
        let here = self.overlap.over(region, 0.0, polarity, f64::INFINITY);
        if here.at_least > allowed_db {
            return nowhere;
        }
        let mut all = here;
        for moved_s in [-self.choices.delay_error_s, self.choices.delay_error_s] {
            let there = self.overlap.over(region, moved_s, polarity, enough_db);
            all.at_least = all.at_least.max(there.at_least);
            all.in_the_middle = all.in_the_middle.zip(there.in_the_middle).map(|(one, other)| one.max(other));
            if all.at_least >= enough_db {
                break;
            }
        }
        all.in_the_middle = all.in_the_middle.filter(|_| here.in_the_middle.is_some_and(|db| db <= allowed_db));
        all
    }

    fn candidate(&self, polarity: Polarity, [delay_s, gain_db]: [f64; 2]) -> Candidate {
        let setting = Setting { filters: self.filters, delay_s, polarity, gain_db };
        Candidate::in_overlap(&self.overlap, setting, self.choices.delay_error_s)
    }
}

impl Candidate {
    /// What any setting does, measured as the search does it.
    pub fn of(parts: &Parts, setting: Setting, choices: &Choices) -> Self {
        let band_hz = choices.band_hz.unwrap_or_else(|| overlap_hz(setting.filters.crossover_hz));
        let overlap = Overlap::new(parts, &setting.filters, band_hz, choices.smoothing);
        Self::in_overlap(&overlap, setting, choices.delay_error_s)
    }

    fn in_overlap(overlap: &Overlap, setting: Setting, error_s: f64) -> Self {
        let ripple_db = |off_s: f64| overlap.ripple_db(setting.delay_s + off_s, setting.polarity, setting.gain_db);
        let here = ripple_db(0.0);
        Self { setting, ripple_db: here, spoiled_db: here.max(ripple_db(-error_s)).max(ripple_db(error_s)) }
    }
}
