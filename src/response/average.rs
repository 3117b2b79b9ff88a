//! The mean of several responses, over microphone places or over directions.
//!
//! ```text
//! power:    P = Σ w_i·|H_i|²    L = 10·log₁₀ P        complex:  H = Σ w_i·H_i    L = 20·log₁₀ |H|
//! s²(P) = Σ w_i·(|H_i|² − P)²/(1 − 1/n_e)             s²(H) = Σ w_i·|H_i − H|²/(1 − 1/n_e)
//! u²(P) = max(s²(P)/n_e, Σ w_i²·u²(|H_i|²))           u²(|H|) = max(½·s²(H)/n_e, Σ w_i²·u²(|H_i|))
//! n_e = 1/Σ w_i²                                      spread: s(L) = √(Σ w_i·(L_i − Σ w_j·L_j)²/(1 − 1/n_e))
//! ```
//!
//! H_i: the responses, each with its phase referred to its own arrival, so that a complex mean lays the arrivals over each
//! other before it adds. w_i: weights that add up to one. n_e: effective number of curves, n for equal weights; s is then
//! the sample standard deviation and u = s/√n. Half of the power of s(H) lies along H and moves its level. u in dB is the
//! relative one times 10/ln 10 of P, 20/ln 10 of |H|.
//!
//! The noise of a curve is part of how much the curves scatter, so the larger of the two counts and not both. Where places
//! are a sample of a region, the scatter is what the mean of the region is uncertain by; where directions are themselves
//! what is meant, it is not: other directions would be another average, and only the curves' own doubts are left.
//! With n places the scatter itself is known to 1/√(2n − 2): two or three tell it badly.
//!
//! Holds for errors of the curves that are independent of each other; what all share (microphone, level) stays in the mean
//! and is in no curve's u. Sources: JCGM 100:2008 (GUM), sections 4.2 and 5.1; effective number of unequal weights:
//! L. Kish, "Survey Sampling" (1965), from memory.

use super::ResponseError;
use super::sampled::{Point, Reader, Sampled};
use crate::quantity::{FrequencyGrid, amplitude_from_db, db_from_amplitude, db_from_power};
use num_complex::Complex64;
use std::f64::consts::LN_10;

/// A response that is averaged with others.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SingleCurve {
    /// Its curve, of the same reference as the others', the phase referred to its own arrival.
    pub curve: Sampled,
    /// How much it counts against the others.
    pub weight: f64,
}

/// What of the curves is averaged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AverageBy {
    /// |H|².
    Power,
    /// H.
    Complex,
}

/// What the curves' scatter says about their mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScatterIs {
    /// The places are a sample of a region: the mean is uncertain by it.
    Doubt,
    /// The directions are those that are meant: the mean over them is not uncertain by it.
    Meant,
}

/// How curves are averaged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AverageSettings {
    /// What of them.
    pub by: AverageBy,
    /// What their scatter says.
    pub scatter: ScatterIs,
    /// Points an octave of the mean.
    pub points_per_octave: u32,
}

/// A mean; columns of one length, or empty.
#[derive(Debug, Clone, PartialEq)]
pub struct Average {
    /// Where all curves are known, and their mean is not nothing.
    pub hz: Vec<f64>,
    /// Level of the mean, dB.
    pub level_db: Vec<f64>,
    /// Phase of a complex mean, rad, wrapped; empty for a mean of powers.
    pub phase_rad: Vec<f64>,
    /// Standard uncertainty of the level, dB; empty where nothing tells it.
    pub u_db: Vec<f64>,
    /// Standard deviation of the levels of the curves, dB.
    pub spread_db: Vec<f64>,
    /// How far a complex mean lies below that of the powers, dB: what differing phases cost; empty for a mean of powers.
    pub below_power_db: Vec<f64>,
    /// n_e.
    pub effective_count: f64,
}

/// The mean of two or more responses at 1000·2^(k/n) Hz, wherever all of them are known.
///
/// Between the points of a curve, level and unwrapped phase run straight over the logarithm of the frequency. A point at
/// which a complex mean cancels is left out.
///
/// # Errors
/// [`ResponseError::TooFewCurves`], `Weight`, `NoPhase` where a complex mean lacks one, `NoCommonBand`, `Cancelled`, and
/// `NotACurve` for columns that don't fit each other or hold what is no number.
pub fn average(curves: &[SingleCurve], settings: AverageSettings) -> Result<Average, ResponseError> {
    if curves.len() < 2 {
        return Err(ResponseError::TooFewCurves { found: curves.len() });
    }
    let shares = shares(curves)?;
    let reader =
        |(n, single): (usize, &SingleCurve)| single.curve.reader().ok_or(ResponseError::NotACurve { curve: n + 1 });
    let readers = curves.iter().enumerate().map(reader).collect::<Result<Vec<Reader>, _>>()?;
    if let (AverageBy::Complex, Some(n)) = (settings.by, readers.iter().position(|reader| !reader.has_phase())) {
        return Err(ResponseError::NoPhase { curve: n + 1 });
    }
    let all_tell = readers.iter().all(Reader::has_doubt);
    let u_of = |mean: &Mean| match (settings.scatter, all_tell) {
        (ScatterIs::Doubt, true) => Some(mean.u_scatter_db.max(mean.u_own_db)),
        (ScatterIs::Doubt, false) => Some(mean.u_scatter_db),
        (ScatterIs::Meant, true) => Some(mean.u_own_db),
        (ScatterIs::Meant, false) => None,
    };
    let mut found = Average {
        hz: Vec::new(),
        level_db: Vec::new(),
        phase_rad: Vec::new(),
        u_db: Vec::new(),
        spread_db: Vec::new(),
        below_power_db: Vec::new(),
        effective_count: 1.0 / squares(&shares),
    };
    for hz in common_hz(curves, settings.points_per_octave)? {
        let Some(points) = readers.iter().map(|reader| reader.at(hz)).collect::<Option<Vec<Point>>>() else { continue };
        let Some(mean) = Mean::of(&points, &shares, settings.by) else { continue };
        found.hz.push(hz);
        found.level_db.push(mean.level_db);
        found.spread_db.push(spread_db(&points, &shares));
        found.u_db.extend(u_of(&mean));
        if settings.by == AverageBy::Complex {
            found.phase_rad.push(mean.phase_rad);
            found.below_power_db.push(mean.below_power_db);
        }
    }
    if found.hz.is_empty() {
        return Err(ResponseError::Cancelled);
    }
    let columns = [&found.level_db, &found.phase_rad, &found.u_db, &found.spread_db, &found.below_power_db];
    let is_finite = columns.into_iter().flatten().all(|value| value.is_finite());
    if is_finite { Ok(found) } else { Err(ResponseError::NotACurve { curve: 1 + most_absurd(curves) }) }
}

/// The curve with the number that is furthest from a level: its square is beyond a double.
fn most_absurd(curves: &[SingleCurve]) -> usize {
    let largest = |single: &SingleCurve| {
        single.curve.level_db.iter().chain(&single.curve.u_db).map(|value| value.abs()).fold(0.0, f64::max)
    };
    let all: Vec<f64> = curves.iter().map(largest).collect();
    (0..all.len()).max_by(|a, b| all[*a].total_cmp(&all[*b])).unwrap_or(0)
}

/// Weights that add up to one.
fn shares(curves: &[SingleCurve]) -> Result<Vec<f64>, ResponseError> {
    let heaviest = curves.iter().map(|curve| curve.weight).fold(0.0, f64::max);
    let sum: f64 = curves.iter().map(|curve| curve.weight / heaviest).sum();
    let shares: Vec<f64> = curves.iter().map(|curve| curve.weight / heaviest / sum).collect();
    match shares.iter().position(|share| !(*share > 0.0 && *share < 1.0)) {
        Some(at) => Err(ResponseError::Weight { found: curves[at].weight }),
        None => Ok(shares),
    }
}

fn squares(shares: &[f64]) -> f64 {
    shares.iter().map(|share| share * share).sum()
}

/// The points of the grid from where the last curve begins to where the first one ends.
fn common_hz(curves: &[SingleCurve], points_per_octave: u32) -> Result<Vec<f64>, ResponseError> {
    let from_hz = curves.iter().filter_map(|single| single.curve.hz.first().copied()).fold(0.0, f64::max);
    let to_hz = curves.iter().filter_map(|single| single.curve.hz.last().copied()).fold(f64::MAX, f64::min);
    let nothing = |_| ResponseError::NoCommonBand { from_hz, to_hz };
    let grid = FrequencyGrid::of_octave_fractions([from_hz, to_hz], points_per_octave).map_err(nothing)?;
    // The grid's slack may reach beyond the curves by a hair.
    let inside: Vec<f64> = grid.hz().iter().copied().filter(|hz| (from_hz..=to_hz).contains(hz)).collect();
    // A single point is no curve.
    if inside.len() < 2 { Err(ResponseError::NoCommonBand { from_hz, to_hz }) } else { Ok(inside) }
}

/// A mean at one frequency.
struct Mean {
    level_db: f64,
    phase_rad: f64,
    u_scatter_db: f64,
    u_own_db: f64,
    below_power_db: f64,
}

/// Less than this of the power mean is no sound but rounding: 120 dB down.
const CANCELLED_POWER: f64 = 1e-12;

impl Mean {
    /// None where a complex mean cancels.
    fn of(points: &[Point], shares: &[f64], by: AverageBy) -> Option<Self> {
        // Referred to the highest, so that no level is too large or too small for a double.
        let highest_db = points.iter().map(|point| point.level_db).fold(f64::MIN, f64::max);
        let amplitudes: Vec<f64> = points.iter().map(|point| amplitude_from_db(point.level_db - highest_db)).collect();
        let weighted = |of: &dyn Fn(usize) -> f64| (0..points.len()).map(|n| shares[n] * of(n)).sum::<f64>();
        let power = weighted(&|n| amplitudes[n].powi(2));
        let (free, squares) = (weighted(&|n| 1.0 - shares[n]), squares(shares));
        // Σ w²·u² of amplitudes to the power `order`.
        let own = |order: i32| -> f64 {
            let per_db = f64::from(order) * LN_10 / 20.0;
            (0..points.len()).map(|n| (shares[n] * amplitudes[n].powi(order) * per_db * points[n].u_db).powi(2)).sum()
        };
        match by {
            AverageBy::Power => {
                let scatter = weighted(&|n| (amplitudes[n].powi(2) - power).powi(2)) / free * squares;
                let in_db = |variance: f64| 10.0 / LN_10 * variance.sqrt() / power;
                Some(Self {
                    level_db: highest_db + db_from_power(power),
                    phase_rad: 0.0,
                    u_scatter_db: in_db(scatter),
                    u_own_db: in_db(own(2)),
                    below_power_db: 0.0,
                })
            }
            AverageBy::Complex => {
                let values: Vec<Complex64> =
                    points.iter().zip(&amplitudes).map(|(at, a)| Complex64::from_polar(*a, at.phase_rad)).collect();
                let mean: Complex64 = values.iter().zip(shares).map(|(value, share)| share * value).sum();
                if mean.norm_sqr() <= CANCELLED_POWER * power {
                    return None;
                }
                let scatter = 0.5 * weighted(&|n| (values[n] - mean).norm_sqr()) / free * squares;
                let in_db = |variance: f64| 20.0 / LN_10 * variance.sqrt() / mean.norm();
                let level_db = db_from_amplitude(mean.norm());
                Some(Self {
                    level_db: highest_db + level_db,
                    phase_rad: mean.arg(),
                    u_scatter_db: in_db(scatter),
                    u_own_db: in_db(own(1)),
                    below_power_db: db_from_power(power) - level_db,
                })
            }
        }
    }
}

fn spread_db(points: &[Point], shares: &[f64]) -> f64 {
    let weighted = |of: &dyn Fn(usize) -> f64| (0..points.len()).map(|n| shares[n] * of(n)).sum::<f64>();
    let mean_db = weighted(&|n| points[n].level_db);
    (weighted(&|n| (points[n].level_db - mean_db).powi(2)) / weighted(&|n| 1.0 - shares[n])).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use std::f64::consts::{PI, TAU};

    fn flat(level_db: f64, phase_rad: f64) -> SingleCurve {
        let hz = vec![100.0, 10_000.0];
        let curve = Sampled { hz, level_db: vec![level_db; 2], phase_rad: vec![phase_rad; 2], u_db: Vec::new() };
        SingleCurve { curve, weight: 1.0 }
    }

    /// The same with other columns.
    fn with(of: &SingleCurve, change: impl Fn(&mut Sampled)) -> SingleCurve {
        let mut other = of.clone();
        change(&mut other.curve);
        other
    }

    fn settings(by: AverageBy) -> AverageSettings {
        AverageSettings { by, scatter: ScatterIs::Doubt, points_per_octave: 12 }
    }

    /// 0 and 6.0206 dB: powers 1 and 4, mean 2.5; s = 3/√2, u = s/√2 = 1.5; levels scatter by 6.0206/√2.
    #[test]
    fn powers_of_1_and_4_have_the_mean_2_5() {
        let six_db = 20.0 * 2f64.log10();
        let found = average(&[flat(0.0, 0.0), flat(six_db, PI)], settings(AverageBy::Power)).unwrap();
        assert!(found.hz[0] >= 100.0 && found.hz.len() == 79 && found.hz.contains(&1000.0), "{:?}", found.hz);
        for point in 0..found.hz.len() {
            // 1e-12: logarithms and powers.
            assert!((found.level_db[point] - 10.0 * 2.5f64.log10()).abs() < 1e-12);
            assert!((found.u_db[point] - 10.0 / LN_10 * 1.5 / 2.5).abs() < 1e-12);
            assert!((found.spread_db[point] - six_db / 2f64.sqrt()).abs() < 1e-12);
        }
        assert!(found.phase_rad.is_empty() && found.below_power_db.is_empty());
        assert!((found.effective_count - 2.0).abs() < 1e-12);
    }

    /// 1 and 2·e^{iπ}: mean −½. 1 and i: mean (1 + i)/2, 3.01 dB below the mean of the powers.
    #[test]
    fn a_complex_mean_adds_phases_and_opposite_ones_cancel() {
        let six_db = 20.0 * 2f64.log10();
        let mean = |curves: &[SingleCurve]| average(curves, settings(AverageBy::Complex));
        let found = mean(&[flat(0.0, 0.0), flat(six_db, PI)]).unwrap();
        assert!((found.level_db[7] + six_db).abs() < 1e-12 && (found.phase_rad[7].abs() - PI).abs() < 1e-12);
        // H_i − H = ±1.5: s² = 4.5, half of it over two places is 1.125, over |H| = ½.
        assert!((found.u_db[7] - 20.0 / LN_10 * 1.125f64.sqrt() / 0.5).abs() < 1e-12);
        let found = mean(&[flat(0.0, 0.0), flat(0.0, PI / 2.0)]).unwrap();
        assert!((found.below_power_db[7] - 10.0 * 2f64.log10()).abs() < 1e-12);
        assert!((found.phase_rad[7] - PI / 4.0).abs() < 1e-12);
        assert_eq!(mean(&[flat(0.0, 0.0), flat(0.0, PI)]), Err(ResponseError::Cancelled));
        // A delay of one against the other cancels where it is half a period, and only there.
        let hz: Vec<f64> = (0..=2000).map(|n| 100.0 * 100f64.powf(f64::from(n) / 2000.0)).collect();
        let late = |delay_s: f64| {
            let phase_rad = hz.iter().map(|hz| Complex64::cis(-TAU * hz * delay_s).arg()).collect();
            let curve = Sampled { level_db: vec![0.0; hz.len()], phase_rad, hz: hz.clone(), u_db: Vec::new() };
            SingleCurve { curve, weight: 1.0 }
        };
        let found = mean(&[late(0.0), late(0.25e-3)]).unwrap();
        for (hz, level_db) in found.hz.iter().zip(&found.level_db) {
            let expected = (PI * hz * 0.25e-3).cos().abs();
            // 1e-4 of the single level: the phase between 1000 points a decade, a straight line over the logarithm.
            assert!((amplitude_from_db(*level_db) - expected).abs() < 1e-4, "{hz}: {level_db}");
        }
    }

    /// Weights 3 and 1 are a curve that is there three times, but for what is known about the scatter: n_e = 16/10.
    #[test]
    fn a_weight_counts_like_so_many_equal_curves() {
        let weighted = [SingleCurve { weight: 3.0, ..flat(0.0, 0.3) }, flat(5.0, 1.0)];
        let repeated = [flat(0.0, 0.3), flat(0.0, 0.3), flat(0.0, 0.3), flat(5.0, 1.0)];
        for by in [AverageBy::Power, AverageBy::Complex] {
            let [one, other] = [average(&weighted, settings(by)).unwrap(), average(&repeated, settings(by)).unwrap()];
            assert!((one.level_db[3] - other.level_db[3]).abs() < 1e-12);
            assert!((one.effective_count - 1.6).abs() < 1e-12);
            // s²/n_e: the same Σ w·Δ² over 1 − 1/n_e and n_e of 1.6 against 4.
            let ratio = ((1.0 - 1.0 / 4.0) * 4.0 / ((1.0 - 1.0 / 1.6) * 1.6f64)).sqrt();
            assert!((one.u_db[3] / other.u_db[3] - ratio).abs() < 1e-12);
        }
    }

    /// Curves that are equal but for independent errors of 0.2 dB each: 0.2/√n, from their own doubts.
    #[test]
    fn own_doubts_fall_with_the_root_of_the_number_and_count_where_they_are_larger() {
        let doubtful = with(&flat(80.0, 0.0), |curve| curve.u_db = vec![0.2; 2]);
        for count in [2usize, 4, 16] {
            for by in [AverageBy::Power, AverageBy::Complex] {
                let found = average(&vec![doubtful.clone(); count], settings(by)).unwrap();
                assert!((found.u_db[0] * (count as f64).sqrt() - 0.2).abs() < 1e-12, "{count}");
            }
        }
        let apart = [doubtful.clone(), with(&doubtful, |curve| curve.level_db = vec![83.0; 2])];
        let scatter_db = average(&apart, settings(AverageBy::Power)).unwrap().u_db[0];
        assert!(scatter_db > 1.0);
        let meant = AverageSettings { scatter: ScatterIs::Meant, ..settings(AverageBy::Power) };
        let directions = average(&apart, meant).unwrap();
        // Between 0.2/√2 and 0.2: the louder one counts more.
        assert!((0.1414..0.2).contains(&directions.u_db[0]), "{}", directions.u_db[0]);
        let silent = average(&[flat(80.0, 0.0), doubtful], meant).unwrap();
        assert!(silent.u_db.is_empty(), "one curve does not tell its doubt");
    }

    /// Places drawn from a region whose true power mean is known: |H|² = 1 + 0.2·x and H = 1 + 0.2·(x + iy), normal x, y.
    #[test]
    fn the_true_mean_lies_within_two_u_as_often_as_it_should() {
        for (by, seed) in [(AverageBy::Power, 1), (AverageBy::Complex, 2)] {
            let mut random = Random::new(seed);
            let (trials, count) = (2_000, 16);
            let mut covered = 0;
            let mut u_db = 0.0;
            for _ in 0..trials {
                let curves: Vec<SingleCurve> = (0..count)
                    .map(|_| match by {
                        AverageBy::Power => flat(10.0 * (1.0 + 0.2 * random.normal()).max(1e-3).log10(), 0.0),
                        AverageBy::Complex => {
                            let value = Complex64::new(1.0 + 0.2 * random.normal(), 0.2 * random.normal());
                            flat(20.0 * value.norm().log10(), value.arg())
                        }
                    })
                    .collect();
                let found = average(&curves, AverageSettings { points_per_octave: 1, ..settings(by) }).unwrap();
                covered += u32::from(found.level_db[2].abs() < 2.0 * found.u_db[2]);
                u_db += found.u_db[2] / f64::from(trials);
            }
            let share = f64::from(covered) / f64::from(trials);
            // Student's t of 15 and about 30 degrees of freedom within ± 2: 93.6 and 94.5 %; three standard errors of
            // the count are 1.6 %.
            assert!((0.915..0.965).contains(&share), "{by:?}: {share}");
            let expected_db = match by {
                AverageBy::Power => 10.0 / LN_10 * 0.2 / 4.0,
                AverageBy::Complex => 20.0 / LN_10 * 0.2 / 4.0,
            };
            // 3 %: the mean of s is 1 − 1/(4ν) of σ.
            assert!((u_db / expected_db - 1.0).abs() < 0.03, "{by:?}: {u_db} {expected_db}");
        }
    }

    /// From 4 to 16 to 64 places of one region u halves each time.
    #[test]
    fn the_scatters_doubt_falls_with_the_root_of_the_number() {
        let mut random = Random::new(5);
        let mut mean_u_db = |count: usize| {
            let trials = 400;
            (0..trials)
                .map(|_| {
                    let curves: Vec<SingleCurve> = (0..count).map(|_| flat(0.5 * random.normal(), 0.0)).collect();
                    let coarse = AverageSettings { points_per_octave: 1, ..settings(AverageBy::Power) };
                    average(&curves, coarse).unwrap().u_db[0].powi(2) / f64::from(trials)
                })
                .sum::<f64>()
                .sqrt()
        };
        for count in [4, 16, 64] {
            let u_db = mean_u_db(count) * (count as f64).sqrt();
            // 6 %: 400 variances of three degrees of freedom are known to √(2/1200) of a standard error, u to half of it.
            assert!((u_db / 0.5 - 1.0).abs() < 0.06, "{count}: {u_db}");
        }
    }

    #[test]
    fn what_can_not_be_averaged_is_told() {
        let one = flat(0.0, 0.0);
        let mean = |curves: &[SingleCurve]| average(curves, settings(AverageBy::Power));
        assert_eq!(mean(std::slice::from_ref(&one)), Err(ResponseError::TooFewCurves { found: 1 }));
        let elsewhere = with(&one, |curve| curve.hz = vec![20_000.0, 30_000.0]);
        let nothing = ResponseError::NoCommonBand { from_hz: 20_000.0, to_hz: 10_000.0 };
        assert_eq!(mean(&[one.clone(), elsewhere]), Err(nothing));
        for weight in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-300] {
            let found = mean(&[one.clone(), SingleCurve { weight, ..one.clone() }]);
            assert!(matches!(found, Err(ResponseError::Weight { .. })), "{weight}: {found:?}");
        }
        let silent = with(&one, |curve| curve.phase_rad = Vec::new());
        let complex = average(&[one.clone(), silent.clone()], settings(AverageBy::Complex));
        assert_eq!(complex, Err(ResponseError::NoPhase { curve: 2 }));
        assert!(mean(&[one.clone(), silent]).is_ok());
        let broken = with(&one, |curve| curve.level_db = vec![f64::NAN, 0.0]);
        assert_eq!(mean(&[one.clone(), broken]), Err(ResponseError::NotACurve { curve: 2 }));
        let huge = with(&one, |curve| curve.u_db = vec![f64::MAX; 2]);
        assert!(matches!(mean(&[huge.clone(), huge]), Err(ResponseError::NotACurve { .. })));
    }
}
