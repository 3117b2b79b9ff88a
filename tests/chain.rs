//! The whole chain from sweep to response, against systems with a closed form.
//!
//! The systems are recursive filters run sample by sample, whose response is a ratio of polynomials in z⁻¹: nothing of
//! the analysis takes part in making the recordings.

#![allow(clippy::unwrap_used, clippy::print_stdout)] // a test that can't go on may stop; figures are for --nocapture

mod systems;

use boxwright::quantity::SampleRate;
use boxwright::response::{Analysis, GateChoice, Settings, analyse};
use boxwright::signal::{Excitation, Marks, SampleFormat, Sequence, SweepSettings};
use systems::{Filter, Noise, Playing, bent, drifted, recording, rounded};

fn sweep(duration_s: f64, marks: Marks, repeats: u32) -> Excitation {
    let rate = SampleRate::new(48_000).unwrap();
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s };
    Sequence { sweep, level_dbfs: -6.0, repeats, marks, pause_s: 0.5 }.excitation().unwrap()
}

fn plain() -> Settings {
    Settings::of_reply(0)
}

/// Worst level and phase difference to a filter's closed form behind a delay of whole frames, within a band.
fn worst(analysis: &Analysis, filter: &Filter, delay_frames: f64, band_hz: [f64; 2]) -> [f64; 2] {
    let rate_hz = analysis.rate.hz();
    let left_s = delay_frames / rate_hz - analysis.arrival_s;
    let mut worst = [0.0f64; 2];
    for (&hz, value) in analysis.response.grid.hz().iter().zip(&analysis.response.values) {
        if (band_hz[0]..=band_hz[1]).contains(&hz) {
            let turn = num_complex::Complex64::cis(-std::f64::consts::TAU * hz * left_s);
            let ratio = value / (filter.response(hz, rate_hz) * turn);
            worst[0] = worst[0].max((20.0 * ratio.norm().log10()).abs());
            worst[1] = worst[1].max(ratio.arg().to_degrees().abs());
        }
    }
    worst
}

/// The narrow peak of 2.5 kHz has Q 10; its pole in z⁻¹, solved by hand: frequency and decay of the digital filter itself.
#[test]
fn a_resonance_is_listed_with_its_frequency_and_decay_and_a_smooth_filter_has_none() {
    let excitation = sweep(3.0, Marks::BeforeAndAfter, 1);
    let heard = |filter: Filter| {
        let mut reply = Playing { excitation: &excitation, filter: &filter, delay_frames: 300 }.reply();
        reply.extend(vec![0.0; 24_000]);
        let noisy = Noise::new(5).added(&reply, 1e-6);
        analyse(&recording(vec![noisy], SampleFormat::Float32), &excitation, &plain()).unwrap()
    };
    let found = heard(Filter::resonant(48_000.0)).fading.ringing;
    // k = 1/tan(πf/f_s); poles of (k² + 0.1k + 1) + 2(1 − k²)z⁻¹ + (k² − 0.1k + 1)z⁻².
    let k = 1.0 / (std::f64::consts::PI * 2_500.0 / 48_000.0f64).tan();
    let [a0, a1, a2] = [k * k + 0.1 * k + 1.0, 2.0 * (1.0 - k * k), k * k - 0.1 * k + 1.0];
    let radius = (a2 / a0).sqrt();
    let hz = (-a1 / a0 / (2.0 * radius)).acos() * 48_000.0 / std::f64::consts::TAU;
    let q = std::f64::consts::PI * hz / (-radius.ln() * 48_000.0);
    println!("expected {hz:.1} Hz, Q {q:.3}; found {found:?}");
    let one = found.iter().find(|one| (one.hz / hz - 1.0).abs() < 0.01).unwrap();
    // 2 % asked for.
    assert!((one.q / q - 1.0).abs() < 0.02, "{one:?}");
    assert_eq!(heard(Filter::satellite(48_000.0)).fading.ringing, []);
}

#[test]
fn a_noise_free_24_bit_chain_gives_the_filters_own_level_and_phase() {
    for filter in [Filter::satellite(48_000.0), Filter::flat(), Filter::resonant(48_000.0)] {
        for gate in [GateChoice::Auto, GateChoice::None] {
            let excitation = sweep(5.0, Marks::BeforeAndAfter, 1);
            let reply = Playing { excitation: &excitation, filter: &filter, delay_frames: 300 }.reply();
            let recorded = recording(vec![rounded(&reply, 24)], SampleFormat::Pcm24);
            let analysis = analyse(&recorded, &excitation, &Settings { gate, ..plain() }).unwrap();
            let found = worst(&analysis, &filter, 300.0, [20.0, 20_000.0]);
            println!(
                "{} {gate:?}: {:.5} dB {:.4} deg, arrival {:.4} frames, valid {:?}, findings {:?}",
                filter.name,
                found[0],
                found[1],
                analysis.arrival_s * 48_000.0,
                analysis.valid_hz,
                analysis.findings.iter().map(|f| f.says.clone()).collect::<Vec<_>>()
            );
            // 0.002 dB and 0.05 degrees: a hundredth of what any microphone is good for.
            assert!(found[0] < 0.002 && found[1] < 0.05);
        }
    }
}

/// Share of points within 2u and rms error in dB over a band, to a depth below the peak.
struct Score {
    within_percent: f64,
    rms_db: f64,
}

fn score(analysis: &Analysis, filter: &Filter, band_hz: [f64; 2], depth_db: f64) -> Score {
    let level = |value: num_complex::Complex64| 20.0 * value.norm().log10();
    let points = || analysis.response.grid.hz().iter().zip(&analysis.response.values).zip(analysis.response.u_db());
    let peak = points().map(|((_, value), _)| level(*value)).fold(f64::MIN, f64::max);
    let (mut count, mut within, mut squares) = (0.0, 0.0, 0.0);
    for ((&hz, value), u) in points() {
        if (band_hz[0]..=band_hz[1]).contains(&hz) && level(*value) > peak - depth_db {
            let error = level(*value) - level(filter.response(hz, analysis.rate.hz()));
            count += 1.0;
            squares += error * error;
            within += if error.abs() <= 2.0 * u { 1.0 } else { 0.0 };
        }
    }
    Score { within_percent: 100.0 * within / count, rms_db: f64::sqrt(squares / count) }
}

fn rms(samples: &[f64]) -> f64 {
    (samples.iter().map(|x| x * x).sum::<f64>() / samples.len() as f64).sqrt()
}

/// At 70 dB signal over noise, over twenty runs: the error stays small and the uncertainty is right.
#[test]
fn in_noise_the_uncertainty_covers_what_it_claims() {
    let filter = Filter::resonant(48_000.0);
    let coloured = Filter::satellite(48_000.0);
    for kind in ["file", "loopback"] {
        let mut within = Vec::new();
        let mut errors = Vec::new();
        for run in 0..20 {
            let excitation = sweep(5.0, Marks::BeforeAndAfter, 1);
            let reply = Playing { excitation: &excitation, filter: &filter, delay_frames: 300 }.reply();
            let mut noise = Noise::new(run);
            let start = excitation.plan.starts[0];
            let loud = |samples: &[f64]| rms(&samples[start..start + excitation.plan.frames]);
            let (channels, settings, filter_of) = if kind == "file" {
                (vec![noise.added(&reply, loud(&reply) * 10f64.powf(-3.5))], plain(), 300)
            } else {
                // Both channels see the interface's own colour; the ratio does not.
                let loop_ = Playing { excitation: &excitation, filter: &coloured, delay_frames: 77 }.reply();
                let mut reply = vec![0.0; 300];
                reply.extend(filter.run(&loop_));
                let (n1, n2) = (loud(&loop_) * 10f64.powf(-3.5), loud(&reply) * 10f64.powf(-3.5));
                let frames = loop_.len();
                let channels = vec![noise.added(&reply[..frames], n2), noise.added(&loop_, n1)];
                (channels, Settings { reference: Some(1), ..plain() }, 300)
            };
            let channels = channels.iter().map(|samples| rounded(samples, 24)).collect();
            let analysis = analyse(&recording(channels, SampleFormat::Pcm24), &excitation, &settings).unwrap();
            if run == 0 {
                println!(
                    "{kind}: snr {:?}, arrival {:.4}, {:?}",
                    analysis.snr_db,
                    analysis.arrival_s * 48e3 - filter_of as f64,
                    analysis.findings.iter().map(|f| f.says.clone()).collect::<Vec<_>>()
                );
            }
            let score = score(&analysis, &filter, [30.0, 18_500.0], 40.0);
            within.push(score.within_percent);
            errors.push(score.rms_db);
        }
        let mean = within.iter().sum::<f64>() / within.len() as f64;
        let worst = errors.iter().copied().fold(0.0, f64::max);
        println!("{kind}: within 2u {mean:.2} % ({within:.1?}), worst rms {worst:.5} dB");
        assert!((93.0..97.0).contains(&mean) && worst < 0.01);
    }
}

/// Clocks that differ by up to 300 ppm: found within 0.01 ppm with marks and 1 ppm without, at 65 dB signal over noise, and
/// taken off to 0.02 dB at the top.
#[test]
fn a_wrong_clock_is_found_and_taken_off() {
    let filter = Filter::satellite(48_000.0);
    for (marks, tolerance_ppm) in [(Marks::BeforeAndAfter, 0.01), (Marks::None, 1.0)] {
        for ppm in [-300.0, -20.0, 0.0, 3.0, 50.0, 300.0] {
            let excitation = sweep(5.0, marks, 1);
            let reply = Playing { excitation: &excitation, filter: &filter, delay_frames: 300 }.reply();
            let start = excitation.plan.starts[0];
            let loud = rms(&reply[start..start + excitation.plan.frames]);
            let recorded = drifted(&reply, ppm);
            let noisy = Noise::new(ppm as u64).added(&recorded, loud * 10f64.powf(-3.25));
            let capture = recording(vec![rounded(&noisy, 24)], SampleFormat::Pcm24);
            let analysis = analyse(&capture, &excitation, &plain()).unwrap();
            let drift = analysis.drift.unwrap();
            let found = 1e6 * drift.ratio;
            let top = worst(&analysis, &filter, analysis.arrival_s * 48e3, [10_000.0, 16_000.0])[0];
            println!(
                "{marks:?} {ppm}: found {:.5} ± {:.5} ppm {:?}, top {top:.4} dB, {:?}",
                found - ppm,
                2e6 * drift.u_ratio,
                analysis.correction,
                analysis.findings.iter().map(|f| f.says.clone()).collect::<Vec<_>>()
            );
            assert!((found - ppm).abs() < tolerance_ppm && top < 0.02);
        }
    }
}

/// y = x + a₂x² + a₃x³ + a₄x⁴ + a₅x⁵ of a sine of amplitude A: the harmonics of the binomial expansion.
/// H2 = (a₂A/2 + a₄A³/2), H3 = (a₃A²/4 + 5a₅A⁴/16), H4 = a₄A³/8, H5 = a₅A⁴/16 over H1 = 1 + 3a₃A²/4 + 5a₅A⁴/8.
#[test]
fn a_known_polynomial_gives_its_known_harmonics() {
    let amplitude = 0.5f64;
    for scale in [1.0, 1e-3] {
        let excitation = sweep(5.0, Marks::BeforeAndAfter, 1);
        let [a2, a3, a4, a5] = [0.1, 0.05, 0.08, 0.1].map(|a| a * scale);
        let bend = |x: f64| x + a2 * x * x + a3 * x.powi(3) + a4 * x.powi(4) + a5 * x.powi(5);
        let gain = amplitude / 10f64.powf(-6.0 / 20.0);
        let reply = bent(&excitation.samples, |x| 0.5 * bend(gain * x));
        let a = amplitude;
        let h1 = 1.0 + 0.75 * a3 * a * a + 0.625 * a5 * a.powi(4);
        let expected = [
            (a2 * a / 2.0 + a4 * a.powi(3) / 2.0) / h1,
            (a3 * a * a / 4.0 + 5.0 * a5 * a.powi(4) / 16.0) / h1,
            a4 * a.powi(3) / 8.0 / h1,
            a5 * a.powi(4) / 16.0 / h1,
        ];
        let capture = recording(vec![rounded(&reply, 24)], SampleFormat::Pcm24);
        let analysis = analyse(&capture, &excitation, &plain()).unwrap();
        let distortion = analysis.distortion.unwrap();
        for (harmonic, expected) in distortion.harmonics.iter().zip(expected) {
            let mut worst = (0.0f64, 0.0);
            let mut count = 0;
            for (&hz, ratio) in distortion.grid.hz().iter().zip(&harmonic.ratio) {
                if hz * f64::from(harmonic.order) < 20_000.0 && hz > 24.0 {
                    let error = ratio.map_or(99.0, |ratio| 20.0 * (ratio / expected).log10());
                    if error.abs() > worst.0.abs() {
                        worst = (error, hz);
                    }
                    count += 1;
                }
            }
            println!(
                "H{} {:.1} dB: worst {:.4} dB at {:.0} Hz of {count}",
                harmonic.order,
                20.0 * expected.log10(),
                worst.0,
                worst.1
            );
            if expected > 1e-4 {
                assert!(worst.0.abs() < 0.1);
            }
        }
    }
}

#[test]
fn a_clean_float_chain_has_no_harmonics() {
    let excitation = sweep(5.0, Marks::BeforeAndAfter, 1);
    for filter in [Filter::flat(), Filter::satellite(48_000.0)] {
        let reply = Playing { excitation: &excitation, filter: &filter, delay_frames: 10 }.reply();
        let reply: Vec<f64> = reply.iter().map(|&x| f64::from(x as f32)).collect();
        let analysis = analyse(&recording(vec![reply], SampleFormat::Float32), &excitation, &plain()).unwrap();
        for harmonic in &analysis.distortion.as_ref().unwrap().harmonics {
            let grid = analysis.distortion.as_ref().unwrap().grid.hz();
            let worst = harmonic
                .ratio
                .iter()
                .zip(grid)
                .filter_map(|(r, &hz)| r.map(|r| (20.0 * r.log10(), hz)))
                .fold((-999.0, 0.0), |a, b| if b.0 > a.0 { b } else { a });
            println!("{} H{}: {:.1} dB at {:.0} Hz", filter.name, harmonic.order, worst.0, worst.1);
            assert!(worst.0 < -120.0);
        }
    }
}
