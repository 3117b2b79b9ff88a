//! Numbers that a curve can have: whatever lies beyond them comes from a broken file, and would not stay finite in use.
//!
//! Ours, generously: from a millionth of a hertz to what no cable carries; levels whose ratio is still a double.

use super::{Curve, Measure};
use std::ops::RangeInclusive;

const FREQUENCIES_HZ: RangeInclusive<f64> = 1e-6..=1e12;
const MOST_DB: f64 = 1000.0;
const MOST_OHM: f64 = 1e12;
/// Less is a short circuit, which is written as 0.
const LEAST_OHM: f64 = 1e-12;
/// Phases may go on and on, a turn for each wavelength.
const MOST_DEG: f64 = 1e9;

/// The first point beyond them: its place, the number, and what is needed.
pub(super) fn beyond(curve: &Curve) -> Option<(usize, f64, &'static str)> {
    let is_ohm = |ohm: f64| ohm == 0.0 || (LEAST_OHM..=MOST_OHM).contains(&ohm.abs());
    let is_value = |value: f64| match curve.measure {
        Measure::LevelDb => value.abs() <= MOST_DB,
        Measure::MagnitudeOhm => is_ohm(value),
    };
    let needed = match curve.measure {
        Measure::LevelDb => "a level between -1000 and 1000 dB",
        Measure::MagnitudeOhm => "a magnitude between 1e-12 and 1e12 ohm",
    };
    let first = |column: &[f64], is_within: &dyn Fn(f64) -> bool, needed: &'static str| {
        let at = column.iter().position(|number| !is_within(*number))?;
        Some((at, column[at], needed))
    };
    let of = |column: &Option<Vec<f64>>, most: f64, needed: &'static str| {
        first(column.as_deref().unwrap_or_default(), &|number| number.abs() <= most, needed)
    };
    first(&curve.frequency_hz, &|hz| FREQUENCIES_HZ.contains(&hz), "a frequency between 1e-6 and 1e12 Hz")
        .or_else(|| first(&curve.values, &is_value, needed))
        .or_else(|| of(&curve.phase_deg, MOST_DEG, "a phase of no more than 1e9 degrees"))
        .or_else(|| of(&curve.u, MOST_OHM, "an uncertainty of no more than 1e12"))
        .or_else(|| of(&curve.u_noise, MOST_OHM, "an uncertainty of no more than 1e12"))
}
