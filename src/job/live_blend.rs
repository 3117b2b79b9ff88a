//! Satellite and subwoofer that stay open while a setting is tried: what it makes of each seat.
//!
//! Curves, limits and choices are those of [`super::blend`], and so are levels and ripple; nothing is searched, nothing written.

use super::blend::{BlendJobError, BlendOrder, Prepared, allowed, prepared};
use super::blend_document::ripple;
use crate::blend::{Candidate, Filters, Setting, level_match_db, overlap_hz};

/// What is open.
pub struct LiveBlend {
    order: BlendOrder,
    prepared: Prepared,
}

/// What a setting makes.
#[derive(Debug, Clone, PartialEq)]
pub struct LiveSum {
    /// Where ripple counts.
    pub band_hz: [f64; 2],
    /// That of the worst seat.
    pub worst_ripple_db: f64,
    /// The seats.
    pub seats: Vec<LiveSeat>,
}

/// What it makes at a seat: levels on the grid, smoothed where that was asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct LiveSeat {
    /// What the person calls it.
    pub name: String,
    /// Its ripple.
    pub ripple_db: f64,
    /// Both together.
    pub sum_db: Vec<f64>,
    /// The satellite as it plays with the setting.
    pub satellite_db: Vec<f64>,
    /// The subwoofer likewise.
    pub subwoofer_db: Vec<f64>,
}

impl LiveBlend {
    /// The curves of an order, and what may be chosen.
    ///
    /// # Errors
    /// [`BlendJobError`] as [`super::blend`].
    pub fn open(order: BlendOrder) -> Result<Self, BlendJobError> {
        let prepared = prepared(&order)?;
        Ok(Self { order, prepared })
    }

    /// Names of the seats.
    pub fn seats(&self) -> Vec<&str> {
        self.prepared.heard.parts.seats.iter().map(|seat| seat.name.as_str()).collect()
    }

    /// The frequencies of all curves, Hz.
    pub fn hz(&self) -> &[f64] {
        &self.prepared.heard.parts.hz
    }

    /// The combinations of filters that are allowed, at least one.
    pub fn filters(&self) -> &[Filters] {
        &self.prepared.choices.filters
    }

    /// Delays of the satellite that the search goes through, s.
    pub fn delay_s(&self) -> [f64; 2] {
        self.prepared.choices.delay_s
    }

    /// Gains of the subwoofer that the search goes through, over all filters, dB.
    pub fn gain_db(&self) -> [f64; 2] {
        let choices = &self.prepared.choices;
        let matched = choices.filters.iter().map(|filters| level_match_db(&self.prepared.heard.parts, filters));
        let [least, most] = matched.fold([f64::MAX, f64::MIN], |[least, most], db| [least.min(db), most.max(db)]);
        let [from_db, to_db] = choices.over_match_db;
        choices.gain_db.map_or([least + from_db, most + to_db], |gain_db| [gain_db; 2])
    }

    /// What a person sets without help.
    pub fn without_help(&self) -> &Candidate {
        &self.prepared.without_help
    }

    /// What a setting makes at each seat.
    ///
    /// # Errors
    /// [`BlendJobError::Blend`] for filters that curves or limits don't allow, as [`super::blend`] with them alone.
    pub fn sum(&self, setting: &Setting) -> Result<LiveSum, BlendJobError> {
        let Prepared { heard, limits, choices, .. } = &self.prepared;
        let Filters { crossover_hz, high_pass, low_pass_hz, low_pass } = setting.filters;
        let alone = BlendOrder {
            crossovers_hz: vec![crossover_hz],
            high_pass: vec![high_pass],
            low_pass_hz: Some(vec![low_pass_hz]),
            low_pass: vec![low_pass],
            ..self.order.clone()
        };
        allowed(&alone, heard, limits)?;
        let band_hz = choices.band_hz.unwrap_or_else(|| overlap_hz(crossover_hz));
        let parts = &heard.parts;
        let within = parts.within(band_hz);
        let without_doubt = vec![0.0; parts.hz.len()];
        let seat = |at: usize| {
            let levels = |values: &[_]| parts.levels_db(values, choices.smoothing);
            let [satellite, subwoofer] = parts.played(at, setting);
            let sum_db = levels(&parts.sum(at, setting));
            LiveSeat {
                name: parts.seats[at].name.clone(),
                ripple_db: ripple(&sum_db, &without_doubt, within.clone()).0,
                sum_db,
                satellite_db: levels(&satellite),
                subwoofer_db: levels(&subwoofer),
            }
        };
        let seats: Vec<LiveSeat> = (0..parts.seats.len()).map(seat).collect();
        let worst_ripple_db = seats.iter().map(|seat| seat.ripple_db).fold(0.0, f64::max);
        Ok(LiveSum { band_hz, worst_ripple_db, seats })
    }
}
