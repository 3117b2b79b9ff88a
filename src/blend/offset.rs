//! What a response with both playing tells of how they stand to each other: delay, level, polarity.
//!
//! ```text
//! M = α·A·e^{−jωt₁} + β·B·e^{−jωt₂}
//! delay of the subwoofer = t₂ − t₁    gain = 20·log₁₀|β/α|    polarity: the sign of β/α
//! ```
//!
//! The model and how its numbers are found: `both_playing.rs`. The sign is decided where the other one leaves so much more that
//! chance would not have it so (a ratio of likelihoods of e^{-9/2}, three standard deviations). Doubts come from what is left,
//! with as many independent points as the curves' resolution allows.
//! Derivation: linear least squares; the statistics are those of JCGM 100:2008 (GUM).

use super::both_playing::{BothPlaying, Fitted, TimeRange, Weighted};
use std::f64::consts::LN_10;

/// What is known of the polarity beforehand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PolarityKnown {
    /// It is as expected.
    Same,
    /// It may be either.
    No,
}

/// How they stand to each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offset {
    /// By how much the subwoofer comes later than expected, s.
    pub delay_s: f64,
    /// Its standard uncertainty.
    pub u_delay_s: f64,
    /// How much louder it is than expected, dB.
    pub gain_db: f64,
    /// Its standard uncertainty.
    pub u_gain_db: f64,
    /// Its polarity against what was expected.
    pub polarity: PolarityTold,
    /// t₁, s.
    pub zero_s: f64,
    /// α.
    pub level_ratio: f64,
    /// What is left, rms of |M − model| over |A| + |B|.
    pub left_ratio: f64,
}

/// What the phases tell of the polarity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PolarityTold {
    /// As expected.
    Same,
    /// The other one.
    Opposite,
    /// Either would do, with a delay to suit.
    Undecided,
}

/// Twice the logarithm of the likelihoods' ratio that decides the polarity.
const DECIDES: f64 = 9.0;
/// Fewer points than this tell nothing of four numbers.
const LEAST_POINTS: usize = 12;

/// How satellite and subwoofer stand to each other. `None` where the curves do not tell: too few points, or one of them silent.
pub fn offset(curves: &BothPlaying<'_>, range: TimeRange, known: PolarityKnown) -> Option<Offset> {
    if curves.hz.len() < LEAST_POINTS {
        return None;
    }
    let curves = Weighted::of(curves);
    let fitted = |sign: f64| curves.improved(curves.scanned(range, sign)?);
    let straight = fitted(1.0);
    let reversed = if known == PolarityKnown::No { fitted(-1.0) } else { None };
    let independent = curves.independent.max(5.0);
    let freedom = 2.0 * independent - 4.0;
    let (best, other) = match (straight, reversed) {
        (Some(straight), Some(reversed)) if reversed.squares < straight.squares => (reversed, Some(straight)),
        (Some(straight), reversed) => (straight, reversed),
        (None, reversed) => (reversed?, None),
    };
    // Exact curves leave nothing at all; a rounding of a double keeps the ratio a number.
    let apart = |other: &Fitted| freedom * ((other.squares + 1e-24) / (best.squares + 1e-24)).ln();
    let is_decided = other.as_ref().is_none_or(|other| apart(other) > DECIDES);
    let polarity = match (is_decided, best.values[3] > 0.0) {
        (false, _) => PolarityTold::Undecided,
        (true, true) => PolarityTold::Same,
        (true, false) => PolarityTold::Opposite,
    };
    // Neighbours that say the same are too many in the squares and, by the same ratio, in JᵀJ: it drops out.
    let variance = best.squares / freedom;
    let [t1, t2, alpha, beta] = best.values;
    let covariance = |a: usize, b: usize| best.covariance[a][b] * variance;
    let u_delay_s = (covariance(0, 0) + covariance(1, 1) - 2.0 * covariance(0, 1)).max(0.0).sqrt();
    let per_alpha = covariance(2, 2) / (alpha * alpha);
    let per_beta = covariance(3, 3) / (beta * beta);
    let u_ratio = (per_alpha + per_beta - 2.0 * covariance(2, 3) / (alpha * beta)).max(0.0).sqrt();
    let decibels = 20.0 / LN_10;
    Some(Offset {
        delay_s: t2 - t1,
        u_delay_s,
        gain_db: decibels * (beta / alpha).abs().ln(),
        u_gain_db: decibels * u_ratio,
        polarity,
        zero_s: t1,
        level_ratio: alpha,
        left_ratio: (best.squares / curves.hz.len() as f64).sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::both_playing::{Stand, left_with};
    use super::*;
    use crate::blend::crossover::{Passes, Shape};
    use crate::math::Random;
    use num_complex::Complex64;
    use std::f64::consts::TAU;

    struct Made {
        hz: Vec<f64>,
        satellite: Vec<Complex64>,
        subwoofer: Vec<Complex64>,
    }

    /// An ideal fourth-order Linkwitz-Riley pair at 80 Hz: levels alone say nothing of small delays there.
    fn made() -> Made {
        let hz: Vec<f64> = (0..145).map(|n| 40.0 * 2f64.powf(f64::from(n) / 48.0)).collect();
        let value = |passes| hz.iter().map(|hz| Shape::LinkwitzRiley(4).value(passes, hz / 80.0)).collect();
        Made { satellite: value(Passes::High), subwoofer: value(Passes::Low), hz }
    }

    const RANGE: TimeRange = TimeRange { zero_s: 0.03, between_s: 0.02 };

    fn with(made: &Made, zero_s: f64, delay_s: f64, sign: f64, noise: f64) -> (Offset, f64) {
        let mut random = Random::new(9);
        let measured: Vec<Complex64> = (0..made.hz.len())
            .map(|at| {
                let late = |time_s: f64| Complex64::cis(-TAU * made.hz[at] * time_s);
                let clean =
                    0.5 * late(zero_s) * made.satellite[at] + sign * 0.6 * late(zero_s + delay_s) * made.subwoofer[at];
                clean + noise * Complex64::new(random.normal(), random.normal())
            })
            .collect();
        let curves = BothPlaying {
            hz: &made.hz,
            satellite: &made.satellite,
            subwoofer: &made.subwoofer,
            measured: &measured,
            resolution_hz: 0.5,
        };
        (offset(&curves, RANGE, PolarityKnown::No).unwrap(), left_with(&curves, Stand::EXPECTED, RANGE))
    }

    #[test]
    fn a_known_delay_and_a_wrong_polarity_are_told() {
        let made = made();
        for (zero_s, delay_s, sign) in
            [(0.0, 0.0, 1.0), (0.0123, 1.9e-3, 1.0), (-0.02, -3.21e-3, -1.0), (0.0, 8.4e-3, -1.0)]
        {
            let (found, _) = with(&made, zero_s, delay_s, sign, 0.0);
            // 1e-7 s: what the least squares leave.
            assert!((found.delay_s - delay_s).abs() < 1e-7 && (found.zero_s - zero_s).abs() < 1e-7, "{found:?}");
            assert_eq!(
                found.polarity,
                if sign > 0.0 { PolarityTold::Same } else { PolarityTold::Opposite },
                "{found:?}"
            );
            assert!((found.gain_db - 20.0 * 1.2f64.log10()).abs() < 1e-5 && (found.level_ratio - 0.5).abs() < 1e-6);
            assert!(found.left_ratio < 1e-6);
        }
        // As expected but for level and zero of time: nothing is left; 2 ms late: something is.
        assert!(with(&made, 0.01, 2e-3, 1.0, 0.0).1 > 0.02);
    }

    /// Chance: 300 takes with a noise of 2 %; a share within ± 2u of 0.95 has a standard deviation of 0.013.
    #[test]
    fn the_doubt_covers_as_often_as_it_claims() {
        let made = made();
        let (mut delays, mut gains) = (0, 0);
        let mut random = Random::new(77);
        for _ in 0..300 {
            let measured: Vec<Complex64> = (0..made.hz.len())
                .map(|at| {
                    let late = Complex64::cis(-TAU * made.hz[at] * 1.3e-3);
                    let noise = Complex64::new(random.normal(), random.normal());
                    made.satellite[at] + late * made.subwoofer[at] + 0.02 * noise
                })
                .collect();
            let curves = BothPlaying {
                hz: &made.hz,
                satellite: &made.satellite,
                subwoofer: &made.subwoofer,
                measured: &measured,
                resolution_hz: 0.0,
            };
            let found = offset(&curves, TimeRange { zero_s: 1e-3, between_s: 4e-3 }, PolarityKnown::No).unwrap();
            delays += i32::from((found.delay_s - 1.3e-3).abs() < 2.0 * found.u_delay_s);
            gains += i32::from(found.gain_db.abs() < 2.0 * found.u_gain_db);
            assert_eq!(found.polarity, PolarityTold::Same);
        }
        // 0.915 to 0.985: 2.7 standard deviations.
        assert!((275..=296).contains(&delays) && (275..=296).contains(&gains), "{delays} {gains}");
    }

    #[test]
    fn where_the_other_polarity_fits_as_well_nothing_is_decided() {
        // Only a third of an octave: half a period of delay looks like the other polarity.
        let whole = made();
        let cut = |column: &[Complex64]| column[40..56].to_vec();
        let made =
            Made { hz: whole.hz[40..56].to_vec(), satellite: cut(&whole.satellite), subwoofer: cut(&whole.subwoofer) };
        assert_eq!(with(&made, 0.0, 1e-3, 1.0, 0.05).0.polarity, PolarityTold::Undecided);
    }
}
