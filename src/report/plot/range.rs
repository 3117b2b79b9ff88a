//! How far an axis reaches, chosen from what is to be shown.

use super::axis::power_of_ten_times;

/// Frequencies from the 1-2-5 number at or below the lowest to the one at or above the highest, a decade at least.
///
/// Within 3 % of such a number a curve is taken to begin there: grids begin at 20.2 Hz or end at 20.3 kHz.
/// Without any usable frequency: 20 Hz to 20 kHz.
pub(super) fn frequency_range_hz(frequencies_hz: impl Iterator<Item = f64>) -> [f64; 2] {
    // Beyond these no loudspeaker is meant; they bound the number of grid lines.
    let usable = frequencies_hz.filter(|hz| (1e-2..=1e7).contains(hz));
    let Some([lowest, highest]) = extremes(usable) else { return [20.0, 20_000.0] };
    let from = preferred_below(lowest * 1.03);
    let to = preferred_above(highest * 0.97);
    if to / from >= 9.999 { [from, to] } else { [from, from * 10.0] }
}

/// The greatest 1-2-5 number that is not above `value`.
fn preferred_below(value: f64) -> f64 {
    let decade = value.log10().floor() as i32;
    let candidates = [(1.0, decade), (2.0, decade), (5.0, decade), (1.0, decade + 1)];
    let numbers = candidates.map(|(digit, decade)| power_of_ten_times(digit, decade));
    numbers.into_iter().rfind(|number| *number <= value).unwrap_or(numbers[0])
}

/// The smallest 1-2-5 number that is not below `value`.
fn preferred_above(value: f64) -> f64 {
    let decade = value.log10().floor() as i32;
    let candidates = [(1.0, decade), (2.0, decade), (5.0, decade), (1.0, decade + 1)];
    let numbers = candidates.map(|(digit, decade)| power_of_ten_times(digit, decade));
    numbers.into_iter().find(|number| *number >= value).unwrap_or(numbers[3])
}

/// How many decibels an axis of levels may span.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    pub least_db: f64,
    pub most_db: f64,
}

/// Levels in whole tens from below the lowest to above the highest, at least `least_db` and at most `most_db` wide.
///
/// Where the levels span more, the top is kept: what is loud matters. Without any usable level: `least_db` down from 0.
pub(super) fn level_range_db(levels_db: impl Iterator<Item = f64>, span: Span) -> [f64; 2] {
    // A thousand decibels are beyond anything that sounds: such numbers would only make ten thousand grid lines.
    let usable = levels_db.filter(|level| level.abs() <= 1000.0);
    let Some([lowest, highest]) = extremes(usable) else { return [-span.least_db, 0.0] };
    // Room for the stroke of a curve that lies on a line of the grid.
    let room_db = 1.0;
    let top = ((highest + room_db) / 10.0).ceil() * 10.0;
    let bottom = ((lowest - room_db) / 10.0).floor() * 10.0;
    [bottom.clamp(top - span.most_db, top - span.least_db), top]
}

/// The smallest and the greatest of the finite numbers.
pub(super) fn extremes(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    values.filter(|value| value.is_finite()).fold(None, |sofar, value| match sofar {
        None => Some([value, value]),
        Some([least, most]) => Some([value.min(least), value.max(most)]),
    })
}

/// The 1-2-5 number that divides a range into about so many steps.
pub(super) fn linear_steps([from, to]: [f64; 2], steps: f64) -> f64 {
    preferred_above((to - from) / steps * 0.999)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_grid_of_48_points_an_octave_reaches_from_20_to_20k() {
        assert_eq!(frequency_range_hz([20.16, 1000.0, 20_010.0].into_iter()), [20.0, 20_000.0]);
        assert_eq!(frequency_range_hz([19.8, 20_300.0].into_iter()), [20.0, 20_000.0]);
        assert_eq!(frequency_range_hz([31.0, 15_000.0].into_iter()), [20.0, 20_000.0]);
        assert_eq!(frequency_range_hz([1000.0].into_iter()), [1000.0, 10_000.0]);
        assert_eq!(frequency_range_hz([f64::NAN, 0.0, -3.0].into_iter()), [20.0, 20_000.0]);
    }

    #[test]
    fn levels_are_framed_in_whole_tens() {
        let span = Span { least_db: 40.0, most_db: 60.0 };
        assert_eq!(level_range_db([62.0, 84.5].into_iter(), span), [50.0, 90.0]);
        assert_eq!(level_range_db([-3.0, 89.5].into_iter(), span), [40.0, 100.0]);
        assert_eq!(level_range_db([f64::NEG_INFINITY, f64::NAN].into_iter(), span), [-40.0, 0.0]);
    }

    #[test]
    fn steps_are_1_2_or_5() {
        assert_eq!(linear_steps([0.0, 10.0], 10.0), 1.0);
        assert_eq!(linear_steps([0.0, 13.0], 10.0), 2.0);
        assert_eq!(linear_steps([0.0, 0.04], 10.0), 0.005);
    }
}
