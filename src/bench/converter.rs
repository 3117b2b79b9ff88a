//! The converters of the interface: from played samples to a voltage on a fine time grid, and back.
//!
//! ```text
//! h(t) = 2f_c·sinc(2f_c·t)·I₀(β·√(1 − (t/T)²))/I₀(β)      |t| < T
//! β = 0.1102·(A − 8.7)        2T = (A − 7.95)/(14.36·Δf)
//! ```
//!
//! t in frames, f in shares of the sample rate. f_c: middle of the transition, Δf: its width, A: attenuation, dB.
//! Output: flat to 0.4535, images above 0.5465 gone; input: flat to 0.4535, everything above 0.5 gone. Both have
//! linear phase and no delay of their own.
//!
//! Source: J. F. Kaiser, R. W. Schafer, "On the Use of the I₀-Sinh Window for Spectrum Analysis", IEEE Trans. ASSP 28
//! (1980) 105–107; A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", section 7.6 (Kaiser's rules).

use std::f64::consts::PI;

/// Up to this share of the sample rate the converters are flat to one part in a million.
pub const FLAT_SHARE: f64 = 0.4535;
/// Ripple and stop band of both converters.
const ATTENUATION_DB: f64 = 120.0;
const DAC_CUTOFF: f64 = 0.5;
const ADC_CUTOFF: f64 = 0.5 * (FLAT_SHARE + 0.5);
/// Frames that are worked on at once: the state, voltages and what comes out then stay in the processor's cache.
const BLOCK: usize = 256;

/// What stands between the converters and is followed in time; N inputs see it.
pub trait Between<const N: usize> {
    /// One step with the voltages at its start, middle and end; gives what each input sees at its start.
    fn step(&mut self, drive_v: [f64; 3], step_s: f64) -> [f64; N];
    /// Told before each block what time it will be in its middle, counted from the first voltage: for slow changes.
    fn begin_block(&mut self, time_s: f64);
}

/// A windowed sinc.
pub struct Kernel {
    cutoff: f64,
    half: f64,
    beta: f64,
}

impl Kernel {
    /// A kernel whose transition begins at `flat` and is centred on `cutoff` (shares of the sample rate).
    pub fn new(flat: f64, cutoff: f64, attenuation_db: f64) -> Self {
        let width = 2.0 * (cutoff - flat);
        let half = (0.5 * (attenuation_db - 7.95) / (14.36 * width)).ceil();
        Self { cutoff, half, beta: 0.1102 * (attenuation_db - 8.7) }
    }

    /// T: from its middle to its end, in whole frames.
    pub fn half(&self) -> usize {
        self.half as usize
    }

    /// Its window at a distance from the middle.
    pub fn window(&self, frames: f64) -> f64 {
        let inside = 1.0 - (frames / self.half).powi(2);
        if inside < 0.0 { 0.0 } else { bessel_i0(self.beta * inside.sqrt()) / bessel_i0(self.beta) }
    }

    /// Its value at a distance from the middle.
    pub fn at(&self, frames: f64) -> f64 {
        let angle = 2.0 * PI * self.cutoff * frames;
        let sinc = if angle.abs() < 1e-9 { 1.0 } else { angle.sin() / angle };
        2.0 * self.cutoff * sinc * self.window(frames)
    }
}

/// I₀ by its power series `Σ ((x/2)^k/k!)²`.
fn bessel_i0(x: f64) -> f64 {
    let quarter = 0.25 * x * x;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-17 * sum {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// Both converters and the fine grid between them.
pub struct Converter {
    rate_hz: f64,
    factor: usize,
    dac_half: usize,
    adc_half: usize,
    /// For each of `factor` phases 2·`dac_half` taps.
    dac: Vec<f64>,
    /// 2·`adc_half`·`factor` + 1 taps.
    adc: Vec<f64>,
    combined: Vec<f64>,
}

impl Converter {
    /// Converters at a sample rate with a grid `factor` times as fine.
    pub fn new(rate_hz: f64, factor: usize) -> Self {
        let dac = Kernel::new(FLAT_SHARE, DAC_CUTOFF, ATTENUATION_DB);
        let adc = Kernel::new(FLAT_SHARE, ADC_CUTOFF, ATTENUATION_DB);
        let (dac_half, adc_half) = (dac.half(), adc.half());
        let fine = |kernel: &Kernel| -> Vec<f64> {
            let reach = (kernel.half() * factor) as isize;
            (-reach..=reach).map(|step| kernel.at(step as f64 / factor as f64)).collect()
        };
        let (fine_dac, fine_adc) = (fine(&dac), fine(&adc));
        let taps: Vec<f64> = fine_adc.iter().map(|value| value / factor as f64).collect();
        // Tap k of phase p weighs the sample that lies p/factor − k frames away, k from 1 − T to T.
        let place = |phase: usize, tap: usize| phase + (2 * dac_half - 1 - tap) * factor;
        let phases = (0..factor).flat_map(|phase| (0..2 * dac_half).map(move |tap| place(phase, tap)));
        let dac_taps = phases.map(|place| fine_dac[place]).collect();
        let combined = combined(&fine_dac, &taps, factor);
        Self { rate_hz, factor, dac_half, adc_half, dac: dac_taps, adc: taps, combined }
    }

    /// What both converters do together, sample by sample: an even impulse response, its middle first.
    pub fn combined(&self) -> &[f64] {
        &self.combined
    }

    /// What comes out of `between`, `frames` samples for each input, for these voltages at the sample rate.
    pub fn played_through<const N: usize>(
        &self,
        between: &mut impl Between<N>,
        drive_v: &[f64],
        frames: usize,
    ) -> [Vec<f64>; N] {
        let blocks = (frames + self.adc_half).div_ceil(BLOCK);
        let mut padded = vec![0.0; self.dac_half - 1];
        padded.extend_from_slice(drive_v);
        padded.resize((blocks + 1) * BLOCK + 2 * self.dac_half, 0.0);
        let step_s = 1.0 / (self.rate_hz * self.factor as f64);
        let fine = BLOCK * self.factor;
        // One voltage before the block and one frame after it, for the values between the grid's points.
        let mut volts = vec![0.0; 1 + fine + self.factor];
        let history = 2 * self.adc_half * self.factor;
        let mut outcomes: [Vec<f64>; N] = std::array::from_fn(|_| vec![0.0; history + fine]);
        let mut replies: [Vec<f64>; N] = std::array::from_fn(|_| Vec::with_capacity(blocks * BLOCK));
        self.refine(&padded, &mut volts[1..=self.factor]);
        for block in 0..blocks {
            between.begin_block((block as f64 + 0.5) * BLOCK as f64 / self.rate_hz);
            self.refine(&padded[block * BLOCK + 1..], &mut volts[1 + self.factor..]);
            for step in 0..fine {
                let values = between.step(around(&volts[step..step + 4]), step_s);
                for n in 0..N {
                    outcomes[n][history + step] = values[n];
                }
            }
            volts.copy_within(fine.., 0);
            for (outcome, reply) in outcomes.iter_mut().zip(&mut replies) {
                reply.extend((0..BLOCK).map(|frame| dot(&self.adc, &outcome[frame * self.factor..])));
                outcome.copy_within(fine.., 0);
            }
        }
        for reply in &mut replies {
            // The input's taps reach half their length into the future: that much comes out before the first frame.
            reply.drain(..self.adc_half);
            reply.truncate(frames);
        }
        replies
    }

    /// Fills a stretch of the fine grid, `factor` values for each frame.
    fn refine(&self, padded: &[f64], fine: &mut [f64]) {
        let taps = 2 * self.dac_half;
        for (frame, values) in fine.chunks_exact_mut(self.factor).enumerate() {
            for (value, phase) in values.iter_mut().zip(self.dac.chunks_exact(taps)) {
                *value = dot(phase, &padded[frame..]);
            }
        }
    }
}

/// One converter after the other, every `factor`-th value from the middle on.
fn combined(dac: &[f64], adc: &[f64], factor: usize) -> Vec<f64> {
    let middle = (dac.len() + adc.len()) / 2 - 1;
    let at = |place: usize| -> f64 {
        let first = (place + 1).saturating_sub(dac.len());
        (first..adc.len().min(place + 1)).map(|tap| adc[tap] * dac[place - tap]).sum()
    };
    (middle..dac.len() + adc.len() - 1).step_by(factor).map(at).collect()
}

/// Start, middle and end of the step from the second to the third of four neighbours, the middle by a cubic.
///
/// Its error at 20 kHz on a grid of 768 kHz: 3/128·(2π·20/768)⁴ = 1.7e-5, weighted 4/6 in the step: 0.0001 dB.
#[inline(always)]
fn around(v: &[f64]) -> [f64; 3] {
    [v[1], (9.0 * (v[1] + v[2]) - v[0] - v[3]) / 16.0, v[2]]
}

/// Sum of products over the length of `taps`, in eight sums that run side by side.
fn dot(taps: &[f64], values: &[f64]) -> f64 {
    let values = &values[..taps.len()];
    let mut sums = [0.0; 8];
    let (tap_rows, value_rows) = (taps.chunks_exact(8), values.chunks_exact(8));
    let rest: f64 = tap_rows.remainder().iter().zip(value_rows.remainder()).map(|(a, b)| a * b).sum();
    for (row, other) in tap_rows.zip(value_rows) {
        for lane in 0..8 {
            sums[lane] += row[lane] * other[lane];
        }
    }
    rest + sums.iter().sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::circuit::Circuit;
    use crate::bench::motion::{All, Played};
    use std::f64::consts::TAU;

    fn response_db(half: &[f64], share: f64) -> f64 {
        let turned = half.iter().enumerate().skip(1).map(|(n, h)| 2.0 * h * (TAU * share * n as f64).cos());
        20.0 * (half[0] + turned.sum::<f64>()).abs().log10()
    }

    #[test]
    fn the_converters_are_flat_in_their_band_and_end_at_half_the_rate() {
        for factor in [8, 16, 18] {
            let converter = Converter::new(48_000.0, factor);
            for n in 0..=100 {
                let share = FLAT_SHARE * f64::from(n) / 100.0;
                let found_db = response_db(converter.combined(), share);
                // Two filters of 1e-6 each: 1.7e-5 dB.
                assert!(found_db.abs() < 2e-5, "{share}: {found_db:e}");
            }
            // -120 dB of the input's filter on top of -6 dB of the output's.
            assert!(response_db(converter.combined(), 0.5) < -120.0);
        }
    }

    /// The stream of blocks is the convolution that `combined` says, seen through a circuit that hands its drive on.
    ///
    /// A coil so short and a cone so heavy that the coil's current is the voltage over its resistance: q' =
    /// S_d·Bl·u/(R_e·M).
    #[test]
    fn blocks_join_without_a_seam() {
        let mut way = crate::bench::Speaker::rear_satellite().ways[0].straightened();
        way.filter = crate::bench::Filter::None;
        way.enclosure = crate::bench::Enclosure::closed(1.0);
        (way.driver.lossy, way.driver.le_h, way.driver.re_ohm) = (None, 2e-3, 800.0);
        (way.driver.mms_kg, way.driver.rms_kg_s, way.driver.cms_m_n) = (1.0, 1e-4, 1.0);
        let (converter, circuit) = (Converter::new(48_000.0, 16), Circuit::new(&way));
        let drive_v: Vec<f64> = (0..900).map(|n| (TAU * 0.02 * f64::from(n)).sin()).collect();
        let [found] = converter.played_through(&mut Played::new(&circuit, All), &drive_v, 1200);
        let gain = way.driver.sd_m2 * way.driver.bl_tm / (way.driver.re_ohm * way.driver.mms_kg);
        let late_s = way.driver.le_h / way.driver.re_ohm;
        for (frame, found) in found.iter().enumerate().take(800).skip(300) {
            // The coil's current lags by L/R: magnitude 1/√(1 + (ωL/R)²).
            let omega = TAU * 960.0;
            let expected = gain * (omega * (frame as f64 / 48_000.0) - (omega * late_s).atan()).sin()
                / (1.0 + (omega * late_s).powi(2)).sqrt();
            // 3e-5: the back-e.m.f. and the cone's motion of a cone of 1 kg at 960 Hz, and the edges of the tone.
            assert!((found - expected).abs() < 3e-5 * gain, "{frame}: {found} {expected}");
        }
    }
}
