//! What a curve shows at a glance: its minimum, its peaks, the rated impedance it may bear.
//!
//! ```text
//! rated impedance R:  |Z| ≥ 0.8·R everywhere in the rated frequency range
//! ```
//!
//! R is the largest of the usual values that fulfils this. Source of the rule: IEC 60268-5, "Sound system equipment – Part 5:
//! Loudspeakers", rated impedance, from public summaries. The values are those that loudspeakers are sold with; the
//! rated range is taken to be the curve's. A peak is refined by the parabola through ln|Z| over ln f at three points.

use super::Impedance;

/// A place on the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extreme {
    /// Frequency.
    pub hz: f64,
    /// |Z|.
    pub ohm: f64,
}

/// The values that loudspeakers are sold with, Ω.
pub const RATED_OHM: [f64; 13] = [2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 25.0, 32.0, 50.0, 100.0, 150.0, 300.0];
/// The rule's share.
const LEAST_SHARE: f64 = 0.8;
/// A peak stands this far above the valleys on both sides (ours: less is a wrinkle) …
const PEAK_RATIO: f64 = 1.1;
/// … and so many of its standard uncertainties by noise.
const PEAK_DOUBTS: f64 = 6.0;

/// Between points further from evenly spaced than this, a parabola shoots far beyond them (ours).
const MOST_UNEVEN: f64 = 4.0;

/// Where |Z| is lowest.
pub fn minimum(curve: &Impedance) -> Extreme {
    let magnitudes = curve.magnitude_ohm();
    let lowest = (0..magnitudes.len()).min_by(|&a, &b| magnitudes[a].total_cmp(&magnitudes[b])).unwrap_or(0);
    refined(curve.hz(), &magnitudes, lowest)
}

/// Where |Z| is highest between two valleys, in the order of frequency.
pub fn peaks(curve: &Impedance) -> Vec<Extreme> {
    let magnitudes = curve.magnitude_ohm();
    let last = magnitudes.len() - 1;
    let stands_out = |at: usize| {
        let doubt = PEAK_DOUBTS * curve.u_noise_ohm().map_or(0.0, |u| u[at]);
        let valley = |side: &mut dyn Iterator<Item = usize>| {
            // Down to where the curve is as high again.
            side.map(|other| magnitudes[other]).take_while(|&ohm| ohm <= magnitudes[at]).fold(f64::MAX, f64::min)
        };
        let higher_valley = valley(&mut (0..at).rev()).max(valley(&mut (at + 1..=last)));
        magnitudes[at] > PEAK_RATIO * higher_valley && magnitudes[at] > higher_valley + doubt
    };
    let is_top = |at: usize| magnitudes[at - 1] < magnitudes[at] && magnitudes[at] >= magnitudes[at + 1];
    (1..last).filter(|&at| is_top(at) && stands_out(at)).map(|at| refined(curve.hz(), &magnitudes, at)).collect()
}

/// The rated impedance that a lowest |Z| allows; absent below 80 % of the smallest usual one.
pub fn rated_ohm(lowest_ohm: f64) -> Option<f64> {
    // A millionth of slack: 6.4 Ω bear 8 Ω, however they were computed.
    RATED_OHM.into_iter().rfind(|rated| lowest_ohm * (1.0 + 1e-6) >= LEAST_SHARE * rated)
}

/// The top or bottom of the parabola through three points, or the point itself at the ends.
fn refined(hz: &[f64], magnitudes: &[f64], at: usize) -> Extreme {
    let plain = Extreme { hz: hz[at], ohm: magnitudes[at] };
    if at == 0 || at + 1 >= hz.len() || magnitudes[at - 1..=at + 1].iter().any(|ohm| *ohm <= 0.0) {
        return plain;
    }
    let x = [-1, 0, 1].map(|off: i32| (hz[at.wrapping_add_signed(off as isize)] / hz[at]).ln());
    let [shorter, longer] = if -x[0] < x[2] { [-x[0], x[2]] } else { [x[2], -x[0]] };
    if longer > MOST_UNEVEN * shorter {
        return plain;
    }
    let y = [-1, 0, 1].map(|off: i32| magnitudes[at.wrapping_add_signed(off as isize)].ln());
    let [left, right] = [(y[1] - y[0]) / (x[1] - x[0]), (y[2] - y[1]) / (x[2] - x[1])];
    let bend = (right - left) / (x[2] - x[0]);
    if bend == 0.0 {
        return plain;
    }
    // The slope at the middle point, and from there to where it is zero.
    let slope = left + bend * (x[1] - x[0]);
    let off = (-0.5 * slope / bend).clamp(x[0], x[2]);
    Extreme { hz: hz[at] * off.exp(), ohm: (y[1] + off * (slope + bend * off)).exp() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::driver::{DriverModel, Suspension, VoiceCoil};
    use crate::quantity::FrequencyGrid;

    fn curve(fs_hz: f64) -> Impedance {
        let driver = DriverModel {
            re_ohm: 5.6,
            fs_hz,
            qms: 5.0,
            qes: 0.5,
            voice_coil: VoiceCoil::Inductance { le_h: 0.5e-3 },
            suspension: Suspension::Plain,
        };
        let grid = FrequencyGrid::of_octave_fractions([10.0, 20_000.0], 48).unwrap();
        let values = grid.hz().iter().map(|&hz| driver.impedance_ohm(hz)).collect();
        Impedance::new(grid, values).unwrap()
    }

    /// At f_s the motional part is R_e·Q_ms/Q_es and real: |Z| ≈ 5.6·11 Ω.
    #[test]
    fn a_driver_has_one_peak_at_its_resonance_and_a_minimum_above_it() {
        for fs_hz in [38.0, 38.3, 41.0] {
            let curve = curve(fs_hz);
            let found = peaks(&curve);
            assert_eq!(found.len(), 1, "{found:?}");
            // 3e-4: three points of 1.45 % on a resonance of Q 5; the coil moves the top by 1e-4.
            assert!((found[0].hz / fs_hz - 1.0).abs() < 3e-4, "{found:?}");
            assert!((found[0].ohm / 61.6 - 1.0).abs() < 1e-3, "{found:?}");
            let lowest = minimum(&curve);
            assert!((5.6..6.3).contains(&lowest.ohm) && (150.0..700.0).contains(&lowest.hz), "{lowest:?}");
        }
    }

    /// The parabola through 1 Ω, 2 Ω, 1 Ω at 999, 1000 and 2000 Hz has its top at 10⁵² Ω.
    #[test]
    fn a_peak_between_points_of_very_uneven_spacing_is_the_highest_point() {
        let grid = FrequencyGrid::new(vec![500.0, 999.0, 1000.0, 2000.0]).unwrap();
        let values = [1.0, 1.0, 2.0, 1.0].map(num_complex::Complex64::from).to_vec();
        let found = peaks(&Impedance::new(grid, values).unwrap());
        assert_eq!(found, [Extreme { hz: 1000.0, ohm: 2.0 }]);
    }

    #[test]
    fn what_noise_makes_is_no_peak() {
        let flat = |bump: f64, u: f64| {
            let values = [8.0, 8.0, 8.0 + bump, 8.0, 8.0].map(num_complex::Complex64::from).to_vec();
            let grid = FrequencyGrid::new(vec![10.0, 20.0, 30.0, 40.0, 50.0]).unwrap();
            Impedance::new(grid, values).unwrap().with_doubt(vec![u; 5], vec![0.0; 5], None).unwrap()
        };
        assert_eq!(peaks(&flat(1.0, 0.1)).len(), 1);
        assert!(peaks(&flat(1.0, 0.2)).is_empty() && peaks(&flat(0.7, 0.0)).is_empty());
    }

    /// Public summaries of the rule: 8 Ω need 6.4 Ω, 4 Ω need 3.2 Ω.
    #[test]
    fn the_rated_impedance_is_the_largest_whose_80_percent_are_kept() {
        for (lowest, rated) in
            [(6.4, Some(8.0)), (6.39, Some(6.0)), (3.2, Some(4.0)), (3.19, Some(3.0)), (1.59, None), (1e4, Some(300.0))]
        {
            assert_eq!(rated_ohm(lowest), rated, "{lowest}");
        }
    }
}
