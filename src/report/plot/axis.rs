//! Axes: where a value stands between the two ends, and what is written beside it.
//!
//! ```text
//! linear:       x = (v − from)/(to − from)
//! logarithmic:  x = ln(v/from)/ln(to/from)
//! ```
//!
//! The fraction is kept in double precision until a curve has been cut at the frame; the drawing library's own
//! axes round to pixels first, and its logarithmic one labels no frequency below 100 Hz.

use super::range::linear_steps;

/// How values are spread along an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scale {
    Linear,
    Logarithmic,
}

/// A line of the grid, with its label unless it is a fine one.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    pub at: f64,
    pub label: Option<String>,
}

/// An axis: finite ends, `from < to`, both positive where it is logarithmic.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Axis {
    pub scale: Scale,
    pub from: f64,
    pub to: f64,
    /// What a 1 of the labels stands for.
    pub size: f64,
    pub ticks: Vec<Tick>,
    pub title: String,
}

/// More decades than these are labelled once a decade only: the labels would touch.
const MOST_LABELLED_DECADES: f64 = 6.0;

impl Axis {
    /// The axis of frequencies: labels at 1, 2, 5 of each decade, fine lines at the other whole multiples.
    pub fn of_frequency([from, to]: [f64; 2]) -> Self {
        let mut ticks = Vec::new();
        for decade in from.log10().floor() as i32..=to.log10().ceil() as i32 {
            for digit in 1..=9 {
                let at = power_of_ten_times(f64::from(digit), decade);
                let slack = 1e-9 * at;
                if at < from - slack || at > to + slack {
                    continue;
                }
                let crowded = (to / from).log10() > MOST_LABELLED_DECADES;
                let labelled = digit == 1 || (!crowded && matches!(digit, 2 | 5));
                ticks.push(Tick { at, label: labelled.then(|| frequency_label(at)) });
            }
        }
        Self { scale: Scale::Logarithmic, from, to, size: 1.0, ticks, title: "frequency (Hz)".to_owned() }
    }

    /// An axis with a line and a label at every whole multiple of a 1-2-5 step.
    pub fn linear([from, to]: [f64; 2], steps: f64, title: &str) -> Self {
        let step = linear_steps([from, to], steps);
        let decimals = (-step.log10().floor()).clamp(0.0, 12.0) as usize;
        Self::with_step([from, to], step, title, |value| signed(value, decimals))
    }

    /// An axis with a line at every whole multiple of `step`, written as `label` says.
    pub fn with_step([from, to]: [f64; 2], step: f64, title: &str, label: impl Fn(f64) -> String) -> Self {
        let first = (from / step - 1e-9).ceil() as i64;
        let last = (to / step + 1e-9).floor() as i64;
        let tick = |at: f64| Tick { at, label: Some(label(at)) };
        let ticks = (first..=last).map(|k| tick(k as f64 * step)).collect();
        Self { scale: Scale::Linear, from, to, size: 1.0, ticks, title: title.to_owned() }
    }

    /// Where a value stands: 0 at `from`, 1 at `to`, beyond them outside; none for what has no place.
    pub fn fraction(&self, value: f64) -> Option<f64> {
        let fraction = match self.scale {
            Scale::Linear => (value - self.from) / (self.to - self.from),
            Scale::Logarithmic => (value / self.from).ln() / (self.to / self.from).ln(),
        };
        fraction.is_finite().then_some(fraction)
    }

    /// The unit of what the labels say, as the title has it in brackets.
    pub fn unit(&self) -> &str {
        let inside = self.title.rsplit_once('(').and_then(|(_, rest)| rest.strip_suffix(')')).unwrap_or_default();
        if inside.starts_with("10") { inside } else { inside.split([' ', ',']).next().unwrap_or_default() }
    }

    /// How many decades the axis spans; of use where it is logarithmic.
    pub fn decades(&self) -> f64 {
        (self.to / self.from).log10()
    }
}

/// `digit·10^decade` as close as a double comes to the decimal number.
pub(super) fn power_of_ten_times(digit: f64, decade: i32) -> f64 {
    if decade < 0 { digit / 10f64.powi(-decade) } else { digit * 10f64.powi(decade) }
}

/// `50`, `2k`, `1M`: as they stand on a dial.
fn frequency_label(hz: f64) -> String {
    match hz {
        hz if hz >= 0.9999e6 => format!("{}M", tidy(hz / 1e6)),
        hz if hz >= 0.9999e3 => format!("{}k", tidy(hz / 1e3)),
        hz => tidy(hz),
    }
}

fn tidy(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A number with a real minus sign, and no negative zero.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let is_zero = text.chars().all(|c| matches!(c, '0' | '.'));
    if value < 0.0 && !is_zero { format!("−{text}") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<&str> {
        axis.ticks.iter().filter_map(|tick| tick.label.as_deref()).collect()
    }

    #[test]
    fn the_audible_range_is_labelled_1_2_5_from_20_to_20k() {
        let axis = Axis::of_frequency([20.0, 20_000.0]);
        let expected = ["20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k"];
        assert_eq!(labels(&axis), expected);
        // 20, 30 … 90, 100 … 900, 1k … 9k, 10k, 20k: 8 + 9 + 9 + 2 lines.
        assert_eq!(axis.ticks.len(), 28);
    }

    #[test]
    fn frequencies_stand_at_their_logarithm() {
        let axis = Axis::of_frequency([20.0, 20_000.0]);
        // log10(200/20)/3 and log10(632.4555/20)/3 = 1/2. 1e-12: three logarithms and a division.
        for (hz, place) in [(20.0, 0.0), (200.0, 1.0 / 3.0), (632.455_532_033_675_9, 0.5), (20_000.0, 1.0)] {
            assert!((axis.fraction(hz).unwrap() - place).abs() < 1e-12, "{hz}");
        }
        assert_eq!(axis.fraction(0.0), None);
        assert_eq!(axis.fraction(-5.0), None);
        assert_eq!(axis.fraction(f64::NAN), None);
    }

    #[test]
    fn the_unit_is_read_from_the_title() {
        let unit = |title: &str| Axis::linear([0.0, 1.0], 5.0, title).unit().to_owned();
        assert_eq!(unit("level (dB re 20 µPa at 2.83 V, 1 m)"), "dB");
        assert_eq!(unit("level (dB, reply/drive)"), "dB");
        assert_eq!(unit("amplitude (10⁻³ Pa/V)"), "10⁻³ Pa/V");
        assert_eq!(unit("group delay (ms after the arrival)"), "ms");
        assert_eq!(unit("periods after the arrival"), "");
    }

    #[test]
    fn low_and_very_wide_ranges_keep_their_labels_apart() {
        assert_eq!(labels(&Axis::of_frequency([0.5, 5.0])), ["0.5", "1", "2", "5"]);
        assert_eq!(labels(&Axis::of_frequency([0.1, 1e6])), ["0.1", "1", "10", "100", "1k", "10k", "100k", "1M"]);
    }

    #[test]
    fn a_linear_axis_has_round_steps_and_no_negative_zero() {
        let axis = Axis::linear([-1.0, 5.0], 8.0, "time");
        assert_eq!(labels(&axis), ["−1", "0", "1", "2", "3", "4", "5"]);
        assert_eq!(signed(-0.04, 1), "0.0");
        assert_eq!(signed(-0.06, 1), "−0.1");
    }
}
