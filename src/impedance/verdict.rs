//! What there is to say about an impedance's trust, in words.
//!
//! No equation: an order. What is looked at, and from which threshold on, stands in the rooms of this folder. All cautions and faults together are
//! tuned to accuse at most 1 % of clean captures of `examples/damage_table` (`impedance 30 SEED clean`).

mod channels;
mod hung;
mod noise;
mod parts;
mod steady;
mod wiring;

use super::jig::Solved;
use super::loudness::LoadHarmonics;
use super::mark_witness::MarkDisagrees;
use super::measure::{JigCaptures, MeasureSettings, Measured};
use super::ratio::{ChannelRatio, Heard, JigCapture};
use super::unexplained::Unexplained;
use crate::quantity::{Code, Finding, Severity};
use crate::response::another_sweep;
use num_complex::Complex64;

/// What the verdict is built on.
pub(super) struct Evidence<'a> {
    pub captures: &'a JigCaptures<'a>,
    pub settings: &'a MeasureSettings,
    pub heard: &'a Heard,
    /// The captures that tell the jig, by name.
    pub calibrations: &'a [(&'a str, JigCapture<'a>, &'a Heard)],
    /// What share of the drive's voltage the load channel of each of them holds, at all points.
    pub told_shares: &'a [(&'static str, Vec<f64>)],
    pub ratio: &'a ChannelRatio,
    pub solved: &'a [Solved],
    pub measured: &'a Measured,
    pub harmonics: Option<LoadHarmonics>,
    /// A time mark that tells another impedance.
    pub mark: Option<MarkDisagrees>,
    /// What of the load's voltage the drive does not explain.
    pub unexplained: Option<Unexplained>,
    /// By how much each octave of the drive comes after the one below it, where they come one after the other.
    pub octaves_apart_s: Option<f64>,
    /// By how much the load channel lags.
    pub late_s: Option<f64>,
    /// Where the phase is furthest from what magnitude and delay bring, Hz, and by how much, rad.
    pub not_own: Option<(f64, f64)>,
}

/// All findings, the worst first.
pub(super) fn findings(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mut all = channels::sound(evidence);
    all.extend(channels::broken_into(evidence));
    all.extend(channels::missing_repeats(evidence));
    all.extend(evidence.octaves_apart_s.map(|apart_s| another_sweep(apart_s, evidence.captures.load.drive)));
    let misplaced = wiring::strangers(evidence);
    if misplaced.is_empty() {
        let wrong = wiring::upside_down(evidence)
            .or_else(|| wiring::swapped(evidence))
            .or_else(|| wiring::nothing_connected(evidence));
        let wrong = wrong.or_else(|| hung::capacitor(evidence));
        if wrong.is_none() {
            all.extend(hung::no_resonance(evidence));
            all.extend(wiring::late(evidence));
            all.extend(hung::inputs_part(evidence));
        }
        all.extend(wrong.or_else(|| wiring::negative(evidence)));
        all.extend(parts::sense_resistor(evidence));
    }
    all.extend(misplaced);
    all.extend(parts::leads(evidence));
    all.extend(parts::input_gain(evidence));
    all.extend(noise::hum(evidence));
    all.extend(noise::noise(evidence));
    all.extend(steady::unstable(evidence));
    all.extend(steady::large_signal(evidence));
    // What has words of its own is not told twice; of a repeat that was left out only a note is.
    let is_told = |codes: &[Code]| {
        all.iter().any(|finding| finding.severity >= Severity::Caution && codes.contains(&finding.code))
    };
    let changed = if is_told(&[Code::Dropout]) { None } else { steady::changed(evidence) };
    let told = [Code::Clipped, Code::Dropout, Code::Disturbed, Code::ChannelsSwapped, Code::Implausible];
    let large = all.iter().find(|finding| finding.code == Code::LargeSignal).and_then(|finding| finding.at.band_hz);
    let unexplained = if is_told(&told) { None } else { steady::not_explained(evidence, large) };
    // What bends the phase has a name already where anything of the kind is told.
    let bends = [Code::ReversedPolarity, Code::NotADriver, Code::LevelDrift, Code::Processed];
    let is_named = changed.is_some() || unexplained.is_some() || is_told(&told) || is_told(&bends);
    let moved = if is_named { None } else { steady::moved_with_the_sweep(evidence) };
    all.extend(changed);
    all.extend(unexplained);
    all.extend(moved);
    all.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    all
}

impl Evidence<'_> {
    fn hz(&self) -> &[f64] {
        self.measured.impedance.hz()
    }

    fn band_hz(&self) -> Option<[f64; 2]> {
        let hz = self.hz();
        Some([hz[0], hz[hz.len() - 1]])
    }

    /// Share of the points for which something holds.
    fn share(&self, holds: impl Fn(usize) -> bool) -> f64 {
        let count = self.hz().len();
        (0..count).filter(|&at| holds(at)).count() as f64 / count as f64
    }

    /// A·H at a point: what is 1 for an open load.
    fn open_ratio(&self, at: usize) -> Complex64 {
        self.solved[at].terms.a * self.ratio.values[at]
    }
}
