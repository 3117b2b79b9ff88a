//! Group delay, minimum phase and what is left of the phase when that is taken off.
//!
//! ```text
//! τ_g = −dφ/dω        φ = φ_min + φ_ex        φ_min: from the level alone (`math/bode.rs`)
//! |H|⁻² = Σ_k c_k·x^k   k = −2 … n        x = (f/f_end)² above the band, (f_end/f)² below it
//! ```
//!
//! φ_min belongs to the level at all frequencies, and outside the band there is none: it has to go on as it seems to. Where
//! a sum of powers with the smallest final slope n fits the band's last octaves, as it does every filter of poles, the
//! level follows that sum; where none fits it goes on with the slope of its last octave. How far the phase moves when
//! it falls 12 dB an octave steeper after an octave, or when half of those octaves are asked, is the doubt, largest near the ends.
//! Group delay is a central difference of the response itself over 2 ppm, so that nothing has to be unwrapped.
//! The extension is ours, because cutting the integral at the ends of the band is wrong by tens of degrees there.

use crate::math::{bode_phase_rad, weighted_plane};
use num_complex::Complex64;
use std::f64::consts::{LN_2, TAU};

/// Phase of a response, taken apart, at each frequency of its grid.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Phases {
    /// τ_g, s, after the arrival.
    pub group_delay_s: Vec<f64>,
    /// Its standard uncertainty, s, from the noise of the response over the gate's own width.
    pub u_group_delay_s: Vec<f64>,
    /// φ_min, rad.
    pub minimum_rad: Vec<f64>,
    /// What the way in which the level goes on outside the band leaves in doubt, rad.
    pub u_minimum_rad: Vec<f64>,
    /// φ_ex, rad, unwrapped, within half a turn of 0 in the middle.
    pub excess_rad: Vec<f64>,
    /// −dφ_ex/dω, s.
    pub excess_delay_s: Vec<f64>,
}

/// Steps of the integral, in each octave: the chords of a resonance of Q = 10 are then wrong by 0.02°.
const STEPS: usize = 192;
/// The ends of the band that tell how it goes on.
const END_OCTAVES: f64 = 1.5;
/// How far the level is drawn on; beyond, its slope is constant.
const FAR_OCTAVES: usize = 10;
/// Powers of x that die away outwards.
const DYING: i32 = 2;
/// 12 dB an octave.
const SOONER: f64 = 2.0;
/// 24 dB an octave: a vented box.
const STEEPEST: i32 = 4;
/// The sum counts as fitting when it leaves less than this of the power, a ten-thousandth of a decibel: a sum that only nearly fits ripples or noise
/// goes astray outside.
const FITS: f64 = 3e-5;
/// A steeper one must leave less than this share …
const BETTER: f64 = 0.3;
/// … and is not asked for below this, which is rounding.
const EXACT: f64 = 1e-6;
/// Half of the difference of a slope.
const NUDGE: f64 = 1e-6;

/// The phases of `response` on `hz` within `band_hz`; `u_rad` is the doubt of its phase, `width_hz` how far apart two frequencies are
/// whose noise is independent.
pub(super) fn phases(
    hz: &[f64],
    band_hz: [f64; 2],
    u_rad: &[f64],
    width_hz: f64,
    response: impl Fn(f64) -> Complex64,
) -> Phases {
    let minimum = Minimum::of(band_hz, |hz| response(hz).norm());
    let delay = |hz: f64| {
        let turned = (response(hz * (1.0 + NUDGE)) * response(hz * (1.0 - NUDGE)).conj()).arg();
        -turned / (2.0 * NUDGE * TAU * hz)
    };
    let group_delay_s: Vec<f64> = hz.iter().map(|&hz| delay(hz)).collect();
    let minimum_rad: Vec<f64> = hz.iter().map(|&hz| minimum.at(hz)).collect();
    let left = hz.iter().zip(&minimum_rad).map(|(&hz, minimum)| (response(hz) * Complex64::cis(-minimum)).arg());
    let excess_rad = from_the_middle(crate::math::unwrapped(left));
    let excess_delay_s = hz.iter().zip(&group_delay_s).map(|(&hz, delay)| delay - minimum.delay_at(hz)).collect();
    Phases {
        // Phases that are independent one width apart: their difference over it.
        u_group_delay_s: u_rad.iter().map(|u| u * std::f64::consts::SQRT_2 / (TAU * width_hz)).collect(),
        u_minimum_rad: hz.iter().map(|&hz| minimum.doubt_at(hz)).collect(),
        group_delay_s,
        minimum_rad,
        excess_rad,
        excess_delay_s,
    }
}

/// Moved by whole turns so that the middle lies within half a turn of 0.
fn from_the_middle(mut phase_rad: Vec<f64>) -> Vec<f64> {
    let turns = phase_rad.get(phase_rad.len() / 2).map_or(0.0, |middle| (middle / TAU).round());
    phase_rad.iter_mut().for_each(|phase| *phase -= TAU * turns);
    phase_rad
}

/// φ_min on a fine grid.
struct Minimum {
    first_ln: f64,
    step: f64,
    phase_rad: Vec<f64>,
    doubt_rad: Vec<f64>,
}

impl Minimum {
    fn of(band_hz: [f64; 2], magnitude: impl Fn(f64) -> f64) -> Self {
        let first_ln = band_hz[0].ln();
        let steps = (((band_hz[1].ln() - first_ln) / LN_2 * STEPS as f64).ceil() as usize).max(8);
        let step = (band_hz[1].ln() - first_ln) / steps as f64;
        let levels: Vec<f64> =
            (0..=steps).map(|n| magnitude((first_ln + step * n as f64).exp()).max(f64::MIN_POSITIVE).ln()).collect();
        let reversed: Vec<f64> = levels.iter().rev().copied().collect();
        let with = |below: Ends, above: Ends| {
            let (below, above) = (tail(&reversed, step, below), tail(&levels, step, above));
            let all: Vec<f64> = below.levels.iter().rev().chain(&levels).chain(&above.levels).copied().collect();
            let from = below.levels.len();
            bode_phase_rad(&all, step, [-below.slope, above.slope], from..from + levels.len())
        };
        let phase_rad = with(Ends::Likely, Ends::Likely);
        let others = [Ends::Shorter, Ends::Sooner];
        let below = others.map(|end| with(end, Ends::Likely));
        let above = others.map(|end| with(Ends::Likely, end));
        // What either end leaves in doubt, and both.
        let doubt_rad = (0..phase_rad.len())
            .map(|at| {
                let off = |other: &Vec<f64>| (other[at] - phase_rad[at]).abs();
                let most = |others: &[Vec<f64>; 2]| others.iter().map(off).fold(0.0, f64::max);
                most(&below).hypot(most(&above))
            })
            .collect();
        Self { first_ln, step, phase_rad, doubt_rad }
    }

    fn read(&self, column: &[f64], hz: f64) -> f64 {
        let place = ((hz.ln() - self.first_ln) / self.step).clamp(0.0, (column.len() - 1) as f64);
        let below = (place.floor() as usize).min(column.len() - 2);
        column[below] + (place - below as f64) * (column[below + 1] - column[below])
    }

    fn at(&self, hz: f64) -> f64 {
        self.read(&self.phase_rad, hz)
    }

    fn doubt_at(&self, hz: f64) -> f64 {
        self.read(&self.doubt_rad, hz)
    }

    /// −dφ_min/dω by the difference over two steps.
    fn delay_at(&self, hz: f64) -> f64 {
        let last_ln = self.first_ln + self.step * (self.phase_rad.len() - 1) as f64;
        let [from, to] = [-1.0, 1.0].map(|side| (hz.ln() + side * self.step).clamp(self.first_ln, last_ln));
        -(self.at(to.exp()) - self.at(from.exp())) / (to - from) / (TAU * hz)
    }
}

/// How a level goes on beyond the last of its points: ln magnitudes, and the slope after those, per ln f.
struct Tail {
    levels: Vec<f64>,
    slope: f64,
}

#[derive(Clone, Copy)]
enum Ends {
    /// As the last octaves say, by a sum of powers if one fits, else with the slope of the last octave.
    Likely,
    /// The same as half of that says.
    Shorter,
    /// The same for an octave, and then 12 dB an octave steeper: a loudspeaker falls sooner or later. Where a sum of powers fits there is no other way.
    Sooner,
}

fn tail(levels: &[f64], step: f64, ends: Ends) -> Tail {
    let points = |octaves: f64| ((octaves * LN_2 / step) as usize).clamp(4, levels.len());
    let octave = (LN_2 / step) as usize;
    let far = FAR_OCTAVES * octave;
    let last = levels[levels.len() - 1];
    let octaves = match ends {
        Ends::Likely | Ends::Sooner => END_OCTAVES,
        Ends::Shorter => 0.5 * END_OCTAVES,
    };
    let seen = &levels[levels.len() - points(octaves)..];
    if let Some(sum) = sum_of_powers(seen, step) {
        let levels = (1..=far).map(|n| last - 0.5 * (sum.at(2.0 * step * n as f64) / sum.at(0.0)).ln()).collect();
        return Tail { levels, slope: -f64::from(sum.highest) };
    }
    let near = points(octaves / END_OCTAVES);
    // Outwards nothing rises for ever, and nothing falls faster than the steepest.
    let slope = ((last - levels[levels.len() - near]) / (step * (near - 1) as f64)).clamp(-f64::from(STEEPEST), 0.0);
    let later = match ends {
        Ends::Likely | Ends::Shorter => slope,
        Ends::Sooner => (slope - SOONER).max(-f64::from(STEEPEST)),
    };
    let level = |n: usize| last + step * (slope * n.min(octave) as f64 + later * n.saturating_sub(octave) as f64);
    Tail { levels: (1..=far).map(level).collect(), slope: later }
}

/// |H|⁻² over powers of x, relative to its value at the end.
struct SumOfPowers {
    coefficients: Vec<f64>,
    highest: i32,
}

impl SumOfPowers {
    fn at(&self, ln_x: f64) -> f64 {
        (-DYING..).zip(&self.coefficients).map(|(power, c)| c * (f64::from(power) * ln_x).exp()).sum()
    }
}

/// The sum with the smallest final slope that fits; the last of `levels` lies at x = 1.
fn sum_of_powers(levels: &[f64], step: f64) -> Option<SumOfPowers> {
    let last = levels[levels.len() - 1];
    let ln_x: Vec<f64> = (0..levels.len()).map(|n| 2.0 * step * (n as f64 - (levels.len() - 1) as f64)).collect();
    let powers: Vec<f64> = levels.iter().map(|level| (2.0 * (level - last)).exp()).collect();
    let mut best: Option<(SumOfPowers, f64)> = None;
    for highest in 0..=STEEPEST {
        // Each power times |H|², so that relative errors count.
        let row = |(ln_x, p): (&f64, &f64)| {
            ((-DYING..=highest).map(|power| (f64::from(power) * ln_x).exp() * p).collect(), 1.0, 1.0)
        };
        let rows: Vec<(Vec<f64>, f64, f64)> = ln_x.iter().zip(&powers).map(row).collect();
        let Some(fit) = weighted_plane(&rows) else { continue };
        let (sum, left) = (SumOfPowers { coefficients: fit.values, highest }, fit.residual_ratio.sqrt());
        let is_positive = (0..=FAR_OCTAVES * 8).all(|n| sum.at(0.25 * LN_2 * n as f64) > 0.0);
        let counts = best.as_ref().is_none_or(|(_, so_far)| *so_far > EXACT && left < BETTER * so_far);
        if is_positive && counts {
            best = Some((sum, left));
        }
    }
    best.filter(|(_, left)| *left < FITS).map(|(sum, _)| sum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::FrequencyGrid;
    use std::f64::consts::PI;

    const BAND_HZ: [f64; 2] = [20.0, 20_000.0];

    /// A filter by its zeros at 0 and its poles, Hz.
    struct Filter {
        zeros: i32,
        poles: Vec<Complex64>,
    }

    impl Filter {
        /// Poles of a Butterworth filter lie evenly on a circle.
        fn butterworth(order: u32, hz: f64, zeros: i32) -> Self {
            let pole = |k: u32| hz * Complex64::cis(PI * (0.5 + (f64::from(k) + 0.5) / f64::from(order)));
            Self { zeros, poles: (0..order).map(pole).collect() }
        }

        fn second_order(hz: f64, q: f64, zeros: i32) -> Self {
            let (re, im) = (-hz / (2.0 * q), hz * Complex64::from(1.0 - 1.0 / (4.0 * q * q)).sqrt());
            Self { zeros, poles: vec![re + Complex64::I * im, re - Complex64::I * im] }
        }

        fn and(mut self, other: Self) -> Self {
            self.zeros += other.zeros;
            self.poles.extend(other.poles);
            self
        }

        fn at(&self, hz: f64) -> Complex64 {
            let s = Complex64::I * hz;
            let poles = self.poles.iter().map(|pole| s - pole).product::<Complex64>();
            (s / 1_000.0).powi(self.zeros) / (poles / 1_000f64.powi(self.poles.len() as i32))
        }

        /// −dφ/dω = Σ −Re p/|iω − p|²; a zero at 0 adds nothing.
        fn group_delay_s(&self, hz: f64) -> f64 {
            self.poles.iter().map(|pole| -pole.re / (Complex64::I * hz - pole).norm_sqr()).sum::<f64>() / TAU
        }
    }

    fn filters() -> Vec<(&'static str, Filter)> {
        let butterworth = Filter::butterworth;
        vec![
            ("Butterworth high-pass 2, 60 Hz", butterworth(2, 60.0, 2)),
            ("Butterworth high-pass 4, 25 Hz", butterworth(4, 25.0, 4)),
            ("Butterworth low-pass 3, 3 kHz", butterworth(3, 3_000.0, 0)),
            ("Butterworth low-pass 2, 15 kHz", butterworth(2, 15_000.0, 0)),
            ("Linkwitz-Riley low-pass 4, 1 kHz", butterworth(2, 1e3, 0).and(butterworth(2, 1e3, 0))),
            ("band-pass of Q 0.5", Filter::second_order(1e3, 0.5, 1)),
            ("band-pass of Q 10", Filter::second_order(1e3, 10.0, 1)),
            ("closed box with a treble end", Filter::second_order(90.0, 1.1, 2).and(butterworth(2, 18e3, 0))),
        ]
    }

    /// All are minimum phase, with poles on the left and zeros at 0: phase and delay in closed form.
    #[test]
    fn filters_in_closed_form_have_their_phase_within_a_tenth_of_a_degree_and_no_excess() {
        let grid = FrequencyGrid::of_octave_fractions(BAND_HZ, 48).unwrap();
        for (name, filter) in filters() {
            let found = phases(grid.hz(), BAND_HZ, &vec![1e-6; grid.hz().len()], 10.0, |hz| filter.at(hz));
            let (mut worst_deg, mut worst_share): (f64, f64) = (0.0, 0.0);
            for (n, &hz) in grid.hz().iter().enumerate() {
                let off = Complex64::cis(found.minimum_rad[n]) * filter.at(hz).conj();
                worst_deg = worst_deg.max(off.arg().to_degrees().abs());
                let delay = filter.group_delay_s(hz);
                // Against the larger of the delay and a degree in an octave.
                let share = (found.group_delay_s[n] - delay).abs() / delay.max(1.0 / (360.0 * hz));
                worst_share = worst_share.max(share);
                // 1 % and 1.5° in a turn: the difference goes over two steps of 1/192 octave.
                assert!(found.excess_delay_s[n].abs() < 0.01 * delay + 1.5 / (360.0 * hz), "{name} {hz}");
                assert!(found.excess_rad[n].to_degrees().abs() < 0.1 && found.u_minimum_rad[n] < 1e-3, "{name} {hz}");
            }
            // 0.1° asked for; 1e-6 for a difference over 2 ppm in double precision.
            assert!(worst_deg < 0.1, "{name}: {worst_deg}");
            assert!(worst_share < 1e-6, "{name}: {worst_share:e}");
        }
    }

    /// An all-pass of second order turns by 360° more than its level, which is flat, has a right to; a delay by 360°·f·τ.
    #[test]
    fn what_is_not_minimum_phase_is_left_over() {
        let (hz_0, q, delay_s) = (800.0, 0.7, 20e-6);
        let all_pass = |hz: f64| {
            let below = Complex64::new(1.0 - (hz / hz_0).powi(2), hz / hz_0 / q);
            below.conj() / below * Complex64::cis(-TAU * hz * delay_s)
        };
        let grid = FrequencyGrid::of_octave_fractions(BAND_HZ, 48).unwrap();
        let found = phases(grid.hz(), BAND_HZ, &vec![0.01; grid.hz().len()], 10.0, all_pass);
        for (n, &hz) in grid.hz().iter().enumerate() {
            let expected = -2.0 * (hz / hz_0 / q).atan2(1.0 - (hz / hz_0).powi(2)) - TAU * hz * delay_s;
            let turns = ((found.excess_rad[n] - expected) / TAU).round();
            // 1e-6: a flat level has no phase at all.
            assert!(
                (found.excess_rad[n] - expected - TAU * turns).abs() < 1e-6 && found.minimum_rad[n].abs() < 1e-9,
                "{hz}"
            );
            assert!((found.excess_delay_s[n] - found.group_delay_s[n]).abs() < 1e-12);
            // Two phases of 0.01 rad, 10 Hz apart: √2·0.01/(2π·10).
            assert!((found.u_group_delay_s[n] - 2.2508e-4).abs() < 1e-8);
        }
    }

    /// A band that ends in the middle of a slope and ripples: no sum of powers fits, and the doubt says so. The ripples' own phase
    /// is that of a sine on log f, turned by 90° and a little smaller: 0.08 dB are 0.5°.
    #[test]
    fn where_the_ends_are_rough_there_is_doubt() {
        let smooth = Filter::second_order(300.0, 0.8, 2);
        let rough = |hz: f64| smooth.at(hz) * 10f64.powf(0.004 * (9.0 * hz.ln()).sin());
        let grid = FrequencyGrid::of_octave_fractions([250.0, 15e3], 48).unwrap();
        let found = phases(grid.hz(), [250.0, 15e3], &vec![1e-3; grid.hz().len()], 10.0, rough);
        assert!(found.u_minimum_rad[0] > 0.01, "{}", found.u_minimum_rad[0]);
        for (n, &hz) in grid.hz().iter().enumerate().skip(48) {
            let off = (Complex64::cis(found.minimum_rad[n]) * smooth.at(hz).conj()).arg().abs();
            assert!(off < 0.02 + 2.0 * found.u_minimum_rad[n], "{hz}: {off} {}", found.u_minimum_rad[n]);
        }
    }
}
