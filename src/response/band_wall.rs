//! Where a response ends as no loudspeaker ends: a band-limited path, noise suppression, a gate for noise.
//!
//! ```text
//! wall at f:   L(f) − L(f·2^{1/6}) > 30 dB   and L stays that far below L(f) to the end of the band
//! ```
//!
//! L: level, dB; the same downwards at the lower end. Thirty decibels in a sixth of an octave are 180 dB an octave: thirty poles. Loudspeakers, boxes
//! and crossovers have four to eight; codecs, telephones and lowered sample rates have hundreds. Beyond a wall nothing was heard, and nothing is
//! reported. Ours, because a curve that falls off a cliff is drawn like any other.

/// What lies within the walls, and on which sides there is one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Walls {
    pub within_hz: [f64; 2],
    pub below: bool,
    pub above: bool,
}

const DROP_DB: f64 = 30.0;
/// A sixth of an octave.
const STEP_RATIO: f64 = 1.122_462_048_309_373;
/// A wall's foot already bends what lies next to it: a twelfth of an octave.
const MARGIN_RATIO: f64 = 1.059_463_094_359_295;
/// What is left must be a band.
const LEAST_RATIO: f64 = 1.5;

/// The walls of a curve, whose frequencies rise; `None` where it has none.
pub(super) fn walls(hz: &[f64], level_db: &[f64]) -> Option<Walls> {
    let upper = wall_above(hz, level_db);
    let mirrored: Vec<f64> = hz.iter().rev().map(|hz| hz.recip()).collect();
    let backwards: Vec<f64> = level_db.iter().rev().copied().collect();
    let lower = wall_above(&mirrored, &backwards).map(|wall| wall.recip());
    let (&first, &last) = hz.first().zip(hz.last())?;
    let within_hz = [lower.map_or(first, |wall| wall * MARGIN_RATIO), upper.map_or(last, |wall| wall / MARGIN_RATIO)];
    let found = upper.is_some() || lower.is_some();
    (found && within_hz[1] > LEAST_RATIO * within_hz[0]).then_some(Walls {
        within_hz,
        below: lower.is_some(),
        above: upper.is_some(),
    })
}

/// The frequency from which a curve has fallen off a wall, with everything above it at the bottom.
fn wall_above(hz: &[f64], level_db: &[f64]) -> Option<f64> {
    // The highest level from each point on.
    let mut beyond = vec![f64::MIN; level_db.len() + 1];
    for (at, level) in level_db.iter().enumerate().rev() {
        beyond[at] = beyond[at + 1].max(*level);
    }
    (0..hz.len()).find_map(|at| {
        let foot = hz.partition_point(|&other| other < hz[at] * STEP_RATIO);
        // Something must lie beyond it, or nobody knows whether it stays down.
        let known = foot + 4 < hz.len();
        (known && beyond[foot] < level_db[at] - DROP_DB).then_some(hz[at])
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid() -> Vec<f64> {
        (0..480).map(|n| 20.0 * (f64::from(n) / 48.0).exp2()).collect()
    }

    /// Closed forms: a brick wall at 4 kHz to −90 dB, and Butterworth's low-pass of order 8 there.
    #[test]
    fn a_telephone_has_a_wall_and_a_steep_crossover_none() {
        let hz = grid();
        let telephone: Vec<f64> = hz.iter().map(|&hz| if hz < 4_000.0 { 0.0 } else { -90.0 }).collect();
        let found = walls(&hz, &telephone).unwrap();
        assert!(found.above && !found.below);
        // A sixth and a twelfth of an octave below it, a 48th of play.
        assert!((found.within_hz[1] * 2f64.powf(0.25) / 4_000.0 - 1.0).abs() < 0.03, "{found:?}");
        let crossover: Vec<f64> = hz.iter().map(|&hz| -10.0 * (1.0 + (hz / 4_000.0).powi(16)).log10()).collect();
        assert_eq!(walls(&hz, &crossover), None);
    }

    #[test]
    fn a_notch_is_no_wall_and_a_gate_that_opens_late_is_one() {
        let hz = grid();
        let notch: Vec<f64> = hz.iter().map(|&hz| if (900.0..1_100.0).contains(&hz) { -60.0 } else { 0.0 }).collect();
        assert_eq!(walls(&hz, &notch), None);
        let late: Vec<f64> = hz.iter().map(|&hz| if hz < 100.0 { -80.0 } else { 0.0 }).collect();
        let found = walls(&hz, &late).unwrap();
        assert!(found.below && !found.above && found.within_hz[0] > 100.0, "{found:?}");
    }
}
