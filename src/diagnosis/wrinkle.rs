//! Narrow resonances in what a model leaves: walls that ring, air that stands in waves.
//!
//! ```text
//! w(f) = A/(1 + jQ·(f/f₀ − f₀/f))        t² = |⟨w′, r⟩|²/(⟨w′, w′⟩·ĉ)        ⟨a, b⟩ = Σ sᵢ·a*ᵢ·bᵢ/σᵢ²
//! ```
//!
//! r: what the model leaves, ohm; w′: the shape w less the parabola over log f that is nearest to it, so that a smooth
//! error of the model counts for nothing; σᵢ: noise of real and imaginary part; sᵢ: how much a point counts
//! (`driver/weighting.rs`); ĉ: how much larger than noise the rest of the window is, by its median. For noise alone t²
//! is distributed as χ² of two numbers, `P(t² > T) = e^(−T/2)`. A curve of ten octaves holds some [`TRIALS`]
//! independent places and widths; `t² > 2·ln(TRIALS·CURVES)` is passed by chance in one clean curve of a thousand.
//! Source: the matched filter, G. L. Turin, IRE Transactions on Information Theory 6 (1960) 311–329.

use crate::driver::shares;
use crate::math::{Effort, Linearised, Sensitivity, least_squares};
use num_complex::Complex64;

/// A narrow resonance on an impedance curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wrinkle {
    /// Where it is.
    pub hz: f64,
    /// Standard uncertainty of that.
    pub u_hz: f64,
    /// Its quality.
    pub q: f64,
    /// Standard uncertainty of that.
    pub u_q: f64,
    /// Its complex height at `hz`, ohm.
    pub height_ohm: Complex64,
    /// Standard uncertainty of the height's magnitude.
    pub u_height_ohm: f64,
    /// t: the height over its uncertainty where position and width are given.
    pub sigmas: f64,
}

impl Wrinkle {
    /// Whether it is the same as another within a tenth of their doubts.
    pub(super) fn is_as(&self, other: &Self) -> bool {
        (self.hz - other.hz).abs() < 0.1 * self.u_hz
            && (self.height_ohm - other.height_ohm).norm() < 0.1 * self.u_height_ohm
    }

    /// What it adds to the impedance, ohm: `A/(1 + jQ·(f/f₀ − f₀/f))`.
    pub fn ohm(&self, hz: f64) -> Complex64 {
        self.height_ohm * shape(hz, self.hz, self.q)
    }
}

/// What a model leaves of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residual<'a> {
    /// Frequencies, rising.
    pub hz: &'a [f64],
    /// Measured less model, ohm.
    pub ohm: &'a [Complex64],
    /// Noise of real and imaginary part, ohm; absent: it is taken from the residual itself.
    pub sigma_ohm: Option<&'a [f64]>,
    /// Noise at frequencies closer than this is the same noise.
    pub resolution_hz: Option<f64>,
}

/// Independent places and widths in ten octaves, from simulated noise.
const TRIALS: f64 = 4000.0;
/// One curve of so many is told to have a wrinkle where there is none.
const CURVES: f64 = 1000.0;
/// Widths that are tried: broader is the driver's own resonance, the ladder of 1.5 costs at most 4 % of the height.
const QS: [f64; 8] = [8.0, 12.0, 18.0, 27.0, 40.0, 60.0, 90.0, 135.0];
/// A refined one may be broader than the broadest that is tried by so much.
const BROADEST: f64 = 6.0;
/// Steps in a bandwidth; half a step beside costs 1.5 % of the height.
const STEPS: f64 = 4.0;
/// The window reaches so many bandwidths to each side, and holds at least so many points to each side.
const BANDWIDTHS: f64 = 6.0;
const LEAST_POINTS: usize = 20;
/// A wrinkle narrower than this part of the distance of the points can't be told from a bad point.
const NARROWEST: f64 = 0.9;
/// More are not looked for.
const MOST: usize = 8;
/// Median of |r|²/σ² for noise of σ on real and imaginary part: 2·ln 2.
const MEDIAN: f64 = 1.386_294;

/// The narrow resonances that stand out of the noise, by rising frequency.
pub fn wrinkles(residual: &Residual<'_>) -> Vec<Wrinkle> {
    let mut scan = Scan::of(residual);
    let mut found = Vec::new();
    for _ in 0..MOST {
        let Some(best) = scan.strongest().filter(|best| best.t_squared > 2.0 * (TRIALS * CURVES).ln()) else { break };
        match scan.refined(&best) {
            Some(wrinkle) => {
                for (hz, ohm) in scan.hz.iter().zip(&mut scan.ohm) {
                    *ohm -= wrinkle.ohm(*hz);
                }
                found.push(wrinkle);
            }
            None => scan.pass_by(&best),
        }
    }
    found.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    found
}

fn shape(hz: f64, centre_hz: f64, q: f64) -> Complex64 {
    Complex64::new(1.0, q * (hz / centre_hz - centre_hz / hz)).inv()
}

/// A curve's residual, ready to be searched.
struct Scan<'a> {
    hz: &'a [f64],
    ohm: Vec<Complex64>,
    /// √sᵢ/σᵢ.
    weight: Vec<f64>,
    /// Bands that are not looked at any more.
    passed: Vec<[f64; 2]>,
}

/// A place and a width where something stands out.
#[derive(Debug, Clone, Copy)]
struct Trial {
    hz: f64,
    q: f64,
    height: Complex64,
    t_squared: f64,
    inflation: f64,
}

impl<'a> Scan<'a> {
    fn of(residual: &Residual<'a>) -> Self {
        let share = shares(residual.hz, residual.resolution_hz);
        let sigma = residual.sigma_ohm.map_or_else(|| local_noise(residual.ohm), <[f64]>::to_vec);
        let weight =
            share.iter().zip(&sigma).map(|(share, sigma)| share.sqrt() / sigma.max(f64::MIN_POSITIVE)).collect();
        Self { hz: residual.hz, ohm: residual.ohm.to_vec(), weight, passed: Vec::new() }
    }

    fn strongest(&self) -> Option<Trial> {
        let of_width = |q: f64| {
            let places = ((self.hz.last()? / self.hz.first()?).ln() * q * STEPS) as usize;
            let hz = |place: usize| self.hz[0] * (place as f64 / (q * STEPS)).exp();
            (0..=places).filter_map(|place| self.trial(hz(place), q)).max_by(|a, b| a.t_squared.total_cmp(&b.t_squared))
        };
        QS.into_iter().filter_map(of_width).max_by(|a, b| a.t_squared.total_cmp(&b.t_squared))
    }

    /// The points around a place; `None` too near an end, or where points are too far apart for the width.
    fn window(&self, hz: f64, q: f64) -> Option<std::ops::Range<usize>> {
        let middle = self.hz.partition_point(|&other| other < hz);
        let reach = (BANDWIDTHS / (2.0 * q)).exp();
        let (from, to) = (
            self.hz.partition_point(|&other| other < hz / reach),
            self.hz.partition_point(|&other| other < hz * reach),
        );
        let range = from.min(middle.checked_sub(LEAST_POINTS)?)..to.max(middle + LEAST_POINTS);
        let spacing = self.hz.get(middle)? / self.hz.get(middle.checked_sub(1)?)? - 1.0;
        let is_inside = self.hz[0] * (1.0 + 2.0 / q) < hz && hz * (1.0 + 2.0 / q) < self.hz[self.hz.len() - 1];
        (range.end <= self.hz.len() && is_inside && 1.0 / q > NARROWEST * spacing).then_some(range)
    }

    /// Looks at a place no more, where something stands out that is no wrinkle.
    fn pass_by(&mut self, trial: &Trial) {
        let reach = (BANDWIDTHS / (2.0 * trial.q)).exp();
        self.passed.push([trial.hz / reach, trial.hz * reach]);
    }

    fn trial(&self, hz: f64, q: f64) -> Option<Trial> {
        if self.passed.iter().any(|[from, to]| (*from..=*to).contains(&hz)) {
            return None;
        }
        let range = self.window(hz, q)?;
        let weights = &self.weight[range.clone()];
        let smooth = parabolas(&self.hz[range.clone()], weights);
        let left = |column: Vec<Complex64>| without(column, &smooth);
        let weighted =
            |of: &dyn Fn(usize) -> Complex64| range.clone().map(|at| of(at) * self.weight[at]).collect::<Vec<_>>();
        let measured = left(weighted(&|at| self.ohm[at]));
        let form = left(weighted(&|at| shape(self.hz[at], hz, q)));
        let power: f64 = form.iter().map(|w| w.norm_sqr()).sum();
        let height = form.iter().zip(&measured).map(|(w, r)| w.conj() * r).sum::<Complex64>() / power;
        let mut rest: Vec<f64> = measured.iter().zip(&form).map(|(r, w)| (r - height * w).norm_sqr()).collect();
        rest.sort_by(f64::total_cmp);
        // Four complex numbers are fitted; what is left of few points is smaller for it.
        let used = rest.len() as f64 / (rest.len() as f64 - 4.0);
        let inflation = (rest[rest.len() / 2] / MEDIAN * used).max(1.0);
        let t_squared = height.norm_sqr() * power / inflation;
        (t_squared.is_finite() && power > 0.0).then_some(Trial { hz, q, height, t_squared, inflation })
    }

    /// Place, width and height at their best together with a parabola below.
    fn refined(&self, trial: &Trial) -> Option<Wrinkle> {
        let range = self.window(trial.hz, trial.q)?;
        let smooth = parabolas(&self.hz[range.clone()], &self.weight[range.clone()]);
        let rows = |p: &[f64]| -> Vec<f64> {
            let (hz, q) = (p[0].exp(), p[1].exp());
            let height = Complex64::new(p[2], p[3]);
            let off = range.clone().map(|at| (height * shape(self.hz[at], hz, q) - self.ohm[at]) * self.weight[at]);
            without(off.collect(), &smooth).iter().flat_map(|off| [off.re, off.im]).collect()
        };
        let linearised = |p: &[f64]| {
            let scale = [1e-6, 1e-6, 1e-6 * trial.height.norm(), 1e-6 * trial.height.norm()];
            let mut slopes = Vec::new();
            for at in 0..p.len() {
                let moved = |by: f64| {
                    let mut p = p.to_vec();
                    p[at] += by * scale[at];
                    rows(&p)
                };
                let (above, below) = (moved(1.0), moved(-1.0));
                slopes.extend(above.iter().zip(&below).map(|(above, below)| (above - below) / (2.0 * scale[at])));
            }
            Linearised { residuals: rows(p), slopes }
        };
        let start = [trial.hz.ln(), trial.q.ln(), trial.height.re, trial.height.im];
        let found = least_squares(&start, Effort::Good, linearised)?;
        let sensitivity = Sensitivity::new(&found.linearised, start.len())?;
        let u = |at: usize| (sensitivity.covariance[at][at] * trial.inflation).sqrt();
        let (hz, q) = (found.values[0].exp(), found.values[1].exp());
        // A search that ran away from what was seen is not taken.
        let stayed = (hz / trial.hz).ln().abs() < 1.0 / trial.q && (q / trial.q).ln().abs() < 1.0;
        // What wants to be broader than any wrinkle is an error of the model.
        if !stayed || q < BROADEST {
            return None;
        }
        let height_ohm = Complex64::new(found.values[2], found.values[3]);
        Some(Wrinkle {
            hz,
            u_hz: hz * u(0),
            q,
            u_q: q * u(1),
            height_ohm,
            u_height_ohm: u(2).hypot(u(3)) / std::f64::consts::SQRT_2,
            sigmas: trial.t_squared.sqrt(),
        })
    }
}

/// Constant, line and parabola over log f, weighted and made orthonormal.
fn parabolas(hz: &[f64], weights: &[f64]) -> Vec<Vec<f64>> {
    let middle = hz[hz.len() / 2].ln();
    let reach = (hz[hz.len() - 1] / hz[0]).ln();
    let mut made: Vec<Vec<f64>> = Vec::new();
    for power in 0..3 {
        let mut column: Vec<f64> =
            hz.iter().zip(weights).map(|(hz, weight)| weight * ((hz.ln() - middle) / reach).powi(power)).collect();
        for other in &made {
            let along: f64 = column.iter().zip(other).map(|(a, b)| a * b).sum();
            column.iter_mut().zip(other).for_each(|(a, b)| *a -= along * b);
        }
        let norm = column.iter().map(|a| a * a).sum::<f64>().sqrt();
        if norm > 0.0 {
            column.iter_mut().for_each(|a| *a /= norm);
            made.push(column);
        }
    }
    made
}

/// What of a column does not lie along these.
fn without(mut column: Vec<Complex64>, smooth: &[Vec<f64>]) -> Vec<Complex64> {
    for other in smooth {
        let along: Complex64 = column.iter().zip(other).map(|(a, b)| a * b).sum();
        column.iter_mut().zip(other).for_each(|(a, b)| *a -= along * b);
    }
    column
}

/// Points to each side whose second differences tell the noise.
const NEIGHBOURS: usize = 30;

/// The noise of real and imaginary part at each point, from the second differences around it, whose variance is six
/// times as large.
fn local_noise(ohm: &[Complex64]) -> Vec<f64> {
    let bend = |at: usize| {
        let at = at.clamp(1, ohm.len().saturating_sub(2).max(1));
        let (before, here, after) = (ohm[at - 1], ohm[at], ohm[(at + 1).min(ohm.len() - 1)]);
        (before - 2.0 * here + after).norm_sqr() / 6.0
    };
    if ohm.len() < 3 {
        return vec![f64::INFINITY; ohm.len()];
    }
    (0..ohm.len())
        .map(|at| {
            let mut around: Vec<f64> =
                (at.saturating_sub(NEIGHBOURS)..(at + NEIGHBOURS + 1).min(ohm.len())).map(bend).collect();
            around.sort_by(f64::total_cmp);
            (around[around.len() / 2] / MEDIAN).sqrt()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;

    fn frequencies() -> Vec<f64> {
        (-300..=207).map(|k| 1000.0 * (f64::from(k) / 48.0).exp2()).collect()
    }

    fn noise(random: &mut Random, count: usize) -> Vec<Complex64> {
        (0..count).map(|_| Complex64::new(random.normal(), random.normal())).collect()
    }

    fn found_in(hz: &[f64], ohm: &[Complex64], sigma: Option<&[f64]>) -> Vec<Wrinkle> {
        wrinkles(&Residual { hz, ohm, sigma_ohm: sigma, resolution_hz: None })
    }

    #[test]
    fn a_bump_is_found_where_it_is_and_not_twice() {
        let (hz, mut random) = (frequencies(), Random::new(3));
        let truth = Wrinkle {
            hz: 312.0,
            u_hz: 0.0,
            q: 30.0,
            u_q: 0.0,
            height_ohm: Complex64::new(9.0, 2.0),
            u_height_ohm: 0.0,
            sigmas: 0.0,
        };
        for known in [true, false] {
            let mut ohm = noise(&mut random, hz.len());
            ohm.iter_mut().zip(&hz).for_each(|(ohm, &hz)| *ohm += truth.ohm(hz));
            let sigma = vec![1.0; hz.len()];
            let found = found_in(&hz, &ohm, known.then_some(&sigma[..]));
            assert_eq!(found.len(), 1, "{found:?}");
            let found = found[0];
            // Four uncertainties: once in 16 000 by chance.
            assert!((found.hz - 312.0).abs() < 4.0 * found.u_hz && found.u_hz < 2.0, "{found:?}");
            assert!((found.q - 30.0).abs() < 4.0 * found.u_q && found.u_q < 10.0, "{found:?}");
            assert!((found.height_ohm - truth.height_ohm).norm() < 4.0 * 1.5 * found.u_height_ohm, "{found:?}");
        }
    }

    #[test]
    fn noise_and_smooth_errors_of_a_model_have_no_wrinkles() {
        let (hz, mut random) = (frequencies(), Random::new(8));
        let sigma = vec![1.0; hz.len()];
        for curve in 0..40 {
            let mut ohm = noise(&mut random, hz.len());
            if curve % 2 == 0 {
                // A broad bend of fifty noises over some octaves.
                ohm.iter_mut().zip(&hz).for_each(|(ohm, hz)| *ohm += 50.0 / (1.0 + Complex64::new(0.0, hz / 2000.0)));
            }
            // One in a thousand: of forty curves a twenty-fifth, and with this seed none.
            assert!(found_in(&hz, &ohm, Some(&sigma)).is_empty(), "{curve}");
        }
    }

    #[test]
    fn a_short_curve_has_none_and_does_not_break() {
        for points in 0..14 {
            let hz = &frequencies()[..points];
            assert!(found_in(hz, &vec![Complex64::ONE; points], None).is_empty());
        }
    }
}
