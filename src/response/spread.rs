//! How far the repeats lie apart: the other witness of the uncertainty.
//!
//! ```text
//! u²(f) = Σ_k |H_k(f) − H(f)|² / (2·K·(K − 1))
//! ```
//!
//! H_k: response from repeat k alone, H: their mean. For each of real and imaginary part, of the mean of K. Few repeats
//! say little at one frequency, so the spread is averaged over neighbouring points. It holds all that the silences can't
//! tell: a voice coil that warms up, a door that moves, a noise that comes with the sweep.
//! Source: JCGM 100:2008 (GUM), section 4.2 (type A evaluation).

use super::frequency::{FrequencyResponse, GatedResponse};
use super::gate::Gate;
use super::hearing::Heard;
use crate::math::{mean_around, of_each};

/// Points to each side over which the spread is averaged, a third of an octave in all.
const REACH: usize = 8;
/// Silence and spread disagree when the spread's power is at least this much larger over an octave …
const DISAGREE_POWER_RATIO: f64 = 2.0;
/// … and more than what chance does: this quantile of χ², as so many standard deviations of a normal value …
const CHANCE: f64 = 4.5;
/// … above a noise that the silences tell to a third in the bass.
const NOISE_TOLD_RATIO: f64 = 1.3;
const POINTS_OF_AN_OCTAVE: usize = 48;
/// Independent values of an octave that count, on a logarithmic grid.
const LOGARITHMIC_SHARE: f64 = 0.7;

/// Where the repeats disagree more than the noise explains.
#[derive(Debug, Clone, PartialEq)]
pub struct Disagreement {
    /// From the first to the last octave in which they do.
    pub band_hz: [f64; 2],
    /// Spread over noise there, as amplitudes.
    pub times: f64,
    /// The largest standard uncertainty of a level that it makes there.
    pub most_u_db: f64,
}

/// Puts the repeats' spread into `response` where it is larger than the noise; says where the two disagree.
pub(super) fn widen_by_spread(
    response: &mut FrequencyResponse,
    heard: &Heard,
    gated: &GatedResponse,
    arrival_frames: f64,
    gate: Gate,
) -> Option<Disagreement> {
    let repeats = heard.repeats.pieces.len();
    if repeats < 2 {
        return None;
    }
    let hz = response.grid.hz().to_vec();
    let single = |index: &usize| -> Vec<num_complex::Complex64> {
        let impulse = heard.impulse_of_repeat(*index);
        let gated = gated.of_another(&impulse, arrival_frames, gate, heard.deconvolution.rate_hz());
        hz.iter().map(|&hz| gated.at(hz)).collect()
    };
    let indices: Vec<usize> = (0..repeats).collect();
    let singles = of_each(&indices, single);
    let count = repeats as f64;
    let spread: Vec<f64> = (0..hz.len())
        .map(|point| {
            let mean = singles.iter().map(|single| single[point]).sum::<num_complex::Complex64>() / count;
            let squares: f64 = singles.iter().map(|single| (single[point] - mean).norm_sqr()).sum();
            squares / (2.0 * count * (count - 1.0))
        })
        .collect();
    let spread = mean_around(&spread, |_| REACH);
    let noise: Vec<f64> = response.u_ratio.iter().map(|u| u * u).collect();
    let ratios: Vec<f64> = spread.iter().zip(&noise).map(|(spread, noise)| spread / noise).collect();
    let over: Vec<(usize, f64)> = ratios
        .chunks(POINTS_OF_AN_OCTAVE)
        .enumerate()
        .filter(|(_, octave)| octave.len() >= POINTS_OF_AN_OCTAVE / 2)
        .map(|(index, octave)| {
            let first = index * POINTS_OF_AN_OCTAVE;
            let cells =
                (hz[first + octave.len() - 1] - hz[first]) * gate.noise_frames() / heard.deconvolution.rate_hz();
            let mean = octave.iter().sum::<f64>() / octave.len() as f64;
            (index, mean / disagreement_ratio(cells, count))
        })
        .filter(|(_, times)| *times > 1.0)
        .collect();
    let [lowest, highest] = [over.first()?.0, over.last()?.0];
    let worst = over.into_iter().fold((0, 0.0), |a, b| if b.1 > a.1 { b } else { a });
    for ((u, spread), noise) in response.u_ratio.iter_mut().zip(&spread).zip(&noise) {
        *u = spread.max(*noise).sqrt();
    }
    let first = worst.0 * POINTS_OF_AN_OCTAVE;
    let last = (first + POINTS_OF_AN_OCTAVE).min(hz.len()) - 1;
    let power = ratios[first..=last].iter().sum::<f64>() / (last - first + 1) as f64;
    let end = ((highest + 1) * POINTS_OF_AN_OCTAVE).min(hz.len()) - 1;
    let first = lowest * POINTS_OF_AN_OCTAVE;
    let most_u_db = response.u_db()[first..=end].iter().copied().fold(0.0, f64::max);
    Some(Disagreement { band_hz: [hz[first], hz[end]], times: power.sqrt(), most_u_db })
}

/// The ratio of spread to noise that chance does not reach, for so many independent values in an octave: each gives two
/// degrees of freedom for every repeat but one, and χ²/n of n degrees has the quantile `(1 − 2/(9n) + z·√(2/(9n)))³`. On a logarithmic grid the
/// lower half of an octave weighs more, and holds fewer values.
/// Source of the quantile: E. B. Wilson, M. M. Hilferty, "The Distribution of Chi-Square", Proc. Natl. Acad. Sci. 17 (1931) 684–688.
fn disagreement_ratio(cells: f64, repeats: f64) -> f64 {
    let degrees = 2.0 * (LOGARITHMIC_SHARE * cells).max(1.0) * (repeats - 1.0);
    let ninth = 2.0 / (9.0 * degrees);
    (NOISE_TOLD_RATIO * (1.0 - ninth + CHANCE * ninth.sqrt()).powi(3)).max(DISAGREE_POWER_RATIO)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sums of squares of normal values, drawn: none of a thousand octaves of ten cells and two repeats passes.
    #[test]
    fn chance_alone_is_no_disagreement() {
        let mut random = crate::math::Random::new(12);
        let limit = disagreement_ratio(10.0, 2.0);
        for _ in 0..1_000 {
            let mean = (0..20).map(|_| random.normal().powi(2)).sum::<f64>() / 20.0;
            assert!(mean < limit, "{mean} {limit}");
        }
        // A level that moves by as much as the noise, in all cells, is seen with many repeats.
        assert_eq!(disagreement_ratio(1e6, 8.0), DISAGREE_POWER_RATIO);
    }
}
