//! A whole measurement beside what a general-purpose numerical library says, and smoothing beside the standard's bands.
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

use boxwright::math::wrapped_deg;
use boxwright::quantity::SampleRate;
use boxwright::response::{GateChoice, OctaveFraction, Settings, analyse};
use boxwright::signal::{Marks, Recording, SampleFormat, Sequence, SweepSettings};

/// scipy's filter, run here section by section (direct form II transposed), measured, and compared with
/// `scipy.signal.sosfreqz`: `tests/reference/make_scipy_filter.py`.
#[test]
fn a_filter_of_scipy_is_measured_as_scipy_computes_it() {
    let text = include_str!("reference/scipy_filter.csv");
    let numbers = |words: &str, by: char| -> Vec<f64> { words.split(by).map(|word| word.parse().unwrap()).collect() };
    let sections: Vec<Vec<f64>> =
        text.lines().filter_map(|line| Some(numbers(line.strip_prefix("# section ")?, ' '))).collect();
    assert_eq!(sections.len(), 5);
    let rows: Vec<Vec<f64>> = text
        .lines()
        .skip_while(|line| !line.starts_with("frequency_hz"))
        .skip(1)
        .map(|line| numbers(line, ','))
        .collect();

    let rate = SampleRate::new(48_000).unwrap();
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 5.0 };
    let sequence = Sequence { sweep, level_dbfs: -12.0, repeats: 1, marks: Marks::BeforeAndAfter, pause_s: 0.5 };
    let excitation = sequence.excitation().unwrap();
    let mut reply = excitation.samples.clone();
    for section in &sections {
        let [b0, b1, b2, a1, a2] = section[..] else { panic!("five coefficients") };
        let (mut s1, mut s2) = (0.0, 0.0);
        for x in &mut reply {
            let y = b0 * *x + s1;
            (s1, s2) = (b1 * *x - a1 * y + s2, b2 * *x - a2 * y);
            *x = y;
        }
    }
    let recording = Recording { rate, channels: vec![reply], format: SampleFormat::Float32 };
    let settings = Settings { gate: GateChoice::None, ..Settings::of_reply(0) };
    let analysis = analyse(&recording, &excitation, &settings).unwrap();
    let response = &analysis.response;
    assert_eq!(response.grid.hz().len(), rows.len());
    for ((hz, value), row) in response.grid.hz().iter().zip(&response.values).zip(&rows) {
        assert!((hz / row[0] - 1.0).abs() < 1e-12);
        let level_db = 20.0 * value.norm().log10();
        // The arrival that was taken off comes back on.
        let phase_rad = value.arg() - std::f64::consts::TAU * hz * analysis.arrival_s;
        let off_deg = wrapped_deg(phase_rad - row[2].to_radians());
        // 0.002 dB and 0.05 degrees, a hundredth of what any microphone is good for, where the filter passes; its stop
        // band, 40 dB down below 30 Hz, is met as well as the sweep's own end there allows.
        let (level_limit_db, phase_limit_deg) = if row[1] > -30.0 { (0.002, 0.05) } else { (0.05, 0.5) };
        assert!((level_db - row[1]).abs() < level_limit_db, "{hz}: {level_db} {}", row[1]);
        assert!(off_deg.abs() < phase_limit_deg, "{hz}: {off_deg}");
    }
}

/// The width of smoothing is that of the bands of IEC 61260-1:2014, equations 1 to 5 (`fractional_octave_bands.csv`).
#[test]
fn smoothing_is_as_wide_as_the_bands_of_the_standard() {
    let mut compared = 0;
    for line in include_str!("reference/fractional_octave_bands.csv").lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let [b, _, exact_hz, lower_hz, upper_hz] = [0, 1, 2, 3, 4].map(|n| fields[n].parse::<f64>().unwrap());
        let width_hz = OctaveFraction::new(1.0 / b).unwrap().width_hz(exact_hz);
        // 1e-9: the table has twelve digits.
        assert!((width_hz / (upper_hz - lower_hz) - 1.0).abs() < 1e-9, "{line}");
        compared += 1;
    }
    assert!(compared > 30, "{compared}");
}
