//! Whether units are alike, by their curves.
//!
//! ```text
//! d(f) = 20·log₁₀|a(f)/b(f)|       level = mean d      rms = √(mean d²)      worst = d where |d| is greatest
//! ```
//!
//! Means over points that are evenly spread on log f, in the band that all curves share. Between the points of a curve
//! its level is taken on a straight line over log f.
//!
//! A difference is significant when it stands out of its own doubt as chance does not let it (`math/significance.rs`, chance 1 %): the level
//! by its mean, the shape by its greatest d/u once the level is taken off. A pair is outside of its limits only where it is so significantly; where
//! doubt alone could have carried it there it is undecided.
//!
//! u² = u_a² + u_b² + u_s² of the worst d, u_s: how far the same unit, set up anew, differs from itself; is told twice, as no curve says whose jig made it. With the whole doubt of each, jig
//! included: right for two jigs, too much for one. With that part alone which differs from point to point: right for one
//! jig, whose sense resistor and gain are wrong by the same ratio in both curves and cancel in d.

use super::{Doubted, DriverError};
use crate::impedance::ImpedanceError;
use crate::math::{RisingTable, independent_points, mean_around, significant_times};
use crate::quantity::{FrequencyGrid, POINTS_PER_OCTAVE};

/// A pair is alike up to this difference unless another is asked for.
pub const MOST_DIFFERENT_DB: f64 = 1.0;

/// A unit's curve on its own points; columns of one length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct UnitCurve {
    /// Rising.
    pub hz: Vec<f64>,
    /// dB re any reference, the same for all units.
    pub level_db: Vec<f64>,
    /// Standard uncertainty, dB; zero where it is not known.
    pub u_db: Vec<f64>,
    /// The part of it that differs from point to point; all of it where that is not known.
    pub u_noise_db: Vec<f64>,
    /// Values nearer than this say the same; zero where it is not known.
    pub resolution_hz: f64,
}

/// A curve's level and its doubt on the points that all share.
#[derive(Debug, Clone, PartialEq)]
pub struct CommonCurve {
    /// dB re any reference, the same for all.
    pub level_db: Vec<f64>,
    /// Standard uncertainty, dB; zero where it is not known.
    pub u_db: Vec<f64>,
    /// The part of it that differs from point to point; all of it where that is not known.
    pub u_noise_db: Vec<f64>,
}

/// Curves brought to common points.
#[derive(Debug, Clone, PartialEq)]
pub struct Alike {
    /// The points.
    pub hz: Vec<f64>,
    /// The curves, in the order given.
    pub curves: Vec<CommonCurve>,
    /// How far a unit differs from itself when it is set up anew: standard deviation of the difference; empty where that is not known.
    pub set_up_db: Vec<f64>,
    /// How many of the points are independent.
    pub independent: f64,
}

/// How a pair lies against its limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Between them.
    Within,
    /// Beyond them, by no more than the doubt.
    Undecided,
    /// Beyond them significantly.
    Outside,
}

/// How two units differ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparison {
    /// Place of the one.
    pub a: usize,
    /// Place of the other.
    pub b: usize,
    /// Mean of a less b.
    pub level_db: f64,
    /// Root mean square of a less b.
    pub rms_db: f64,
    /// a less b where they differ most, …
    pub worst_db: f64,
    /// … its standard uncertainty where each curve has a jig of its own, …
    pub worst_u_db: f64,
    /// … and where both were measured on one, …
    pub worst_u_one_jig_db: f64,
    /// … and where.
    pub worst_hz: f64,
    /// Root mean square once the mean is taken off: how the shapes differ.
    pub shape_db: f64,
    /// Standard uncertainty of the mean.
    pub level_u_db: f64,
    /// Whether the level differs significantly.
    pub level_differs: bool,
    /// Whether the shape does.
    pub shape_differs: bool,
    /// How the worst lies against the limits.
    pub verdict: Verdict,
}

impl Comparison {
    /// Not shown to be outside.
    pub fn is_within(&self) -> bool {
        self.verdict != Verdict::Outside
    }
}

/// Chance of calling two units different that are not.
pub const FALSE_ALARM: f64 = 0.01;
/// A third of an octave: the scatter of a set-up is averaged over it.
const SET_UP_POINTS: usize = 8;

impl Alike {
    /// The curves at 48 points an octave in the band they share, cut to `band_hz`.
    ///
    /// # Errors
    /// [`DriverError::NothingShared`], `NothingInBand`.
    pub fn of(curves: &[UnitCurve], band_hz: Option<[f64; 2]>) -> Result<Self, DriverError> {
        let ends = |pick: fn(&[f64]) -> Option<&f64>| curves.iter().filter_map(move |curve| pick(&curve.hz).copied());
        let begins_hz = ends(<[f64]>::first).fold(0.0, f64::max);
        let ends_hz = ends(<[f64]>::last).fold(f64::INFINITY, f64::min);
        if begins_hz >= ends_hz {
            return Err(DriverError::NothingShared { ends_hz, begins_hz });
        }
        let [from_hz, to_hz] =
            band_hz.map_or([begins_hz, ends_hz], |[from, to]| [from.max(begins_hz), to.min(ends_hz)]);
        let nothing = |_| DriverError::Curve(ImpedanceError::NothingInBand { from_hz, to_hz });
        let hz =
            FrequencyGrid::of_octave_fractions([from_hz, to_hz], POINTS_PER_OCTAVE).map_err(nothing)?.hz().to_vec();
        let resolution_hz = curves.iter().map(|curve| curve.resolution_hz).fold(0.0, f64::max);
        let independent = independent_points(&hz, resolution_hz);
        let curves = curves.iter().map(|curve| common(curve, &hz)).collect();
        Ok(Self { hz, curves, set_up_db: Vec::new(), independent })
    }

    /// The same with the doubt of setting up: `again` is unit `of` measured once more after it was set up anew.
    ///
    /// # Errors
    /// [`DriverError::NothingShared`] where it does not cover the band.
    pub fn with_set_up(mut self, again: &UnitCurve, of: usize) -> Result<Self, DriverError> {
        let ends = [again.hz.first(), again.hz.last()].map(|hz| hz.copied().unwrap_or(0.0));
        let band = [self.hz[0], self.hz[self.hz.len() - 1]];
        if ends[0] > band[0] * 1.001 || ends[1] < band[1] / 1.001 {
            return Err(DriverError::NothingShared { ends_hz: ends[1].min(band[1]), begins_hz: ends[0].max(band[0]) });
        }
        let again = common(again, &self.hz);
        let squares: Vec<f64> =
            again.level_db.iter().zip(&self.curves[of].level_db).map(|(one, other)| (one - other).powi(2)).collect();
        self.set_up_db = mean_around(&squares, |_| SET_UP_POINTS).into_iter().map(f64::sqrt).collect();
        Ok(self)
    }

    /// The same with each curve's mean level taken off.
    pub fn levelled(mut self) -> Self {
        for curve in &mut self.curves {
            let mean_db = curve.level_db.iter().sum::<f64>() / curve.level_db.len() as f64;
            curve.level_db.iter_mut().for_each(|level_db| *level_db -= mean_db);
        }
        self
    }
}

fn common(curve: &UnitCurve, at_hz: &[f64]) -> CommonCurve {
    let column = |values: &[f64]| -> Vec<f64> {
        let table = RisingTable::new(curve.hz.iter().map(|hz| hz.ln()).collect(), values.to_vec());
        let [first, last] = table.as_ref().map_or([0.0, 0.0], RisingTable::range);
        let at = |hz: &f64| table.as_ref().and_then(|table| table.at(hz.ln().clamp(first, last))).unwrap_or(0.0);
        at_hz.iter().map(at).collect()
    };
    CommonCurve { level_db: column(&curve.level_db), u_db: column(&curve.u_db), u_noise_db: column(&curve.u_noise_db) }
}

/// Each pair of curves compared against limits in dB, lower and upper.
pub fn compared(alike: &Alike, limits_db: [f64; 2]) -> Vec<Comparison> {
    let count = alike.curves.len();
    let pairs = (0..count).flat_map(|a| (a + 1..count).map(move |b| (a, b)));
    pairs.map(|(a, b)| pair(alike, a, b, limits_db)).collect()
}

fn pair(alike: &Alike, a: usize, b: usize, limits_db: [f64; 2]) -> Comparison {
    let (one, other) = (&alike.curves[a], &alike.curves[b]);
    let less: Vec<f64> = one.level_db.iter().zip(&other.level_db).map(|(a, b)| a - b).collect();
    let set_up = |at: usize| alike.set_up_db.get(at).copied().unwrap_or(0.0);
    let u_db: Vec<f64> = (0..less.len()).map(|at| one.u_db[at].hypot(other.u_db[at]).hypot(set_up(at))).collect();
    let count = less.len() as f64;
    let mean = |values: &mut dyn Iterator<Item = f64>| values.sum::<f64>() / count;
    let level_db = mean(&mut less.iter().copied());
    // What differs from point to point averages out over the independent ones; what all points share does not.
    let own: Vec<f64> = (0..less.len())
        .map(|at| one.u_noise_db[at].hypot(other.u_noise_db[at]).hypot(set_up(at)).min(u_db[at]))
        .collect();
    let shared = u_db.iter().zip(&own).map(|(u, own)| u * u - own * own);
    let level_u_db = (mean(&mut own.iter().map(|u| u * u)) / alike.independent + mean(&mut shared.into_iter())).sqrt();
    let worst = (0..less.len()).max_by(|&i, &j| less[i].abs().total_cmp(&less[j].abs())).unwrap_or(0);
    let times = significant_times(alike.independent, 0.5 * FALSE_ALARM);
    let beyond = |d: f64| (d - limits_db[1]).max(limits_db[0] - d);
    let outside = less.iter().zip(&u_db).any(|(d, u)| beyond(*d) > times * u);
    let is_over = less.iter().any(|d| beyond(*d) > 0.0);
    Comparison {
        a,
        b,
        level_db,
        level_u_db,
        rms_db: mean(&mut less.iter().map(|d| d * d)).sqrt(),
        shape_db: mean(&mut less.iter().map(|d| (d - level_db).powi(2))).sqrt(),
        worst_db: less[worst],
        worst_u_db: u_db[worst],
        worst_u_one_jig_db: one.u_noise_db[worst].hypot(other.u_noise_db[worst]).hypot(set_up(worst)),
        worst_hz: alike.hz[worst],
        level_differs: level_db.abs() > significant_times(1.0, 0.5 * FALSE_ALARM) * level_u_db,
        shape_differs: less.iter().zip(&u_db).any(|(d, u)| (d - level_db).abs() > times * u.hypot(level_u_db)),
        verdict: match (outside, is_over) {
            (true, _) => Verdict::Outside,
            (false, true) => Verdict::Undecided,
            (false, false) => Verdict::Within,
        },
    }
}

/// The unit that differs from all others by more than twice what those differ by among themselves; of three or more.
pub fn odd_one_out(pairs: &[Comparison], units: usize) -> Option<usize> {
    if units < 3 || pairs.iter().all(Comparison::is_within) {
        return None;
    }
    let with = |unit: usize| pairs.iter().filter(move |pair| pair.a == unit || pair.b == unit);
    let nearest = |unit: usize| with(unit).map(|pair| pair.rms_db).fold(f64::INFINITY, f64::min);
    let odd = (0..units).max_by(|&a, &b| nearest(a).total_cmp(&nearest(b)))?;
    let others = pairs.iter().filter(|pair| pair.a != odd && pair.b != odd).map(|pair| pair.rms_db).fold(0.0, f64::max);
    (nearest(odd) > 2.0 * others).then_some(odd)
}

/// What differs between two units' fitted numbers, in words: those that chance does not explain.
///
/// Their doubts hold all that the jigs leave open, so that a small difference between two drivers on one jig may pass for
/// chance; what is told is true of two jigs as well.
///
/// Each number by its name (`re_ohm`, `fs_hz`, `qms`, `qes`, `qts`) with its doubt, of the one and of the other.
pub fn differences(numbers: &[(&str, Doubted, Doubted)]) -> Vec<String> {
    let words = |&(name, one, other): &(&str, Doubted, Doubted)| {
        let percent = 100.0 * (one.value / other.value - 1.0);
        let u = 100.0 * one.value / other.value * (one.u / one.value).hypot(other.u / other.value);
        let is_chance = percent.abs() <= 2.0 * u || percent.abs() < LEAST_TOLD_PERCENT;
        let (symbol, [higher, lower]) = meaning(name)?;
        let (direction, meaning) = if percent > 0.0 { ("higher", higher) } else { ("lower", lower) };
        (!is_chance).then(|| format!("{symbol} {direction} by {:.2} ± {:.2} %: {meaning}", percent.abs(), 2.0 * u))
    };
    numbers.iter().filter_map(words).collect()
}

/// Less is not worth a word, however well it is known.
const LEAST_TOLD_PERCENT: f64 = 0.1;

/// Symbol, and what it means when it is higher or lower.
fn meaning(name: &str) -> Option<(&'static str, [&'static str; 2])> {
    Some(match name {
        "re_ohm" => (
            "R_e",
            ["the voice coil is warmer, or another one", "the voice coil is cooler, or turns of it are shorted"],
        ),
        "fs_hz" => {
            ("f_s", ["the suspension is stiffer or the cone lighter", "the suspension is softer or the cone heavier"])
        }
        "qms" => (
            "Q_ms",
            ["less friction in suspension and air", "more friction: dirt or rubbing in the gap, a loose part, a leak"],
        ),
        "qes" => ("Q_es", ["a weaker magnet or a coil out of its middle", "a stronger magnet"]),
        "qts" => ("Q_ts", ["less damping in all", "more damping in all"]),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(level_db: impl Fn(f64) -> f64) -> UnitCurve {
        let hz: Vec<f64> = (0..=600).map(|n| 20.0 * (f64::from(n) / 60.0).exp2()).collect();
        let level_db = hz.iter().map(|&hz| level_db(hz)).collect();
        UnitCurve { u_db: vec![0.01; hz.len()], u_noise_db: vec![0.004; hz.len()], level_db, resolution_hz: 0.0, hz }
    }

    /// A slope of 2 dB an octave against a level line, over two octaves up from 1 kHz: mean 2, mean square 16/3·… by
    /// integration of (2x)² over x from 0 to 2: 16/3, worst 4 at the end.
    #[test]
    fn mean_rms_and_worst_are_those_of_a_slope() {
        let curves = [curve(|hz| 2.0 * (hz / 1000.0).log2()), curve(|_| 0.0)];
        let alike = Alike::of(&curves, Some([1000.0, 4000.0])).unwrap();
        let pair = compared(&alike, [-4.01, 4.01])[0];
        // Sums over 97 points with both ends counted whole: 1 % more than the integral.
        assert!((pair.level_db - 2.0).abs() < 1e-9, "{pair:?}");
        assert!((pair.rms_db / (16.0f64 / 3.0).sqrt() - 1.0).abs() < 0.01, "{pair:?}");
        assert!((pair.worst_db - 4.0).abs() < 1e-9 && (pair.worst_hz - 4000.0).abs() < 1e-6 && pair.is_within());
        assert!((pair.worst_u_db - 0.01 * 2f64.sqrt()).abs() < 1e-12);
        assert!((pair.worst_u_one_jig_db - 0.004 * 2f64.sqrt()).abs() < 1e-12);
        // The doubt of ± 0.014 dB carries no further than four times itself.
        assert_eq!(compared(&alike, [-4.01, 3.99])[0].verdict, Verdict::Undecided);
        assert_eq!(compared(&alike, [-4.01, 3.9])[0].verdict, Verdict::Outside);
        assert!(pair.level_differs && pair.shape_differs);
        let levelled = compared(&alike.levelled(), [-2.01, 2.01])[0];
        assert!(levelled.level_db.abs() < 1e-9 && levelled.is_within() && (levelled.worst_db.abs() - 2.0).abs() < 1e-9);
    }

    #[test]
    fn the_odd_one_of_three_is_named_and_of_three_different_ones_none() {
        let odd = |levels: [f64; 3]| {
            let curves = levels.map(|level| curve(move |_| level));
            odd_one_out(&compared(&Alike::of(&curves, None).unwrap(), [-1.0, 1.0]), 3)
        };
        assert_eq!(odd([0.0, 3.0, 0.2]), Some(1));
        assert_eq!(odd([0.0, 3.0, 6.0]), None);
        assert_eq!(odd([0.0, 0.5, 0.1]), None, "all within");
    }

    #[test]
    fn curves_of_different_bands_are_refused() {
        let whole = curve(|_| 0.0);
        let part = |from: usize, to: usize| UnitCurve {
            hz: whole.hz[from..to].to_vec(),
            level_db: whole.level_db[from..to].to_vec(),
            u_db: whole.u_db[from..to].to_vec(),
            u_noise_db: whole.u_noise_db[from..to].to_vec(),
            resolution_hz: 0.0,
        };
        let (low, high) = (part(0, 100), part(200, 600));
        assert!(matches!(Alike::of(&[low.clone(), high], None), Err(DriverError::NothingShared { .. })));
        assert!(matches!(
            Alike::of(&[low.clone(), low], Some([1e3, 2e3])),
            Err(DriverError::Curve(ImpedanceError::NothingInBand { .. }))
        ));
    }

    #[test]
    fn only_what_chance_does_not_explain_is_put_into_words() {
        let doubted = |value, u| Doubted { value, u };
        let numbers = [
            ("fs_hz", doubted(41.64, 0.12), doubted(40.0, 0.12)),
            ("qms", doubted(4.0, 0.1), doubted(4.1, 0.1)),
            ("re_ohm", doubted(5.6, 1e-5), doubted(5.601, 1e-5)),
        ];
        // 4.10 %, 2u = 2·1.041·√(0.2882² + 0.3²) % = 0.866 %.
        assert_eq!(
            differences(&numbers),
            ["f_s higher by 4.10 ± 0.87 %: the suspension is stiffer or the cone lighter"]
        );
    }
}
