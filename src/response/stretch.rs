//! Where in a long recording the excitation lies, looked for piece by piece, so that an hour needs no more memory than a minute.
//!
//! ```text
//! c[n] = (Σ_m y[n+m]·x[m])² / (Σ_m y²[n+m] · Σ_m x²[m])        0 ≤ c ≤ 1
//! ```
//!
//! y: the recording; x: the middle of one repeat, at most [`MOST_TEMPLATE_FRAMES`]. The largest c says where it lies, whatever else
//! is louder: a shout has energy, but not the sweep's order. Only a rough place: [`locate`](super::locate) then finds the exact one within
//! the stretch around it, and refuses what is no reply.
//! Source: the matched filter, J. S. Bendat, A. G. Piersol, "Random Data", chapter 6 (correlation coefficient function); by transforms
//! of pieces that overlap, as in A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", chapter 8 (overlap-save).

use crate::math::{InverseSpectrum, Spectrum};
use crate::signal::Excitation;
use num_complex::Complex64;

/// 11 s at 48 kHz: enough to stand out of any noise, and small enough for every memory.
pub const MOST_TEMPLATE_FRAMES: usize = 1 << 19;
/// Ours: what surrounds the excitation tells noise and lateness.
const MARGIN_S: f64 = 10.0;
/// A window this much quieter than its whole piece says nothing: rounding of the transform.
const QUIETEST_SHARE: f64 = 1e-12;

/// A search under way.
pub struct StretchSearch {
    template_frames: usize,
    /// Σ x².
    template_energy: f64,
    /// Conjugated spectrum of the template.
    template: Vec<Complex64>,
    forward: Spectrum,
    inverse: InverseSpectrum,
    piece_frames: usize,
    /// Where the template lies in the excitation.
    template_at: usize,
    /// From the excitation's first frame to where its last repeat begins, and its length.
    spread_frames: [usize; 2],
    margin_frames: usize,
    best: Option<(f64, u64)>,
}

/// Frames of a recording, from and up to.
pub type Stretch = std::ops::Range<u64>;

impl StretchSearch {
    /// A search for an excitation.
    pub fn new(excitation: &Excitation) -> Self {
        let plan = &excitation.plan;
        let first = plan.starts.first().copied().unwrap_or(0).min(excitation.samples.len());
        let repeat = &excitation.samples[first..(first + plan.frames).min(excitation.samples.len())];
        let template_frames = repeat.len().clamp(1, MOST_TEMPLATE_FRAMES);
        let skipped = (repeat.len().max(1) - template_frames) / 2;
        let samples = &repeat[skipped.min(repeat.len())..(skipped + template_frames).min(repeat.len())];
        let piece_frames = (4 * template_frames).next_power_of_two().max(1 << 16);
        let forward = Spectrum::new(piece_frames);
        let template = forward.bins(samples).iter().map(Complex64::conj).collect();
        let last = plan.starts.last().copied().unwrap_or(0);
        Self {
            template_frames,
            template_energy: samples.iter().map(|x| x * x).sum(),
            template,
            forward,
            inverse: InverseSpectrum::new(piece_frames),
            piece_frames,
            template_at: first + skipped,
            spread_frames: [last - first.min(last), excitation.samples.len()],
            margin_frames: excitation.rate.frames(MARGIN_S),
            best: None,
        }
    }

    /// How many frames a piece has.
    pub fn piece_frames(&self) -> usize {
        self.piece_frames
    }

    /// How far apart pieces begin: they overlap, so that no reply lies across a seam.
    pub fn step_frames(&self) -> usize {
        self.piece_frames - self.template_frames + 1
    }

    /// Looks at the piece that begins at frame `at` of the recording; the last one may be shorter.
    pub fn look(&mut self, at: u64, piece: &[f64]) {
        if piece.len() < self.template_frames {
            return;
        }
        let mut bins = self.forward.bins(piece);
        bins.iter_mut().zip(&self.template).for_each(|(bin, template)| *bin *= template);
        let products = self.inverse.samples(&bins);
        let total: f64 = piece.iter().map(|y| y * y).sum();
        let mut energy: f64 = piece[..self.template_frames].iter().map(|y| y * y).sum();
        for n in 0..=piece.len().min(products.len()) - self.template_frames {
            let alike = products[n] * products[n] / (energy * self.template_energy);
            if energy > QUIETEST_SHARE * total && self.best.is_none_or(|(best, _)| alike > best) {
                self.best = Some((alike, at + n as u64));
            }
            if let Some(next) = piece.get(n + self.template_frames) {
                energy += next * next - piece[n] * piece[n];
            }
        }
    }

    /// The stretch around the excitation, whichever of its repeats was found, within a recording of so many frames; absent when
    /// nothing but zeros was looked at.
    pub fn found(&self, frames: u64) -> Option<Stretch> {
        let (_, at) = self.best?;
        let [spread, whole] = self.spread_frames.map(|frames| frames as u64);
        let begins = at as i64 - self.template_at as i64;
        let from = begins - (spread + self.margin_frames as u64) as i64;
        let to = begins + (spread + whole + self.margin_frames as u64) as i64;
        Some(from.max(0) as u64..(to.max(0) as u64).min(frames))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::quantity::SampleRate;
    use crate::signal::{Marks, Sequence, SweepSettings};

    const RATE_HZ: f64 = 8_000.0;

    fn excitation() -> Excitation {
        let rate = SampleRate::new(8_000).unwrap();
        let sweep = SweepSettings { rate, from_hz: 50.0, to_hz: 3_000.0, lowest_hz: None, duration_s: 1.0 };
        Sequence { sweep, level_dbfs: 0.0, repeats: 2, marks: Marks::BeforeAndAfter, pause_s: 0.5 }
            .excitation()
            .unwrap()
    }

    /// Two minutes of noise with a bang 40 dB above the sweep, which lies at a known place 10 dB above the noise.
    #[test]
    fn a_quiet_sweep_is_found_beside_a_loud_bang_wherever_the_seams_lie() {
        let excitation = excitation();
        let whole = excitation.samples.len();
        for place_s in [0.0, 17.3, 61.0, 104.9] {
            let mut random = Random::new(5);
            let frames = (120.0 * RATE_HZ) as usize;
            let mut recorded: Vec<f64> = (0..frames).map(|_| 2e-3 * random.normal()).collect();
            let place = (place_s * RATE_HZ) as usize;
            recorded[place..place + whole].iter_mut().zip(&excitation.samples).for_each(|(y, x)| *y += 0.01 * x);
            recorded[400_000..400_200].iter_mut().for_each(|y| *y += random.normal());
            let mut search = StretchSearch::new(&excitation);
            let (piece, step) = (search.piece_frames(), search.step_frames());
            for at in (0..frames).step_by(step) {
                search.look(at as u64, &recorded[at..frames.min(at + piece)]);
            }
            let stretch = search.found(frames as u64).unwrap();
            assert!(
                stretch.start <= place as u64 && stretch.end >= (place + whole).min(frames) as u64,
                "{place_s}: {stretch:?}"
            );
            // The excitation, once more as much as its repeats lie apart on either side, and the margins.
            let most = whole + 2 * ((2.0 * 1.5 + MARGIN_S) * RATE_HZ) as usize;
            assert!(stretch.end - stretch.start <= most as u64, "{place_s}: {stretch:?}");
        }
    }

    #[test]
    fn silence_holds_nothing() {
        let mut search = StretchSearch::new(&excitation());
        search.look(0, &vec![0.0; 100_000]);
        assert_eq!(search.found(100_000), None);
    }
}
