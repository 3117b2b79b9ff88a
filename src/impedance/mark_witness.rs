//! The time marks as a second witness of the ratio: what they tell before and after the sweeps, against what the sweeps tell.
//!
//! ```text
//! g_b = Σ conj(H·D)·L / Σ|H·D|²        u²(g_b) = n·N/(2·Σ|H·D|²)        e_b = |g_b − 1|·|H|·|dZ/dH|/|Z|
//! ```
//!
//! D, L: spectra of the two channels over one mark of n frames; H: the ratio by the sweeps; N: noise of `l − H·d` (as in
//! [`super::ratio`]); b: a third of an octave. A jig and a load that stay as they are have g = 1 at every moment; a gain, a contact or a
//! resistor that changes, and samples that one channel loses, show between the marks. What changes and is back before the second
//! mark does not.
//! Ours: the marks stand at the two ends of the recording, so a change over the sweeps is largest between them.

use super::jig::Solved;
use super::ratio::{ChannelRatio, Heard, JigCapture};
use crate::math::SpectrumAt;
use num_complex::Complex64;

/// A mark that tells another impedance than the sweeps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MarkDisagrees {
    /// Seconds of the recording.
    pub at_s: f64,
    pub band_hz: [f64; 2],
    /// g_b − 1.
    pub off: Complex64,
    /// e_b: by which share of it the impedance there is another one.
    pub share: f64,
}

/// Below this a mark, a quarter of a second long, does not part what rings from what is played.
const FROM_HZ: f64 = 150.0;
/// What rings on after a mark is heard for so long.
const AFTER_S: f64 = 0.2;
const BEFORE_S: f64 = 0.02;
/// A difference is believed from so many standard uncertainties on, in one of twenty bands: chance does once in 10⁵ captures …
const SIGNIFICANT: f64 = 6.0;
/// … and from this one on, which what rings longer than [`AFTER_S`] may leave …
const LEAST_OFF: f64 = 2e-3;
/// … where it moves the impedance by more than this: a quarter of a decibel.
const LEAST_SHARE: f64 = 0.03;

/// The worst of both marks; `None` without marks, and where they agree.
pub(super) fn mark_disagrees(
    capture: &JigCapture<'_>,
    heard: &Heard,
    hz: &[f64],
    ratio: &ChannelRatio,
    solved: &[Solved],
) -> Option<MarkDisagrees> {
    let plan = &capture.excitation.plan;
    let noise = heard.noise.as_ref()?;
    let rate_hz = heard.pattern.rate_hz;
    let recorded = [capture.load, capture.drive].map(|channel| capture.recording.channels[channel].as_slice());
    let clean = heard.without_hum.as_ref().map_or(recorded, |channels| [&channels[0], &channels[1]]);
    let mut worst: Option<MarkDisagrees> = None;
    for &start in &plan.mark_starts {
        let first = heard.offset_frames + start as i64 - (BEFORE_S * rate_hz) as i64;
        let frames = plan.mark_frames + ((BEFORE_S + AFTER_S) * rate_hz) as usize;
        let Ok(first) = usize::try_from(first) else { continue };
        let Some([load, drive]) = cut(clean, first, frames) else { continue };
        let [load, drive] = [load, drive].map(|samples| SpectrumAt::new(samples, rate_hz, 0.0));
        let mut from = hz.partition_point(|&hz| hz < FROM_HZ);
        while from < hz.len() {
            let end = hz.partition_point(|&other| other < hz[from] * 2f64.powf(1.0 / 3.0)).max(from + 1);
            let (mut cross, mut power, mut scatter) = (Complex64::ZERO, 0.0, 0.0);
            let mut share = 0.0;
            for at in from..end {
                let expected = ratio.values[at] * drive.at(hz[at]);
                cross += expected.conj() * load.at(hz[at]);
                power += expected.norm_sqr();
                scatter += expected.norm_sqr() * 0.5 * frames as f64 * noise.density(hz[at], ratio.values[at]);
                let own = solved[at].terms.slope_ohm(ratio.values[at]) / solved[at].ohm.norm();
                share += ratio.values[at].norm() * own / (end - from) as f64;
            }
            let off = cross / power.max(f64::MIN_POSITIVE) - 1.0;
            let own_u = (from..end)
                .map(|at| ratio.u_noise[at].hypot(ratio.u_hum[at]) / ratio.values[at].norm())
                .fold(0.0, f64::max);
            let u = (scatter.sqrt() / power.max(f64::MIN_POSITIVE)).hypot(own_u);
            let found = MarkDisagrees {
                at_s: first as f64 / rate_hz + BEFORE_S,
                band_hz: [hz[from], hz[end - 1]],
                off,
                share: share * off.norm(),
            };
            let is_seen = off.norm() > (SIGNIFICANT * u).max(LEAST_OFF) && found.share > LEAST_SHARE;
            if is_seen && worst.is_none_or(|worst| found.share > worst.share) {
                worst = Some(found);
            }
            from = end;
        }
    }
    worst
}

fn cut(channels: [&[f64]; 2], first: usize, frames: usize) -> Option<[&[f64]; 2]> {
    let [load, drive] = channels.map(|samples| samples.get(first..first + frames));
    Some([load?, drive?])
}
