//! How far a measured curve is from an expected one.
//!
//! ```text
//! d = L_measured − L_expected − offset        rms = √(mean d²)        offset: mean of d (level), or nothing
//! delay: the τ that makes Σ cos(φ_measured − φ_expected + 2πfτ) largest
//! ```
//!
//! Everything at 1000·2^(k/n) Hz, so that all octaves count alike. Impedances are compared in dB of |Z|.
//! Third octaves: IEC 61260-1:2014, exact mid-band frequencies 1000·10^(x/10) Hz and edges a twentieth of a decade away.

use crate::math::highest_place;
use crate::quantity::{FrequencyGrid, QuantityError};
use crate::response::{Point, Sampled};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// What is made equal before curves are compared.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Align {
    /// The mean level in the band.
    pub level: bool,
    /// The delay.
    pub delay: bool,
}

/// What was made equal: measured less expected.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Aligned {
    /// Level.
    pub level_db: f64,
    /// Delay; none where it was not aligned.
    pub delay_s: Option<f64>,
}

/// How two curves differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Where both are known, within the band.
    pub hz: Vec<f64>,
    /// Measured less expected there, after the alignment, dB.
    pub level_db: Vec<f64>,
    /// Standard uncertainty of that, dB; empty where neither curve has one.
    pub u_db: Vec<f64>,
    /// Phase of measured less expected, after the alignment, rad, wrapped; empty where one is not known.
    pub phase_rad: Vec<f64>,
    /// What was made equal.
    pub aligned: Aligned,
    /// Root mean square.
    pub rms_db: f64,
    /// Place of the greatest difference.
    pub worst: usize,
    /// Third octaves that lie in the band whole.
    pub thirds: Vec<ThirdOctave>,
}

/// The difference in a third octave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThirdOctave {
    /// Exact mid-band frequency.
    pub hz: f64,
    /// Mean difference in it.
    pub level_db: f64,
}

/// Why curves can't be compared.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum DifferenceError {
    #[error(
        "the curves have no frequency in common{}: what both have would begin at {from_hz:.1} Hz and end at {to_hz:.1} Hz",
        if *within_band { " within the band" } else { "" }
    )]
    NothingInCommon { from_hz: f64, to_hz: f64, within_band: bool },
    #[error("the delay can't be aligned, a curve has no phase")]
    NoPhase,
    #[error("a curve holds what is no number")]
    NotFinite,
}

impl DifferenceError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::NothingInCommon { .. } => "compare the ranges of the curves, and give a band that both have",
            Self::NoPhase => "align the level alone",
            Self::NotFinite => "look for a level of minus infinity in the curve",
        }
    }
}

/// How `measured` differs from `expected` within a band.
///
/// # Errors
/// [`DifferenceError::NothingInCommon`], `NoPhase` where the delay is to be aligned, `NotFinite`.
pub fn difference(
    measured: &Sampled,
    expected: &Sampled,
    band_hz: [f64; 2],
    align: Align,
    points_per_octave: u32,
) -> Result<Difference, DifferenceError> {
    let ends =
        [measured, expected].map(|curve| [curve.hz.first(), curve.hz.last()].map(|hz| hz.copied().unwrap_or(0.0)));
    let from_hz = ends[0][0].max(ends[1][0]).max(band_hz[0]);
    let to_hz = ends[0][1].min(ends[1][1]).min(band_hz[1]);
    let within_band = band_hz[0] > 0.0 || band_hz[1] < f64::MAX;
    let nothing = DifferenceError::NothingInCommon { from_hz, to_hz, within_band };
    let grid = match FrequencyGrid::of_octave_fractions([from_hz, to_hz], points_per_octave) {
        Ok(grid) => grid,
        Err(QuantityError::Empty) => return Err(nothing),
        Err(_) => return Err(DifferenceError::NotFinite),
    };
    let reader = |curve: &Sampled| curve.reader().ok_or(DifferenceError::NotFinite);
    let (one, other) = (reader(measured)?, reader(expected)?);
    let both = |&hz: &f64| Some((hz, one.at(hz)?, other.at(hz)?));
    let points: Vec<(f64, Point, Point)> = grid.hz().iter().filter_map(both).collect();
    // A single point is no curve.
    if points.len() < 2 {
        return Err(nothing);
    }
    let hz: Vec<f64> = points.iter().map(|(hz, ..)| *hz).collect();
    let raw: Vec<f64> = points.iter().map(|(_, one, other)| one.level_db - other.level_db).collect();
    let offset_db = if align.level { raw.iter().sum::<f64>() / raw.len() as f64 } else { 0.0 };
    let level_db: Vec<f64> = raw.iter().map(|db| db - offset_db).collect();
    let has_phase = one.has_phase() && other.has_phase();
    let turned: Option<Vec<f64>> =
        has_phase.then(|| points.iter().map(|(_, one, other)| one.phase_rad - other.phase_rad).collect());
    let delay_s = match (align.delay, &turned) {
        (false, _) => None,
        (true, None) => return Err(DifferenceError::NoPhase),
        (true, Some(turned)) => Some(delay_s(&hz, turned)),
    };
    let wrapped = |(hz, turn): (&f64, &f64)| Complex64::cis(turn + TAU * hz * delay_s.unwrap_or(0.0)).arg();
    let phase_rad = turned.as_ref().map_or_else(Vec::new, |turned| hz.iter().zip(turned).map(wrapped).collect());
    let u_db = if one.has_doubt() || other.has_doubt() {
        points.iter().map(|(_, one, other)| one.u_db.hypot(other.u_db)).collect()
    } else {
        Vec::new()
    };
    let rms_db = (level_db.iter().map(|db| db * db).sum::<f64>() / level_db.len() as f64).sqrt();
    let worst = (0..hz.len()).max_by(|a, b| level_db[*a].abs().total_cmp(&level_db[*b].abs())).unwrap_or(0);
    let thirds = thirds(&hz, &level_db);
    let aligned = Aligned { level_db: offset_db, delay_s };
    Ok(Difference { hz, level_db, u_db, phase_rad, aligned, rms_db, worst, thirds })
}

/// Widest delay that is looked for, s, and the finest step of the first look, in turns of the highest frequency.
const WIDEST_S: f64 = 20e-3;
const STEP_TURNS: f64 = 0.1;

/// How much later the measured one is.
fn delay_s(hz: &[f64], turned: &[f64]) -> f64 {
    let alike = |delay_s: f64| hz.iter().zip(turned).map(|(hz, turn)| (turn + TAU * hz * delay_s).cos()).sum::<f64>();
    highest_place(alike, WIDEST_S, STEP_TURNS / hz[hz.len() - 1])
}

fn thirds(hz: &[f64], level_db: &[f64]) -> Vec<ThirdOctave> {
    let edge = 10f64.powf(0.05);
    let (first, last) = (hz[0], hz[hz.len() - 1]);
    // A hair of slack: a band whose edge is the band's own end counts.
    let slack = 1.0 + 1e-9;
    (-20..=15)
        .map(|x| 1000.0 * 10f64.powf(f64::from(x) / 10.0))
        .filter(|mid| mid / edge * slack >= first && mid * edge <= last * slack)
        .filter_map(|mid| {
            let inside = hz.iter().zip(level_db).filter(|(hz, _)| (mid / edge..mid * edge).contains(*hz));
            let levels: Vec<f64> = inside.map(|(_, db)| *db).collect();
            (!levels.is_empty())
                .then(|| ThirdOctave { hz: mid, level_db: levels.iter().sum::<f64>() / levels.len() as f64 })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sampled(level: impl Fn(f64) -> f64, delay_s: f64) -> Sampled {
        let hz: Vec<f64> = (0..=400).map(|n| 20.0 * 1000f64.powf(f64::from(n) / 400.0)).collect();
        let phase_rad = hz.iter().map(|hz| Complex64::cis(-TAU * hz * delay_s).arg()).collect();
        Sampled { level_db: hz.iter().map(|hz| level(*hz)).collect(), phase_rad, u_db: vec![0.3; hz.len()], hz }
    }

    /// A known offset and delay come back, and what is left is what was put in: a tilt of 3 dB an octave has the rms
    /// 3·n/√12 over n octaves, closed form.
    #[test]
    fn offset_delay_and_tilt_come_back() {
        let (measured, expected) =
            (sampled(|hz| 84.0 + 3.0 * (hz / 1000.0).log2(), 0.35e-3), sampled(|_| 80.0, 0.1e-3));
        let align = Align { level: true, delay: true };
        let found = difference(&measured, &expected, [250.0, 4000.0], align, 48).unwrap();
        // 1e-3: 193 points for an integral; the phase of the curves is read between points.
        assert!((found.aligned.level_db - 4.0).abs() < 1e-9);
        assert!((found.aligned.delay_s.unwrap() - 0.25e-3).abs() < 1e-8, "{:?}", found.aligned);
        assert!((found.rms_db - 3.0 * 4.0 / 12f64.sqrt()).abs() < 0.02, "{}", found.rms_db);
        assert!((found.level_db[found.worst].abs() - 6.0).abs() < 1e-9);
        assert!(found.phase_rad.iter().all(|rad| rad.abs() < 1e-3));
        assert!((found.u_db[7] - 0.3 * 2f64.sqrt()).abs() < 1e-12);
        // Third octaves from 315 to 3150 Hz lie in it whole.
        assert_eq!(found.thirds.len(), 11);
        assert!(found.thirds.iter().all(|third| (third.level_db - 3.0 * (third.hz / 1000.0).log2()).abs() < 0.05));
    }

    #[test]
    fn what_can_not_be_compared_is_told() {
        let curve = sampled(|_| 0.0, 0.0);
        let mut elsewhere = curve.clone();
        elsewhere.hz.iter_mut().for_each(|hz| *hz *= 1e4);
        let band_hz = [20.0, 20e3];
        let compared = |other: &Sampled, align| difference(&curve, other, band_hz, align, 48);
        assert!(matches!(compared(&elsewhere, Align::default()), Err(DifferenceError::NothingInCommon { .. })));
        let silent = Sampled { phase_rad: Vec::new(), ..curve.clone() };
        let align = Align { level: true, delay: true };
        assert_eq!(compared(&silent, align), Err(DifferenceError::NoPhase));
        assert_eq!(compared(&silent, Align::default()).unwrap().rms_db, 0.0);
    }
}
