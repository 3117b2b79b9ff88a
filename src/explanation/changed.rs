//! Where a difference is more than its doubt: what a cloth, a bead of glue or a fresh filling changed.
//!
//! ```text
//! |d| > z_c·u over neighbours of one sign        mean d of the stretch, u² = ⟨u²⟩/n
//! ```
//!
//! d, u: difference and its standard uncertainty; z_c: `math/significance.rs`, for a chance of 1 % that anything is told where nothing
//! changed; n: independent values in the stretch. A stretch narrower than a sixth of an octave, or weaker than a tenth of a
//! decibel, is left out. Ours.

use super::Difference;
use crate::math::{independent_points, significant_times};

/// A stretch in which two curves differ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Changed {
    /// From and to.
    pub band_hz: [f64; 2],
    /// Mean difference.
    pub level_db: f64,
    /// Its standard uncertainty.
    pub u_db: f64,
}

/// Chance that a change is told where there is none.
pub const FALSE_CHANGE: f64 = 0.01;
const NARROWEST: f64 = 1.122;
const LEAST_DB: f64 = 0.1;
/// Gaps up to so many points between stretches of one sign are no gaps.
const GAP: usize = 4;

/// The stretches in which `found` is more than its doubt; empty where it has none. Values nearer than `resolution_hz` say the same.
pub fn changed(found: &Difference, resolution_hz: f64) -> Vec<Changed> {
    if found.u_db.len() != found.hz.len() {
        return Vec::new();
    }
    let times = significant_times(independent_points(&found.hz, resolution_hz), FALSE_CHANGE);
    let sign = |at: usize| {
        let d = found.level_db[at];
        if d.abs() > times * found.u_db[at] { d.signum() } else { 0.0 }
    };
    let mut stretches: Vec<(usize, usize, f64)> = Vec::new();
    for at in 0..found.hz.len() {
        let sign = sign(at);
        if sign == 0.0 {
            continue;
        }
        match stretches.last_mut() {
            Some((_, end, of)) if *of == sign && at - *end <= GAP + 1 => *end = at,
            _ => stretches.push((at, at, sign)),
        }
    }
    stretches
        .into_iter()
        .filter(|(from, to, _)| found.hz[*to] / found.hz[*from] >= NARROWEST)
        .map(|(from, to, _)| {
            let points = (to - from + 1) as f64;
            let level_db = found.level_db[from..=to].iter().sum::<f64>() / points;
            let square = found.u_db[from..=to].iter().map(|u| u * u).sum::<f64>() / points;
            let independent = independent_points(&found.hz[from..=to], resolution_hz);
            Changed { band_hz: [found.hz[from], found.hz[to]], level_db, u_db: (square / independent).sqrt() }
        })
        .filter(|change| change.level_db.abs() >= LEAST_DB)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::explanation::{Align, difference};
    use crate::math::Random;
    use crate::response::Sampled;

    fn curve(change: impl Fn(f64) -> f64, seed: u64) -> Sampled {
        let mut random = Random::new(seed);
        let hz: Vec<f64> = (0..481).map(|n| 20.0 * (f64::from(n) / 48.0).exp2()).collect();
        let level_db = hz.iter().map(|&hz| change(hz) + 0.05 * random.normal()).collect();
        Sampled { level_db, phase_rad: Vec::new(), u_db: vec![0.05; hz.len()], hz }
    }

    fn found(change: impl Fn(f64) -> f64, seed: u64) -> Vec<Changed> {
        let (after, before) = (curve(change, 2 * seed), curve(|_| 0.0, 2 * seed + 1));
        changed(&difference(&after, &before, [20.0, 20e3], Align::default(), 48).unwrap(), 0.0)
    }

    /// A cloth that takes 1 dB above 8 kHz, and a port that lifts 50 Hz.
    #[test]
    fn what_changed_is_told_with_its_band_and_size() {
        let change = |hz: f64| if hz > 8_000.0 { -1.0 } else { 2.0 * (-((hz / 50.0).ln() / 0.2).powi(2)).exp() };
        let all = found(change, 1);
        assert_eq!(all.len(), 2, "{all:?}");
        assert!(
            (35.0..48.0).contains(&all[0].band_hz[0])
                && (52.0..72.0).contains(&all[0].band_hz[1])
                && all[0].level_db > 0.8
        );
        assert!((all[1].band_hz[0] / 8_000.0 - 1.0).abs() < 0.03 && all[1].band_hz[1] > 19_000.0);
        // Mean of 64 differences of 0.07 dB: 0.009 dB; three of them.
        assert!(
            (all[1].level_db + 1.0).abs() < 0.03 && (all[1].u_db - 0.0707 / 64f64.sqrt()).abs() < 0.001,
            "{:?}",
            all[1]
        );
    }

    /// Three points, 4 % of frequency, at which the cloth takes nothing: still one cloth; a third of an octave without it makes two stretches.
    #[test]
    fn a_narrow_gap_does_not_part_a_stretch_and_a_wide_one_does() {
        let without =
            |to_hz: f64| move |hz: f64| if hz < 4_000.0 || (8_000.0..to_hz).contains(&hz) { 0.0 } else { -1.0 };
        assert_eq!(found(without(8_300.0), 3).len(), 1);
        assert_eq!(found(without(10_000.0), 4).len(), 2);
    }

    #[test]
    fn where_nothing_changed_nothing_is_told() {
        // 1 % of a hundred, and a stretch must be a sixth of an octave: none.
        assert!((0..100).all(|seed| found(|_| 0.0, 10 + seed).is_empty()));
    }
}
