//! The receiver between the sound card's outputs and the amplifiers: filters, delays, gain and polarity.
//!
//! ```text
//! satellite: H = F_high·e^{−jωτ_s}        subwoofer: H = ±10^(G/20)·F_low·e^{−jωτ_w}
//! F_low = Π 1/(1 + s/Q + s²)              F_high = Π s²/(1 + s/Q + s²)            s = jf/f_c
//! ```
//!
//! f_c: corner, Hz. Q of the sections: Butterworth of order two 1/√2, of order four 1/(2·cos(π/8)) and 1/(2·cos(3π/8));
//! Linkwitz-Riley of order two ½ (two first orders), of order four 1/√2 twice. τ: delay, s; G: gain, dB. Applied to the
//! whole record by these responses, so that a delay may be any part of a sample.
//!
//! Sources: S. Butterworth, "On the Theory of Filter Amplifiers", Wireless Engineer 7 (1930) 536–541; S. H. Linkwitz,
//! "Active Crossover Networks for Noncoincident Drivers", J. Audio Eng. Soc. 24 (January/February 1976) 2–8 — both
//! from memory.

use super::error::{BenchError, check};
use super::speaker::Polarity;
use crate::quantity::amplitude_from_db;
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::{FRAC_1_SQRT_2, TAU};

/// What the receiver does to each of its two ways.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Receiver {
    /// Takes the bass from the satellite; absent: it gets all.
    pub high_pass: Option<Cut>,
    /// Takes the treble from the subwoofer; absent: it gets all.
    pub low_pass: Option<Cut>,
    /// So much later the satellite plays.
    pub satellite_delay_s: f64,
    /// So much later the subwoofer plays.
    pub subwoofer_delay_s: f64,
    /// So much louder the subwoofer plays.
    pub subwoofer_gain_db: f64,
    /// Whether the subwoofer is reversed.
    pub subwoofer_polarity: Polarity,
}

/// Where and how a filter cuts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Cut {
    /// How.
    pub slope: Slope,
    /// f_c.
    pub corner_hz: f64,
}

/// The filters that receivers have, by their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Slope {
    /// Butterworth, 12 dB an octave, −3 dB at the corner.
    #[serde(rename = "BW2")]
    Butterworth2,
    /// Butterworth, 24 dB an octave, −3 dB at the corner.
    #[serde(rename = "BW4")]
    Butterworth4,
    /// Linkwitz-Riley, 12 dB an octave, −6 dB at the corner; low and high sum flat with one of them reversed.
    #[serde(rename = "LR2")]
    LinkwitzRiley2,
    /// Linkwitz-Riley, 24 dB an octave, −6 dB at the corner; low and high sum flat.
    #[serde(rename = "LR4")]
    LinkwitzRiley4,
}

impl Default for Receiver {
    /// It hands everything on as it is.
    fn default() -> Self {
        Self {
            high_pass: None,
            low_pass: None,
            satellite_delay_s: 0.0,
            subwoofer_delay_s: 0.0,
            subwoofer_gain_db: 0.0,
            subwoofer_polarity: Polarity::Straight,
        }
    }
}

impl Slope {
    /// 1/Q of each section.
    fn dampings(self) -> &'static [f64] {
        const ROOT_2: f64 = 2.0 * FRAC_1_SQRT_2;
        // 2·cos(π/8) = √(2 + √2), 2·cos(3π/8) = √(2 − √2).
        match self {
            Self::Butterworth2 => &[ROOT_2],
            Self::Butterworth4 => &[1.847_759_065_022_573_5, 0.765_366_864_730_179_6],
            Self::LinkwitzRiley2 => &[2.0],
            Self::LinkwitzRiley4 => &[ROOT_2, ROOT_2],
        }
    }
}

impl Cut {
    /// F_low.
    pub fn low(&self, frequency_hz: f64) -> Complex64 {
        self.product(frequency_hz, |_| Complex64::ONE)
    }

    /// F_high.
    pub fn high(&self, frequency_hz: f64) -> Complex64 {
        self.product(frequency_hz, |s| s * s)
    }

    fn product(&self, frequency_hz: f64, above: impl Fn(Complex64) -> Complex64) -> Complex64 {
        let s = Complex64::new(0.0, frequency_hz / self.corner_hz);
        self.slope.dampings().iter().map(|damping| above(s) / (1.0 + damping * s + s * s)).product()
    }

    fn check(&self) -> Result<(), BenchError> {
        check("corner of the receiver's filter in Hz", self.corner_hz, [20.0, 2_000.0])
    }
}

impl Receiver {
    /// From the output to the satellite's amplifier.
    pub fn to_satellite(&self, frequency_hz: f64) -> Complex64 {
        let filter = self.high_pass.map_or(Complex64::ONE, |cut| cut.high(frequency_hz));
        filter * delayed(self.satellite_delay_s, frequency_hz)
    }

    /// From the output to the subwoofer's amplifier.
    pub fn to_subwoofer(&self, frequency_hz: f64) -> Complex64 {
        let filter = self.low_pass.map_or(Complex64::ONE, |cut| cut.low(frequency_hz));
        let gain = self.subwoofer_polarity.sign() * amplitude_from_db(self.subwoofer_gain_db);
        gain * filter * delayed(self.subwoofer_delay_s, frequency_hz)
    }

    pub(super) fn check(&self) -> Result<(), BenchError> {
        [self.high_pass, self.low_pass].iter().flatten().try_for_each(Cut::check)?;
        check("delay of the satellite in s", self.satellite_delay_s, [0.0, 1.0])?;
        check("delay of the subwoofer in s", self.subwoofer_delay_s, [0.0, 1.0])?;
        check("gain of the subwoofer in dB", self.subwoofer_gain_db, [-60.0, 40.0])
    }
}

/// A pure delay.
pub(super) fn delayed(delay_s: f64, frequency_hz: f64) -> Complex64 {
    Complex64::cis(-TAU * frequency_hz * delay_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use Slope::{Butterworth2, Butterworth4, LinkwitzRiley2, LinkwitzRiley4};

    const SLOPES: [Slope; 4] = [Butterworth2, Butterworth4, LinkwitzRiley2, LinkwitzRiley4];

    fn cut(slope: Slope) -> Cut {
        Cut { slope, corner_hz: 80.0 }
    }

    fn db(value: Complex64) -> f64 {
        20.0 * value.norm().log10()
    }

    /// Butterworth: |F|² = 1/(1 + x^{2n}); Linkwitz-Riley of order n: the square of a Butterworth of n/2.
    #[test]
    fn filters_have_the_magnitudes_that_butterworth_and_linkwitz_published() {
        for slope in SLOPES {
            for hz in [10.0, 40.0, 80.0, 113.0, 160.0, 800.0] {
                let x = hz / 80.0_f64;
                let low = match slope {
                    Butterworth2 => (1.0 + x.powi(4)).sqrt().recip(),
                    Butterworth4 => (1.0 + x.powi(8)).sqrt().recip(),
                    LinkwitzRiley2 => (1.0 + x * x).recip(),
                    LinkwitzRiley4 => (1.0 + x.powi(4)).recip(),
                };
                let order = if matches!(slope, Butterworth2 | LinkwitzRiley2) { 2 } else { 4 };
                // 1e-12: a dozen operations, each to 1e-16, at gains down to 1e-4.
                assert!((cut(slope).low(hz).norm() / low - 1.0).abs() < 1e-12, "{slope:?} {hz}");
                assert!((cut(slope).high(hz).norm() / (low * x.powi(order)) - 1.0).abs() < 1e-12, "{slope:?} {hz}");
            }
        }
        for (slope, corner_db, octave_db) in [
            (Butterworth2, -3.01, 12.0),
            (Butterworth4, -3.01, 24.1),
            (LinkwitzRiley2, -6.02, 12.0),
            (LinkwitzRiley4, -6.02, 24.1),
        ] {
            // The figures of data sheets, to the two places that they have.
            assert!((db(cut(slope).low(80.0)) - corner_db).abs() < 0.005, "{slope:?}");
            assert!((db(cut(slope).low(1_600.0)) - db(cut(slope).low(3_200.0)) - octave_db).abs() < 0.05, "{slope:?}");
        }
    }

    #[test]
    fn linkwitz_riley_sums_flat() {
        for hz in [5.0, 60.0, 80.0, 200.0] {
            let [two, four] = [cut(LinkwitzRiley2), cut(LinkwitzRiley4)];
            // 1e-14: a dozen operations, each to 1e-16.
            assert!(((four.low(hz) + four.high(hz)).norm() - 1.0).abs() < 1e-14, "{hz}");
            assert!(((two.low(hz) - two.high(hz)).norm() - 1.0).abs() < 1e-14, "{hz}");
        }
    }

    #[test]
    fn the_subwoofer_gets_its_gain_polarity_and_delay() {
        let receiver = Receiver {
            subwoofer_delay_s: 2.5e-3,
            satellite_delay_s: 1e-3,
            subwoofer_gain_db: 6.0,
            subwoofer_polarity: Polarity::Reversed,
            ..Receiver::default()
        };
        // A quarter of a period at 100 Hz: −j; reversed and 6 dB louder: +1.9953j. 36° at 100 Hz for the satellite.
        let expected = Complex64::new(0.0, 1.995_262_314_968_879_6);
        assert!((receiver.to_subwoofer(100.0) - expected).norm() < 1e-14);
        let expected = Complex64::new(0.809_016_994_374_947_4, -0.587_785_252_292_473_1);
        assert!((receiver.to_satellite(100.0) - expected).norm() < 1e-14);
        for hz in [0.0, 20.0, 24_000.0] {
            let neutral = Receiver::default();
            assert_eq!((neutral.to_satellite(hz), neutral.to_subwoofer(hz)), (Complex64::ONE, Complex64::ONE));
        }
    }
}
