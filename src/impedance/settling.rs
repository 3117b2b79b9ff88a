//! Whether the load changed from one repeat to the next: a suspension that is still breaking in, a coil that warms up.
//!
//! ```text
//! Z_k(f) − Z(f) = −δ_k·∂Z/∂ln f + r_k + m_k·(Z − R)
//! ```
//!
//! Z_k: impedance from repeat k, Z: the mean; δ_k: by which ratio the resonance lies higher than in the mean; r_k: by how much
//! the resistance is larger; m_k: by which share the rest is, R being the lowest resistance in sight. By weighted least
//! squares over an octave around the highest peak; r_k is then read from the real parts three to ten times above it, where
//! the moving cone adds little.
//! Ours: to first order a stiffness that changes moves the curve along ln f, and a warm coil moves it up.

use super::Extreme;
use crate::math::weighted_plane;
use num_complex::Complex64;

/// What one repeat shows, against the mean of all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Which repeat, from 0.
    pub repeat: usize,
    /// Its resonance.
    pub peak_hz: f64,
    /// Standard uncertainty of the difference to the mean.
    pub u_peak_hz: f64,
    /// By how much its resistance is larger than the mean; absent where the curve ends too early to tell.
    pub resistance_ohm: Option<f64>,
    /// Its standard uncertainty.
    pub u_resistance_ohm: Option<f64>,
}

/// The curves of the repeats, on one grid.
pub(super) struct Repeated<'a> {
    pub hz: &'a [f64],
    pub mean: &'a [Complex64],
    pub each: &'a [Vec<Complex64>],
    pub numbers: &'a [usize],
    /// Standard uncertainty of one repeat by noise.
    pub u_ohm: &'a [f64],
    pub resolution_hz: &'a [f64],
}

/// Half of an octave to each side.
const REACH_RATIO: f64 = std::f64::consts::SQRT_2;

impl Repeated<'_> {
    /// The shift of each repeat around `peak`; empty where there is nothing to compare.
    pub(super) fn shifts(&self, peak: Extreme) -> Vec<Shift> {
        let near: Vec<usize> = (1..self.hz.len().saturating_sub(1))
            .filter(|&at| (peak.hz / REACH_RATIO..=peak.hz * REACH_RATIO).contains(&self.hz[at]))
            .collect();
        if self.each.len() < 2 || near.len() < 5 {
            return Vec::new();
        }
        let lowest_ohm = near.iter().map(|&at| self.mean[at].re).fold(f64::MAX, f64::min);
        let of_repeat = |(each, &repeat): (&Vec<Complex64>, &usize)| {
            let rows: Vec<(Vec<f64>, f64, f64)> = near.iter().flat_map(|&at| self.rows(at, each, lowest_ohm)).collect();
            let fit = weighted_plane(&rows)?;
            let (resistance_ohm, u_resistance_ohm) = self.warming(peak, each).unzip();
            Some(Shift {
                repeat,
                peak_hz: peak.hz * (1.0 + fit.values[0]),
                u_peak_hz: peak.hz * fit.variances[0].sqrt(),
                resistance_ohm,
                u_resistance_ohm,
            })
        };
        self.each.iter().zip(self.numbers).filter_map(of_repeat).collect()
    }

    /// r_k with its standard uncertainty.
    fn warming(&self, peak: Extreme, each: &[Complex64]) -> Option<(f64, f64)> {
        let far = (1..self.hz.len() - 1).filter(|&at| (3.0 * peak.hz..=10.0 * peak.hz).contains(&self.hz[at]));
        let (mut sum, mut weights) = (0.0, 0.0);
        for at in far {
            let weight = self.weight(at);
            sum += weight * (each[at] - self.mean[at]).re;
            weights += weight;
        }
        (weights > 0.0).then(|| (sum / weights, weights.sqrt().recip()))
    }

    /// 1/u², less where points are closer than the resolution and say the same thing.
    fn weight(&self, at: usize) -> f64 {
        let step_hz = 0.5 * (self.hz[at + 1] - self.hz[at - 1]);
        (step_hz / self.resolution_hz[at]).min(1.0) / self.u_ohm[at].max(1e-12).powi(2)
    }

    /// Two rows of the fit, for real and imaginary part.
    fn rows(&self, at: usize, each: &[Complex64], lowest_ohm: f64) -> [(Vec<f64>, f64, f64); 2] {
        let slope = (self.mean[at + 1] - self.mean[at - 1]) / (self.hz[at + 1] / self.hz[at - 1]).ln();
        let weight = self.weight(at);
        let off = each[at] - self.mean[at];
        let rest = self.mean[at] - lowest_ohm;
        [(vec![-slope.re, 1.0, rest.re], off.re, weight), (vec![-slope.im, 0.0, rest.im], off.im, weight)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::driver::{DriverModel, Suspension, VoiceCoil};
    use crate::quantity::FrequencyGrid;

    #[test]
    fn a_resonance_that_falls_and_a_coil_that_warms_are_told_apart() {
        let driver = |fs_hz: f64, re_ohm: f64| DriverModel {
            re_ohm,
            fs_hz,
            qms: 5.0 * 40.0 / fs_hz,
            qes: 0.5 * re_ohm / 6.0 * 40.0 / fs_hz,
            voice_coil: VoiceCoil::Inductance { le_h: 0.5e-3 },
            suspension: Suspension::Plain,
        };
        let grid = FrequencyGrid::of_octave_fractions([20.0, 500.0], 48).unwrap();
        let states = [(40.2, 5.99), (40.0, 6.0), (39.8, 6.01)];
        let curve = |&(fs, re): &(f64, f64)| grid.hz().iter().map(|&hz| driver(fs, re).impedance_ohm(hz)).collect();
        let each: Vec<Vec<Complex64>> = states.iter().map(curve).collect();
        let mean: Vec<Complex64> =
            (0..grid.hz().len()).map(|at| each.iter().map(|one| one[at]).sum::<Complex64>() / 3.0).collect();
        let doubts = vec![0.01; mean.len()];
        let shifts = Repeated {
            hz: grid.hz(),
            mean: &mean,
            each: &each,
            numbers: &[0, 1, 2],
            u_ohm: &doubts,
            resolution_hz: &vec![0.5; mean.len()],
        }
        .shifts(Extreme { hz: 40.0, ohm: 66.0 });
        for (shift, (fs_hz, re_ohm)) in shifts.iter().zip(states) {
            // 0.03 Hz: of a shift of 0.2 Hz the second order and the grid of 1.45 % leave a tenth; 0.003 Ω: what the cone adds there.
            assert!((shift.peak_hz - fs_hz).abs() < 0.03, "{shift:?}");
            assert!((shift.resistance_ohm.unwrap() - (re_ohm - 6.0)).abs() < 0.003, "{shift:?}");
            assert!(shift.u_peak_hz > 0.0 && shift.u_peak_hz < 0.01, "{shift:?}");
        }
        assert_eq!(shifts.len(), 3);
    }
}
