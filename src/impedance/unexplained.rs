//! What of the load's voltage its drive does not explain, moment by moment.
//!
//! ```text
//! r = l − h∗d        ρ²(t) = (⟨r²⟩_t − ⟨r²⟩_quiet)/⟨l²⟩_t        e(t) = ρ·|H|·|dZ/dH|/|Z|
//! ```
//!
//! h: impulse response of the ratio H, without all that lies far from its beginning; ⟨⟩_t: mean over 20 ms and three periods; quiet:
//! before the sweep. A steady jig with a linear load leaves noise, which the quiet part holds too. Contacts that step, limiters, lost samples
//! and sounds at the cone stay in r, at the moment at which they were, whatever they did to H.
//! Ours; the limits are stated where they stand.

use super::jig::Solved;
use super::ratio::{ChannelRatio, Heard};
use crate::math::{InverseSpectrum, Spectrum};

/// A stretch of a sweep that is not explained.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unexplained {
    /// Frames of the recording, first and last.
    pub frames: [i64; 2],
    /// The frequencies that were played meanwhile.
    pub band_hz: [f64; 2],
    /// The largest ρ, as a ratio.
    pub ratio: f64,
    /// The largest e.
    pub share: f64,
    /// What part of all moments it takes.
    pub of_time: f64,
}

const WINDOW_S: f64 = 0.02;
const PERIODS: f64 = 3.0;
const BEFORE_S: f64 = 0.05;
const AFTER_S: f64 = 1.0;
/// It counts where it may move the impedance by more than this, a third of a decibel: a step between two states leaves half of it.
const LEAST_SHARE: f64 = 0.04;
/// A mean over n independent samples scatters by √(2/n): so many of these above the quiet part are no chance.
const STANDARD_ERRORS: f64 = 8.0;
/// The quiet part needs so much time.
const LEAST_QUIET_S: f64 = 0.1;
/// Moments at the very ends of the band hold the sweep's own fades.
const INSIDE_RATIO: f64 = 1.06;

/// The worst repeat's; `None` where all is explained, and for anything but a sweep.
pub(super) fn unexplained(
    heard: &mut Heard,
    hz: &[f64],
    ratio: &ChannelRatio,
    solved: &[Solved],
) -> Option<Unexplained> {
    let all: Vec<Unexplained> =
        (0..heard.load.pieces.len()).filter_map(|index| of_repeat(heard, index, hz, ratio, solved)).collect();
    all.into_iter().max_by(|a, b| a.share.total_cmp(&b.share))
}

fn of_repeat(
    heard: &mut Heard,
    index: usize,
    hz: &[f64],
    ratio: &ChannelRatio,
    solved: &[Solved],
) -> Option<Unexplained> {
    let rate_hz = heard.pattern.rate_hz;
    let constant = heard.pattern.rate_constant_s? * rate_hz;
    let played_hz = heard.pattern.played_hz[0];
    let before = heard.cut.before;
    let [load, left] = channels(heard, index);
    let quiet = before.saturating_sub((0.02 * rate_hz) as usize);
    let skipped = (0.2 * quiet as f64) as usize;
    if ((quiet - skipped) as f64) < LEAST_QUIET_S * rate_hz {
        return None;
    }
    let power = |samples: &[f64]| samples.iter().map(|x| x * x).sum::<f64>() / samples.len().max(1) as f64;
    let noise = power(&left[skipped..quiet]);
    let bandwidth_hz = heard.pattern.band_hz[1];
    let [from_hz, to_hz] = [heard.pattern.band_hz[0] * INSIDE_RATIO, heard.pattern.band_hz[1] / INSIDE_RATIO];
    let frame_of = |hz: f64| before as f64 + constant * (hz / played_hz).ln();
    let (mut frame, end) = (frame_of(from_hz), frame_of(to_hz).min(left.len() as f64));
    let mut found: Option<Unexplained> = None;
    let (mut windows, mut hit) = (0.0, 0.0);
    while frame < end {
        let at_hz = played_hz * ((frame - before as f64) / constant).exp();
        let width = (WINDOW_S.max(PERIODS / at_hz) * rate_hz).min(left.len() as f64 - frame);
        let cut = frame as usize..(frame + width) as usize;
        frame += width;
        windows += 1.0;
        // |H|·|dZ/dH|/|Z| where the curve has a point.
        let at = hz.partition_point(|&other| other < at_hz).min(hz.len() - 1);
        let own = ratio.values[at].norm() * solved[at].terms.slope_ohm(ratio.values[at]) / solved[at].ohm.norm();
        let independent = (2.0 * bandwidth_hz * width / rate_hz).max(1.0);
        let (here, sound) = (power(&left[cut.clone()]), power(&load[cut.clone()]));
        if here < noise * (1.0 + STANDARD_ERRORS * (2.0 / independent).sqrt()) || sound == 0.0 {
            continue;
        }
        let rho = ((here - noise) / sound).sqrt();
        if rho * own < LEAST_SHARE {
            continue;
        }
        hit += 1.0;
        let base = heard.offset_frames + starts(heard, index) - before as i64;
        let frames = [base + cut.start as i64, base + cut.end as i64];
        let last_hz = played_hz * ((frame - before as f64) / constant).exp();
        found = Some(match found {
            None => Unexplained { frames, band_hz: [at_hz, last_hz], ratio: rho, share: rho * own, of_time: 0.0 },
            Some(sofar) => Unexplained {
                frames: [sofar.frames[0], frames[1]],
                band_hz: [sofar.band_hz[0], last_hz],
                ratio: sofar.ratio.max(rho),
                share: sofar.share.max(rho * own),
                of_time: 0.0,
            },
        });
    }
    found.map(|found| Unexplained { of_time: hit / windows, ..found })
}

/// First frame of a repeat in the excitation.
fn starts(heard: &Heard, index: usize) -> i64 {
    heard.starts[heard.load.numbers[index]] as i64
}

/// l and r, both band limited.
fn channels(heard: &mut Heard, index: usize) -> [Vec<f64>; 2] {
    let load = heard.deconvolution.spectrum(&heard.load.pieces[index]);
    let drive = heard.deconvolution.spectrum(&heard.drive.pieces[index]);
    let impulse = heard.deconvolution.impulse(&load, &drive);
    let (length, rate_hz) = (heard.deconvolution.length(), heard.pattern.rate_hz);
    let (before, after) = (BEFORE_S * rate_hz, (AFTER_S * rate_hz).min(0.4 * length as f64));
    let kept = impulse.around(0, [before, after]);
    let explained = Spectrum::new(length).bins(&kept);
    let [mut all, mut left]: [Vec<_>; 2] = [Vec::with_capacity(drive.len()), Vec::with_capacity(drive.len())];
    for ((own, explained), drive) in impulse.bins.iter().zip(explained).zip(&drive) {
        all.push(own * drive);
        left.push((own - explained) * drive);
    }
    let inverse = InverseSpectrum::new(length);
    let frames = heard.load.pieces[index].len();
    [all, left].map(|bins| {
        let mut samples = inverse.samples(&bins);
        samples.truncate(frames);
        samples
    })
}
