//! One model, brought as near to a curve as it goes.

use super::DriverModel;
use super::parameters::{Shape, natural_slopes};
use super::weighting::Weighting;
use crate::impedance::Impedance;
use crate::math::{Effort, Ending, LeastSquares, Linearised, Sensitivity, least_squares};
use num_complex::Complex64;

/// A model at its best.
#[derive(Debug, Clone)]
pub(super) struct Fitted {
    pub(super) shape: Shape,
    pub(super) model: DriverModel,
    /// Its values along the curve.
    pub(super) ohm: Vec<Complex64>,
    /// Σ|r|².
    pub(super) chi_square: f64,
    /// Whether the search ended at a minimum.
    pub(super) ending: Ending,
    found: LeastSquares,
}

/// The model of this shape that comes nearest to the curve, as far as `effort` goes; `None` when no search gets anywhere.
///
/// Of several starts each is followed on some of the points until it is clear where it leads; the best is then searched on all,
/// and so is the second when it may still be the better one.
pub(super) fn fitted(
    curve: &Impedance,
    weighting: &Weighting,
    shape: Shape,
    starts: &[Vec<f64>],
    effort: Effort,
) -> Option<Fitted> {
    let search = |start: &[f64], effort: Effort, step: usize| {
        let found = least_squares(start, effort, |searched| linearised(curve, weighting, shape, searched, step))?;
        let chi_square: f64 = found.linearised.residuals.iter().map(|r| r * r).sum();
        chi_square.is_finite().then_some((chi_square, found))
    };
    let is_possible = |found: &LeastSquares| shape.model(&found.values).is_possible();
    let nearer = |a: &(f64, LeastSquares), b: &(f64, LeastSquares)| a.0.total_cmp(&b.0);
    let step = (curve.hz().len() / SKETCH_POINTS).max(1);
    let mut sketches: Vec<(f64, LeastSquares)> = match starts {
        [_] => Vec::new(),
        several => several.iter().filter_map(|start| search(start, Effort::Coarse, step)).collect(),
    };
    sketches.sort_by(nearer);
    let worth = sketches.first().map_or(0.0, |best| WORTH_A_SEARCH * best.0);
    let apart = |a: &LeastSquares, b: &LeastSquares| a.values.iter().zip(&b.values).any(|(a, b)| (a - b).abs() > APART);
    let second = sketches.iter().skip(1).find(|other| other.0 <= worth && apart(&sketches[0].1, &other.1));
    // Where the best leads to numbers that can't be, the best of those that can.
    let possible = sketches.first().filter(|best| !is_possible(&best.1));
    let possible = possible.and_then(|_| sketches.iter().find(|other| is_possible(&other.1)));
    let ways: Vec<&[f64]> = match sketches.first() {
        Some(best) => {
            [Some(best), second, possible].into_iter().flatten().map(|(_, found)| &found.values[..]).collect()
        }
        None => starts.iter().take(1).map(|start| &start[..]).collect(),
    };
    let mut ends: Vec<(f64, LeastSquares)> = ways.into_iter().filter_map(|way| search(way, effort, 1)).collect();
    ends.sort_by(nearer);
    // A minimum whose numbers can't be is taken only where no other is nearly as good.
    let nearly = ends.first().map_or(0.0, |best| NEARLY_AS_GOOD * best.0);
    let place = ends.iter().position(|(squares, found)| *squares <= nearly && is_possible(found)).unwrap_or(0);
    let (chi_square, found) = ends.into_iter().nth(place)?;
    let model = shape.model(&found.values);
    let ohm = curve.hz().iter().map(|&hz| model.impedance_ohm(hz)).collect();
    Some(Fitted { shape, model, ohm, chi_square, ending: found.ending, found })
}

/// As many points show where a search leads.
const SKETCH_POINTS: usize = 100;
/// A second minimum is searched to its end when it leaves at most this many times the squares of the first,
const WORTH_A_SEARCH: f64 = 1.5;
/// and a number of it lies this far from that of the first, mostly as a logarithm.
const APART: f64 = 0.2;
/// Squares that differ by less tell little between two minima: the spread of χ² of a hundred points.
const NEARLY_AS_GOOD: f64 = 1.1;

/// Residuals √a·(Z_model − Z)/σ of every `step`th point, real and imaginary part in turn, and their slopes.
fn linearised(curve: &Impedance, weighting: &Weighting, shape: Shape, searched: &[f64], step: usize) -> Linearised {
    let model = shape.model(searched);
    let (points, count) = (curve.hz().len().div_ceil(step), searched.len());
    let mut residuals = vec![0.0; 2 * points];
    let mut slopes = vec![0.0; 2 * points * count];
    let mut along = vec![Complex64::ZERO; count];
    for (place, at) in (0..curve.hz().len()).step_by(step).enumerate() {
        let weight = weighting.share[at].sqrt() / weighting.sigma_ohm[at];
        let off = weight * (shape.impedance_ohm(&model, curve.hz()[at], &mut along) - curve.values()[at]);
        (residuals[2 * place], residuals[2 * place + 1]) = (off.re, off.im);
        for (number, slope) in along.iter().enumerate() {
            let row = 2 * points * number + 2 * place;
            (slopes[row], slopes[row + 1]) = (weight * slope.re, weight * slope.im);
        }
    }
    Linearised { residuals, slopes }
}

impl Fitted {
    /// The searched numbers.
    pub(super) fn searched(&self) -> &[f64] {
        &self.found.values
    }

    /// Root mean square of what it leaves, in percent of |Z|.
    pub(super) fn residual_percent(&self, curve: &Impedance) -> f64 {
        let squares = self.ohm.iter().zip(curve.values()).map(|(model, z)| ((model - z) / z).norm_sqr());
        100.0 * (squares.sum::<f64>() / self.ohm.len() as f64).sqrt()
    }

    /// What it leaves over σ, a complex number a point.
    pub(super) fn residuals(&self, curve: &Impedance, weighting: &Weighting) -> Vec<Complex64> {
        let off = self.ohm.iter().zip(curve.values()).map(|(model, z)| model - z);
        off.zip(&weighting.sigma_ohm).map(|(off, sigma)| off / sigma).collect()
    }

    /// Covariance of its numbers in SI for noise of σ: that of the searched numbers, carried over.
    pub(super) fn covariance(&self) -> Option<Vec<Vec<f64>>> {
        let slopes = natural_slopes(&self.model);
        let searched = Sensitivity::new(&self.found.linearised, slopes.len())?.covariance;
        let carried = |row: usize| (0..slopes.len()).map(|k| searched[row][k] * slopes[row] * slopes[k]).collect();
        Some((0..slopes.len()).map(carried).collect())
    }

    /// By how much its numbers in SI move when every point moves by `shift_ohm`.
    pub(super) fn moved(&self, shift_ohm: &[Complex64], weighting: &Weighting) -> Option<Vec<f64>> {
        let slopes = natural_slopes(&self.model);
        let residuals: Vec<f64> = shift_ohm
            .iter()
            .enumerate()
            .flat_map(|(at, shift)| {
                let off = weighting.share[at].sqrt() / weighting.sigma_ohm[at] * shift;
                [off.re, off.im]
            })
            .collect();
        let searched = Sensitivity::new(&self.found.linearised, slopes.len())?.shift(&residuals);
        Some(searched.iter().zip(&slopes).map(|(shift, slope)| shift * slope).collect())
    }
}
