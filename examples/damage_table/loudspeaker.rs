//! A loudspeaker and its room in closed form, by frequency.
//!
//! ```text
//! high-pass  s²/(s² + s/Q + 1)        low-pass  1/(s² + s/Q + 1)        bell  (s² + s·A/Q + 1)/(s² + s/Q + 1)
//! mode  g·(s/Q)/(s² + s/Q + 1),  Q = π·f₀·T₆₀/ln 10³        image  g·e^{−jωτ}/(1 + jf/f_c)
//! ```
//!
//! s = jf/f₀. T₆₀: time in which a mode falls by 60 dB; τ: how much later a reflection comes, f_c: where the wall begins to swallow.
//! Textbook sections; the numbers they are drawn with are ours: what homes and loudspeakers have.

use boxwright::math::{Random, Spectrum};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// A section of second order.
#[derive(Clone, Copy)]
enum Section {
    HighPass,
    LowPass,
    /// A, the gain in the middle.
    Bell(f64),
}

/// What plays.
pub struct Loudspeaker {
    sections: Vec<(Section, f64, f64)>,
}

impl Loudspeaker {
    /// One drawn for a band: it falls where a loudspeaker for that band may, and has breakup.
    pub fn drawn(band_hz: [f64; 2], random: &mut Random) -> Self {
        let [from_hz, to_hz] = band_hz;
        let mut within = |from: f64, to: f64| from * (to / from).powf(random.uniform());
        let resonance_hz = from_hz * within(1.0, 5.0);
        let mut sections = vec![(Section::HighPass, resonance_hz, within(0.4, 1.4))];
        if within(1.0, 2.0) > 1.4 {
            sections.push((Section::HighPass, resonance_hz * within(0.7, 1.4), within(0.5, 1.2)));
        }
        for _ in 0..3 {
            let height = within(0.4, 2.5);
            sections.push((Section::Bell(height), within(2.0 * resonance_hz, to_hz), within(1.5, 12.0)));
        }
        sections.push((Section::LowPass, to_hz * within(0.4, 1.5), within(0.5, 0.9)));
        Self { sections }
    }

    pub fn response(&self, hz: f64) -> Complex64 {
        let section = |&(kind, corner_hz, q): &(Section, f64, f64)| {
            let s = Complex64::new(0.0, hz / corner_hz);
            let below = s * s + s / q + 1.0;
            match kind {
                Section::HighPass => s * s / below,
                Section::LowPass => below.inv(),
                Section::Bell(height) => (s * s + s * height / q + 1.0) / below,
            }
        };
        self.sections.iter().map(section).product()
    }
}

/// What the room adds to the direct sound, as a factor.
#[derive(Default)]
pub struct Room {
    /// Delay s, gain, corner Hz.
    pub images: Vec<[f64; 3]>,
    /// f₀ Hz, T₆₀ s, g.
    modes: Vec<[f64; 3]>,
    /// Sound that comes from everywhere: its own impulse response.
    tail: Vec<f64>,
}

impl Room {
    /// Six reflections from `first_s` on, as single images, with a tail that takes `t60_s` to fall by 60 dB.
    pub fn of_images(first_s: f64, t60_s: f64, rate_hz: f64, random: &mut Random) -> Self {
        let mut delay_s = first_s;
        let mut images = Vec::new();
        for _ in 0..6 {
            let gain = 0.8 * (0.003 / (0.003 + delay_s)) * if random.uniform() > 0.5 { 1.0 } else { -0.7 };
            images.push([delay_s, gain, 3_000.0 + 12_000.0 * random.uniform()]);
            delay_s += 0.000_5 + 0.004 * random.uniform();
        }
        let begins = (delay_s * rate_hz) as usize;
        let frames = (1.2 * t60_s * rate_hz) as usize;
        let fall = 6.9 / (t60_s * rate_hz);
        let tail = (0..frames)
            .map(|n| if n < begins { 0.0 } else { 0.01 * random.normal() * (-(n as f64) * fall).exp() })
            .collect();
        Self { images, tail, ..Self::default() }
    }

    /// Three modes between 25 and 150 Hz that ring on.
    pub fn of_modes(random: &mut Random) -> Self {
        let mut mode =
            || [25.0 * 6f64.powf(random.uniform()), 0.25 + 0.75 * random.uniform(), 0.3 + 1.2 * random.uniform()];
        Self { modes: vec![mode(), mode(), mode()], ..Self::default() }
    }

    /// The factor at a frequency, without the tail.
    pub fn response(&self, hz: f64) -> Complex64 {
        let images = self.images.iter().map(|&[delay_s, gain, corner_hz]| {
            gain * Complex64::cis(-TAU * hz * delay_s) / Complex64::new(1.0, hz / corner_hz)
        });
        let modes = self.modes.iter().map(|&[mode_hz, t60_s, gain]| {
            let q = PI * mode_hz * t60_s / 1e3f64.ln();
            let s = Complex64::new(0.0, hz / mode_hz);
            gain * (s / q) / (s * s + s / q + 1.0)
        });
        1.0 + images.sum::<Complex64>() + modes.sum::<Complex64>()
    }

    /// The spectrum of the tail in a transform of `length`; none where there is none.
    pub fn tail_bins(&self, length: usize) -> Option<Vec<Complex64>> {
        (!self.tail.is_empty()).then(|| Spectrum::new(length).bins(&self.tail))
    }

    pub fn kind(&self) -> &'static str {
        match (self.images.is_empty(), self.modes.is_empty()) {
            (false, _) => "reflections",
            (_, false) => "modes",
            _ => "no room",
        }
    }
}
