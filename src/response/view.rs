//! Through what an impulse response is looked at: its arrival, the gate around it, and the band that this leaves.
//!
//! No equation of its own: see [`super::excess`], [`super::reflection`] and [`super::gate`].

use super::analysis::Settings;
use super::excess::arrival;
use super::hearing::Heard;
use super::{Arrival, EnergyTime, Gate, GateChoice, NoiseDensity, Pattern, ResponseError, WrappedImpulse, energy_time};
use crate::quantity::FrequencyGrid;

/// Arrival, gate and band: through what the impulse response is looked at.
pub(super) struct View {
    pub arrived: Arrival,
    pub energy_time: EnergyTime,
    pub gate: Gate,
    pub valid_hz: [f64; 2],
    pub grid: FrequencyGrid,
    /// Noise of the impulse response itself, for recordings without silence.
    pub before_arrival: NoiseDensity,
    pub longest_s: f64,
}

impl View {
    /// The view that the settings ask for.
    pub(super) fn of(heard: &Heard, settings: &Settings, pattern: &Pattern) -> Result<Self, ResponseError> {
        let arrived = arrival(&heard.impulse, heard.peak, pattern);
        let longest_s = heard.longest_after as f64 / pattern.rate_hz;
        let energy_time = energy_time(&heard.impulse, arrived.frames, LOOK_S.min(longest_s), pattern);
        let gate = chosen_gate(settings, &energy_time, longest_s, pattern)?;
        let (valid_hz, grid) = seen_through(gate, settings, pattern)?;
        let before_arrival = noise_before_arrival(&heard.impulse, arrived.frames, pattern);
        Ok(Self { arrived, energy_time, gate, valid_hz, grid, before_arrival, longest_s })
    }
}

/// Where no reflection is seen, this is as long as a gate needs to be.
const LONG_GATE_S: f64 = 0.5;
/// No proposed gate is shorter than this.
const SHORTEST_PROPOSED_S: f64 = 0.001_5;
/// Reflections are looked for within this after the arrival.
const LOOK_S: f64 = 0.1;

fn chosen_gate(
    settings: &Settings,
    curve: &EnergyTime,
    longest_s: f64,
    pattern: &Pattern,
) -> Result<Gate, ResponseError> {
    match settings.gate {
        GateChoice::Length { after_s } => Gate::of(after_s, longest_s, pattern),
        GateChoice::None => {
            // A gate that is too short is refused in the same words.
            Gate::of(longest_s, longest_s, pattern)?;
            Ok(Gate::open(longest_s, pattern))
        }
        GateChoice::Auto => {
            let seen_s = curve.reflection.map_or(LONG_GATE_S, |found| found.starts_s);
            let proposed_s = settings.reflection_due_s.map_or(seen_s, |due_s| due_s.min(seen_s));
            Gate::of(proposed_s.max(SHORTEST_PROPOSED_S).min(longest_s), longest_s, pattern)
        }
    }
}

/// The band that a gate leaves, and the points of the curve in it.
pub(super) fn seen_through(
    gate: Gate,
    settings: &Settings,
    pattern: &Pattern,
) -> Result<([f64; 2], FrequencyGrid), ResponseError> {
    let valid_hz = valid_band_hz(gate, settings, pattern)?;
    let grid = FrequencyGrid::of_octave_fractions(valid_hz, settings.points_per_octave)
        .map_err(|_| ResponseError::NoValidBand { lowest_hz: valid_hz[0], highest_hz: valid_hz[1] })?;
    Ok((valid_hz, grid))
}

/// The same within `within_hz`, beyond which nothing was heard.
pub(super) fn seen_within(
    within_hz: [f64; 2],
    view: &View,
    settings: &Settings,
) -> Result<([f64; 2], FrequencyGrid), ResponseError> {
    let valid_hz = [within_hz[0].max(view.valid_hz[0]), within_hz[1].min(view.valid_hz[1])];
    let grid = FrequencyGrid::of_octave_fractions(valid_hz, settings.points_per_octave)
        .map_err(|_| ResponseError::NoValidBand { lowest_hz: valid_hz[0], highest_hz: valid_hz[1] })?;
    Ok((valid_hz, grid))
}

/// What gate, excitation and microphone table leave.
fn valid_band_hz(gate: Gate, settings: &Settings, pattern: &Pattern) -> Result<[f64; 2], ResponseError> {
    let [mut lowest_hz, mut highest_hz] = pattern.band_hz;
    lowest_hz = lowest_hz.max(pattern.rate_hz / gate.after_frames);
    if let Some(table) = &settings.microphone {
        let [from_hz, to_hz] = table.range_hz();
        lowest_hz = lowest_hz.max(from_hz);
        highest_hz = highest_hz.min(to_hz);
    }
    if lowest_hz < highest_hz {
        Ok([lowest_hz, highest_hz])
    } else {
        Err(ResponseError::NoValidBand { lowest_hz, highest_hz })
    }
}

/// The noise of the impulse response where nothing has arrived yet.
fn noise_before_arrival(impulse: &WrappedImpulse, arrival_frames: f64, pattern: &Pattern) -> NoiseDensity {
    let longest = (0.5 * pattern.rate_hz) as usize;
    let frames = longest.min(pattern.samples.len() / 2).max(64);
    let gap = (0.1 * pattern.rate_hz) as i64;
    let cut = impulse.cut(arrival_frames as i64 - gap - frames as i64, frames);
    let all = std::slice::from_ref(&(0..frames)).to_vec();
    NoiseDensity::of(&cut, &all, pattern.rate_hz, f64::MIN_POSITIVE).unwrap_or(NoiseDensity::white(f64::MIN_POSITIVE))
}
