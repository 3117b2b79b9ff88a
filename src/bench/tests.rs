//! The whole bench against its truth.

use super::*;
use crate::quantity::SampleRate;
use num_complex::Complex64;
use std::f64::consts::TAU;

fn at_rate(whole_hz: u32, change: impl FnOnce(BenchSettings) -> BenchSettings) -> Bench {
    Bench::new(change(BenchSettings { rate: SampleRate::new(whole_hz).unwrap(), ..BenchSettings::default() })).unwrap()
}

/// The definition of the spectrum at one frequency.
fn spectrum_at(samples: &[f64], hz: f64, rate_hz: f64) -> Complex64 {
    let turn = Complex64::cis(-TAU * hz / rate_hz);
    // Horner's rule from the last sample keeps the rounding at 1e-16 for each of a hundred thousand turns.
    samples.iter().rev().fold(Complex64::ZERO, |sum, &sample| sum * turn + sample)
}

/// A third-octave grid from 30 Hz up to a limit.
fn grid_hz(to_hz: f64) -> Vec<f64> {
    (0..40).map(|n| 30.0 * 2f64.powf(f64::from(n) / 3.0)).filter(|&hz| hz <= to_hz).collect()
}

fn degrees_apart(a_deg: f64, b_deg: f64) -> f64 {
    (a_deg - b_deg + 180.0).rem_euclid(360.0) - 180.0
}

#[test]
fn a_small_impulse_comes_back_as_the_circuit_diagram_says() {
    for whole_hz in [44_100, 48_000, 96_000] {
        let bench = at_rate(whole_hz, BenchSettings::quiet);
        let rate_hz = f64::from(whole_hz);
        // 0.2 mV for one sample: bends of the drivers are below 1e-8.
        let drive = 1e-5;
        let channels = bench.record(&[drive], 2 * whole_hz as usize);
        let truth = bench.truth(&grid_hz(18_000.0), -20.0);
        for (channel, curve, late_s) in [(0, &truth.direct, truth.arrival_s), (1, &truth.loopback, 0.0)] {
            for (point, &hz) in curve.frequency_hz.iter().enumerate() {
                let found = spectrum_at(&channels[channel], hz, rate_hz) / drive;
                let found = found * Complex64::cis(TAU * hz * (truth.latency_s + late_s));
                let level_db = 20.0 * found.norm().log10() - curve.level_db[point];
                let phase_deg = degrees_apart(found.arg().to_degrees(), curve.phase_deg[point]);
                // Steps of a sixth of a radian at 20 kHz leave 1.2e-4 dB at 15 kHz; in the bass it is 1e-6 dB.
                let says = format!("{whole_hz} Hz, channel {channel}, {hz:.0} Hz: {level_db:e} dB {phase_deg:e}°");
                assert!(level_db.abs() < 3e-4 && phase_deg.abs() < 2e-3, "{says}");
            }
        }
    }
}

#[test]
fn all_sample_rates_have_one_truth() {
    let [slow, middle, fast] =
        [44_100, 48_000, 96_000].map(|hz| at_rate(hz, |settings| settings).truth(&grid_hz(18_000.0), -20.0));
    for other in [&slow, &fast] {
        for (a, b) in middle.direct.level_db.iter().zip(&other.direct.level_db) {
            // Twice the ripple of both converters, 1e-6 each.
            assert!((a - b).abs() < 4e-5, "{a} {b}");
        }
        assert_eq!(middle.reflections, other.reflections);
        for (a, b) in
            middle.harmonics.relative_db["2"].iter().flatten().zip(other.harmonics.relative_db["2"].iter().flatten())
        {
            assert!((a - b).abs() < 4e-5, "{a} {b}");
        }
    }
}

/// 160 Hz: 300 frames a period at 48 kHz.
#[test]
fn a_recorded_tone_has_the_harmonics_of_the_truth() {
    let bench = at_rate(48_000, BenchSettings::quiet);
    let (hz, rate_hz, level_dbfs) = (160.0, 48_000.0, -14.0);
    let peak = 10f64.powf(level_dbfs / 20.0);
    let play: Vec<f64> = (0..96_000).map(|n| peak * (TAU * hz * f64::from(n) / rate_hz).sin()).collect();
    let reply = &bench.record(&play, 96_000)[0];
    let truth = bench.truth(&[hz], level_dbfs).harmonics;
    let tone = truth.frequency_hz.iter().position(|&found| found == hz).unwrap();
    // From 1.5 s on AC coupling has settled to 1e-6.
    let steady = &reply[72_000..84_000];
    let at = |order: u32| spectrum_at(steady, f64::from(order) * hz, rate_hz).norm();
    for order in 2..=5 {
        let found_db = 20.0 * (at(order) / at(1)).log10();
        let expected_db = truth.relative_db[&order.to_string()][tone].unwrap();
        // Both solve the same equations with different steps; the record's interpolation adds 1e-6 of the fundamental.
        let tolerance_db = if expected_db > -80.0 { 0.005 } else { 0.1 };
        assert!((found_db - expected_db).abs() < tolerance_db, "H{order}: {found_db} {expected_db}");
    }
    assert!(truth.relative_db["2"][tone].unwrap() > -60.0, "the scenario is meant to distort audibly");
}

#[test]
fn silence_stays_silent() {
    let bench = at_rate(48_000, BenchSettings::quiet);
    assert!(bench.record(&[0.0; 4_800], 9_600).iter().flatten().all(|&sample| sample == 0.0));
    assert!(bench.record(&[], 0).iter().all(Vec::is_empty));
}

#[test]
fn equal_seeds_give_equal_records() {
    let with_seed = |seed| at_rate(48_000, |settings| BenchSettings { seed, ..settings }).record(&[0.1], 2_000);
    assert_eq!(with_seed(5), with_seed(5));
    let (one, other) = (with_seed(5), with_seed(6));
    assert!(one.iter().zip(&other).all(|(a, b)| a != b));
}

#[test]
fn the_microphone_channel_is_as_noisy_as_it_says() {
    let samples = at_rate(48_000, |settings| settings).record(&[], 96_000);
    for (channel, level_dbfs) in samples.iter().zip([-88.0, -105.0]) {
        let power = channel.iter().map(|x| x * x).sum::<f64>() / 96_000.0;
        // Pink noise holds much of its power in few bins: 0.2 dB of spread over 2 s.
        assert!((10.0 * (2.0 * power).log10() - level_dbfs).abs() < 0.8);
    }
}

/// A tone's phase at two moments gives its frequency on the recorder's clock: f/(1 + d).
#[test]
fn a_fast_recorder_hears_a_lower_tone_on_both_channels() {
    let drift_ppm = 120.0;
    let bench = at_rate(48_000, |settings| {
        let mut settings = settings.quiet();
        settings.interface.drift_ppm = drift_ppm;
        settings
    });
    let (hz, rate_hz) = (1_000.0, 48_000.0);
    let play: Vec<f64> = (0..96_000).map(|n| 0.01 * (TAU * hz * f64::from(n) / rate_hz).sin()).collect();
    for channel in bench.record(&play, 96_000) {
        let phase = |from: usize| spectrum_at(&channel[from..from + 9_600], hz, rate_hz);
        let turned_rad = (phase(81_600) / phase(33_600)).arg();
        let expected_rad = TAU * hz * (1.0 / (1.0 + drift_ppm * 1e-6) - 1.0);
        // One second apart; 0.01 ppm, a hundredth of what an analysis is asked for.
        assert!((turned_rad - expected_rad).abs() < TAU * hz * 1e-8, "{turned_rad} {expected_rad}");
    }
}

#[test]
fn walls_answer_at_the_time_and_with_the_level_of_the_truth() {
    let mut settings = BenchSettings::default().quiet();
    let quiet = Bench::new(settings.clone()).unwrap();
    settings.surroundings = Surroundings::Room(Room::default());
    let room = Bench::new(settings).unwrap();
    let truth = room.truth(&[1000.0], -20.0);
    let [with, without] = [&room, &quiet].map(|bench| bench.record(&[0.01], 24_000).swap_remove(0));
    let straight_frame = (truth.latency_s + truth.arrival_s) * 48_000.0;
    let peak = |samples: &[f64]| samples.iter().fold(0.0, |peak: f64, sample| peak.max(sample.abs()));
    let walls: Vec<f64> = with.iter().zip(&without).map(|(a, b)| a - b).collect();
    let first = truth.reflections[0];
    assert!(first.walls == 1 && first.level_db > -25.0, "{first:?}");
    let first_frame = (straight_frame + first.later_ms * 48.0) as usize;
    // A millisecond before it nothing but the converters' ringing, right after it more than a hundredth of the straight sound.
    assert!(peak(&walls[..first_frame - 48]) < 1e-3 * peak(&without));
    assert!(peak(&walls[first_frame..first_frame + 48]) > 0.03 * peak(&without));
}

#[test]
fn beyond_full_scale_is_cut_on_the_way_out_and_in() {
    let bench = at_rate(48_000, BenchSettings::quiet);
    assert_eq!(bench.record(&[3.0], 4_000), bench.record(&[1.0], 4_000));
    let mut settings = BenchSettings::default().quiet();
    settings.microphone.sensitivity_dbfs_at_94db = 30.0;
    let loud: Vec<f64> = (0..4_800).map(|n| 0.5 * (TAU * f64::from(n) / 48.0).sin()).collect();
    let reply = &Bench::new(settings).unwrap().record(&loud, 9_600)[0];
    assert!(reply.contains(&1.0) && reply.iter().all(|sample| sample.abs() <= 1.0));
}

#[test]
fn a_bench_without_sense_is_refused_with_its_numbers() {
    let refuse = |change: fn(&mut BenchSettings)| {
        let mut settings = BenchSettings::default();
        change(&mut settings);
        Bench::new(settings).err().unwrap()
    };
    let curve = refuse(|settings| settings.speaker.ways[0].driver.force_factor = Bend([0.0, -1e6, 0.0, 0.0]));
    assert!(matches!(curve, BenchError::CurveBelowZero { what: "force factor", .. }), "{curve}");
    let fast = refuse(|settings| settings.speaker.ways[1].driver.le_h = 1e-7);
    assert!(matches!(fast, BenchError::TooFast { .. }), "{fast}");
    let outside = refuse(|settings| settings.distance_m = 10.0);
    assert!(matches!(outside, BenchError::OutsideRoom { what: "microphone", axis: 1, .. }), "{outside}");
    let drift = refuse(|settings| settings.interface.drift_ppm = f64::NAN);
    assert!(matches!(drift, BenchError::OutOfRange { .. }), "{drift}");
    assert_eq!(refuse(|settings| settings.speaker.ways.clear()), BenchError::NoWay);
    assert!([curve, fast, outside, drift].iter().all(|error| !error.advice().is_empty()));
}

/// What is written beside a capture reads back as it was.
#[test]
fn the_truth_reads_as_it_was_written() {
    let truth = at_rate(48_000, |settings| settings).truth(&grid_hz(20_000.0), -20.0);
    let written = serde_json::to_string(&truth).unwrap();
    assert_eq!(serde_json::from_str::<Truth>(&written).unwrap(), truth);
}

/// A sine of 94 dB SPL reads its sensitivity, and the table says what the microphone adds elsewhere.
#[test]
fn sensitivity_and_table_of_the_microphone_join_pressure_and_level() {
    let bench = at_rate(48_000, BenchSettings::quiet);
    let (truth, settings) = (bench.truth(&[1_000.0, 10_000.0], -20.0), bench.settings());
    let table_db = settings.microphone.table_db(&[1_000.0, 10_000.0]);
    assert_eq!(table_db[0], 0.0);
    // (1 + (10/14)²)/(1 + (10/20)²) re the same at 1 kHz.
    assert!((table_db[1] - 0.8100).abs() < 1e-3, "{table_db:?}");
    for point in 0..2 {
        // A full-scale sine drives 20/√2 V rms; 2.83 V rms is so much less.
        let drive_db = 20.0 * (2.83 * 2f64.sqrt() / 20.0).log10();
        let spl = truth.direct.level_db[point] + drive_db - table_db[point] + 31.2 + 94.0;
        // The inputs' droop is 0.043 dB at 10 kHz and 0.0004 dB at 1 kHz.
        let tolerance_db = [1e-3, 0.06][point];
        assert!((spl - truth.sound_pressure.level_db_spl[point]).abs() < tolerance_db);
    }
}
