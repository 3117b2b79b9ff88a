//! Recordings that are damaged, wrong or hardly there: each is refused by name or told of, and no number is a NaN.

#![allow(clippy::unwrap_used, clippy::print_stdout)] // a test that can't go on may stop; figures are for --nocapture

mod systems;

use boxwright::quantity::{Code, SampleRate};
use boxwright::response::{Analysis, GateChoice, OctaveFraction, ResponseError, Settings, analyse};
use boxwright::signal::{Excitation, Kind, Marks, Plan, Recording, SampleFormat, Sequence, SweepSettings};
use proptest::prelude::*;
use systems::{Filter, Noise, Playing, drifted, rounded};

fn sweep_of(rate_hz: u32, band_hz: [f64; 2], duration_s: f64, marks: Marks, repeats: u32) -> Excitation {
    let rate = SampleRate::new(rate_hz).unwrap();
    let sweep = SweepSettings { rate, from_hz: band_hz[0], to_hz: band_hz[1], lowest_hz: None, duration_s };
    Sequence { sweep, level_dbfs: -6.0, repeats, marks, pause_s: 0.5 }.excitation().unwrap()
}

fn sweep(marks: Marks, repeats: u32) -> Excitation {
    sweep_of(48_000, [20.0, 20_000.0], 2.0, marks, repeats)
}

fn settings() -> Settings {
    Settings { points_per_octave: 12, ..Settings::of_reply(0) }
}

/// A satellite's reply, 65 dB above white noise.
fn reply(excitation: &Excitation, seed: u64) -> Vec<f64> {
    let reply = Playing { excitation, filter: &Filter::satellite(excitation.rate.hz()), delay_frames: 300 }.reply();
    Noise::new(seed).added(&reply, 5e-5)
}

fn heard(excitation: &Excitation, channels: Vec<Vec<f64>>, settings: &Settings) -> Result<Analysis, ResponseError> {
    let channels = channels.iter().map(|samples| rounded(samples, 24)).collect();
    let found =
        analyse(&Recording { rate: excitation.rate, channels, format: SampleFormat::Pcm24 }, excitation, settings);
    if let Ok(analysis) = &found {
        assert_finite(analysis);
    }
    found
}

fn assert_finite(analysis: &Analysis) {
    let mut numbers =
        vec![analysis.arrival_s, analysis.u_arrival_s, analysis.peak_dbfs, analysis.impulse.arrival_index];
    numbers.extend(analysis.valid_hz);
    numbers.extend(analysis.snr_db.into_iter().chain(analysis.noise_dbfs));
    numbers.extend([analysis.gate.before_frames, analysis.gate.after_frames, analysis.gate.fall_frames]);
    numbers.extend(analysis.drift.into_iter().flat_map(|drift| [drift.ratio, drift.u_ratio]));
    numbers.extend(analysis.response.values.iter().flat_map(|value| [value.re, value.im]));
    numbers.extend(&analysis.response.u_ratio);
    numbers.extend(analysis.response.magnitude_db());
    numbers.extend(analysis.response.u_db());
    numbers.extend(&analysis.impulse.samples);
    numbers.extend(&analysis.energy_time.level_db);
    numbers.extend(analysis.energy_time.reflection.into_iter().flat_map(|r| [r.starts_s, r.peak_s, r.level_db]));
    for harmonic in analysis.distortion.iter().flat_map(|distortion| &distortion.harmonics) {
        numbers.extend(harmonic.ratio.iter().chain(&harmonic.u_ratio).chain(&harmonic.floor_ratio).flatten());
    }
    numbers.extend(analysis.distortion.iter().flat_map(|distortion| distortion.thd_ratio.iter().flatten()));
    assert!(numbers.iter().all(|number| number.is_finite()), "{:?}", numbers.iter().position(|n| !n.is_finite()));
    for finding in &analysis.findings {
        assert!(!finding.says.contains("NaN") && !finding.says.contains("inf "), "{}", finding.says);
    }
}

fn has(analysis: &Analysis, code: Code) -> bool {
    analysis.findings.iter().any(|finding| finding.code == code)
}

/// The code that tells: of a finding, or in an error's message.
fn tells(found: &Result<Analysis, ResponseError>, code: Code) -> bool {
    match found {
        Ok(analysis) => has(analysis, code),
        Err(error) => error.to_string().contains(&code.to_string()),
    }
}

fn words(found: &Result<Analysis, ResponseError>) -> String {
    match found {
        Ok(analysis) => {
            let says: Vec<String> = analysis.findings.iter().map(|f| format!("{}: {}", f.code, f.says)).collect();
            format!("{says:?} drift {:?}", analysis.drift.map(|drift| 1e6 * drift.ratio))
        }
        Err(error) => format!("error {error}"),
    }
}

#[derive(Debug, Clone, Copy)]
enum Loss {
    Removed,
    Zeroed,
}

fn lossy(mut samples: Vec<f64>, at: usize, frames: usize, loss: Loss) -> Vec<f64> {
    match loss {
        Loss::Removed => drop(samples.drain(at..at + frames)),
        Loss::Zeroed => samples[at..at + frames].fill(0.0),
    }
    samples
}

#[test]
fn lost_samples_are_told_wherever_they_were_lost() {
    let mut missed = Vec::new();
    for (name, marks, repeats) in [
        ("marks", Marks::BeforeAndAfter, 1),
        ("repeats", Marks::None, 3),
        ("both", Marks::BeforeAndAfter, 2),
        ("single", Marks::None, 1),
    ] {
        let excitation = sweep(marks, repeats);
        let clean = reply(&excitation, 3);
        let fast = drifted(&clean, 100.0);
        let (start, frames) = (excitation.plan.starts[0], excitation.plan.frames);
        let last = excitation.plan.starts[excitation.plan.starts.len() - 1];
        let mut places =
            vec![("early", start + frames / 5), ("middle", start + frames / 2), ("late", start + frames * 9 / 10)];
        if name != "single" {
            places.push(("after", last + frames + 15_000));
            places.push(("before", start - 4_000 + if name == "repeats" { frames + 20_000 } else { 0 }));
        }
        for (place, at) in places {
            for lost in [64, 4_096] {
                for loss in [Loss::Removed, Loss::Zeroed] {
                    for ppm in [0.0, 100.0] {
                        // Zeros in a silence are harmless, and nothing comes after the last of the repeats.
                        let silent = matches!(loss, Loss::Zeroed) && ["before", "after"].contains(&place);
                        if silent || (place == "after" && name == "repeats") || (ppm > 0.0 && place == "early") {
                            continue;
                        }
                        let clean = if ppm > 0.0 { fast.clone() } else { clean.clone() };
                        let found = heard(&excitation, vec![lossy(clean, at + 300, lost, loss)], &settings());
                        if !tells(&found, Code::Dropout) {
                            missed.push(format!("{name} {place} {lost} {loss:?} {ppm}: {}", words(&found)));
                        }
                    }
                }
            }
        }
    }
    println!("{}", missed.join("\n"));
    assert!(missed.is_empty());
}

/// Clean captures, half of them with 3 % of distortion in the bass, give no fault and no caution.
#[test]
fn clean_captures_raise_no_alarm() {
    for run in 0..12 {
        let excitation =
            sweep(if run % 2 == 0 { Marks::None } else { Marks::BeforeAndAfter }, 1 + 2 * (run / 6) as u32);
        let mut samples = reply(&excitation, run);
        if run % 4 < 2 {
            samples = systems::bent(&samples, |x| x + 0.3 * x * x + 0.3 * x * x * x);
        }
        let samples = drifted(&samples, [0.0, 40.0, -120.0][run as usize % 3]);
        let found = heard(&excitation, vec![samples], &settings()).unwrap();
        let alarms: Vec<_> =
            found.findings.iter().filter(|f| f.severity != boxwright::quantity::Severity::Note).collect();
        assert!(alarms.is_empty(), "{run}: {alarms:?}");
    }
}

#[test]
fn faults_are_told_apart() {
    let excitation = sweep(Marks::BeforeAndAfter, 1);
    let clean = reply(&excitation, 1);
    let start = excitation.plan.starts[0];
    let mut noise = Noise::new(4);
    let random: Vec<f64> = (0..clean.len()).map(|_| 0.1 * noise.normal()).collect();
    let other = |band, duration_s| reply(&sweep_of(48_000, band, duration_s, Marks::BeforeAndAfter, 1), 2);
    let mut burst = clean.clone();
    burst[start + 40_000..start + 50_000].iter_mut().for_each(|x| *x += 0.3 * noise.normal());
    let cases: Vec<(&str, Vec<f64>, Vec<Code>)> = vec![
        ("clipped", clean.iter().map(|x| (4.0 * x).clamp(-1.0, 1.0)).collect(), vec![Code::Clipped]),
        ("quiet", clean.iter().map(|x| 1e-3 * x).collect(), vec![Code::TooQuiet]),
        ("silence", vec![0.0; clean.len()], vec![Code::TooQuiet]),
        ("hiss", Noise::new(8).added(&vec![0.0; clean.len()], 1e-4), vec![Code::WrongExcitation, Code::TooQuiet]),
        ("noise", random, vec![Code::WrongExcitation, Code::TooQuiet]),
        ("other length", other([20.0, 20_000.0], 3.0), vec![Code::WrongExcitation]),
        ("other band", other([200.0, 10_000.0], 2.0), vec![Code::WrongExcitation]),
        ("cut at the end", clean[..start + 60_000].to_vec(), vec![Code::Truncated]),
        ("cut at the start", clean[start + 30_000..].to_vec(), vec![Code::Truncated]),
        ("offset", clean.iter().map(|x| x + 0.02).collect(), vec![Code::DcOffset]),
        ("burst", burst, vec![Code::Disturbed]),
    ];
    let mut missed = Vec::new();
    for (name, samples, codes) in cases {
        let found = heard(&excitation, vec![samples], &settings());
        println!("{name}: {}", words(&found));
        if !codes.iter().any(|&code| tells(&found, code)) {
            missed.push(name);
        }
    }
    assert!(missed.is_empty(), "{missed:?}");
}

#[test]
fn a_loopback_that_is_silent_or_swapped_is_told() {
    let excitation = sweep(Marks::BeforeAndAfter, 1);
    let loopback: Vec<f64> = excitation.samples.iter().map(|x| 0.5 * x).collect();
    let mut microphone = reply(&excitation, 1);
    microphone.truncate(loopback.len());
    let with = Settings { reference: Some(1), ..settings() };
    let found = heard(&excitation, vec![microphone.clone(), vec![0.0; loopback.len()]], &with);
    assert!(tells(&found, Code::TooQuiet), "{}", words(&found));
    let found = heard(&excitation, vec![loopback.clone(), microphone.clone()], &with);
    println!("{}", words(&found));
    assert!(tells(&found, Code::ChannelsSwapped), "{}", words(&found));
    let found = heard(&excitation, vec![microphone, loopback], &with);
    assert!(!tells(&found, Code::ChannelsSwapped) && found.is_ok(), "{}", words(&found));
}

#[test]
fn hardly_any_recording_is_an_error_and_no_panic() {
    let excitation = sweep(Marks::BeforeAndAfter, 1);
    for samples in [
        vec![],
        vec![0.5],
        vec![0.1; 10],
        vec![0.25; 100_000],
        vec![0.1, -0.3, 0.2, 0.0, 0.1, 0.9, -0.4, 0.0, 0.2, 0.1],
        vec![1e-300; 50_000],
    ] {
        let found = heard(&excitation, vec![samples.clone()], &settings());
        println!("{} frames: {}", samples.len(), words(&found));
        assert!(found.is_err());
        assert!(!words(&found).contains("NaN") && !words(&found).contains("inf"), "{}", words(&found));
    }
    for odd in [f64::NAN, f64::INFINITY] {
        let mut samples = reply(&excitation, 1);
        samples[500] = odd;
        let recording = Recording { rate: excitation.rate, channels: vec![samples], format: SampleFormat::Float64 };
        let error = analyse(&recording, &excitation, &settings()).err().unwrap();
        assert_eq!(
            std::mem::discriminant(&error),
            std::mem::discriminant(&ResponseError::NotFinite { channel: 1, frame: 500, found: odd })
        );
    }
    // A band of 1 Hz.
    let narrow = sweep_of(48_000, [99.0, 100.0], 1.0, Marks::BeforeAndAfter, 1);
    let found = heard(&narrow, vec![reply(&narrow, 1)], &settings());
    println!("1 Hz: {}", words(&found));
}

fn any_excitation() -> impl Strategy<Value = Excitation> {
    (
        1_000u32..50_000,
        1usize..6_000,
        0usize..3_000,
        1usize..4,
        any::<bool>(),
        any::<bool>(),
        0.001f64..0.2,
        0.21f64..0.5,
        any::<u64>(),
    )
        .prop_map(|(rate_hz, frames, pause, repeats, marks, is_sweep, low, high, seed)| {
            let rate = SampleRate::new(rate_hz).unwrap();
            let mut noise = Noise::new(seed);
            let one: Vec<f64> = (0..frames).map(|_| 0.1 * noise.normal()).collect();
            let mut samples = vec![0.0; pause];
            let mut starts = Vec::new();
            for _ in 0..repeats {
                starts.push(samples.len());
                samples.extend_from_slice(&one);
                samples.resize(samples.len() + pause, 0.0);
            }
            let mark_frames = if marks { frames.min(pause.max(1)) } else { 0 };
            let mark_starts = if marks { vec![0, samples.len() - mark_frames] } else { vec![] };
            let band_hz = [low * f64::from(rate_hz), high * f64::from(rate_hz)];
            let sweep = is_sweep.then(|| boxwright::signal::SweepPlan {
                rate_constant_s: frames as f64 / f64::from(rate_hz) / 3.0,
                played_hz: [0.5 * band_hz[0], 0.5 * f64::from(rate_hz)],
            });
            let plan =
                Plan { kind: Kind::Other, level_dbfs: 0.0, band_hz, starts, frames, mark_starts, mark_frames, sweep };
            Excitation { rate, samples, plan }
        })
}

fn any_settings() -> impl Strategy<Value = Settings> {
    let gate = prop_oneof![
        Just(GateChoice::Auto),
        Just(GateChoice::None),
        (-0.01f64..0.1).prop_map(|after_s| GateChoice::Length { after_s })
    ];
    let smoothing = prop_oneof![Just(None), (0.02f64..1.0).prop_map(|octaves| OctaveFraction::new(octaves).ok())];
    (0usize..3, prop_oneof![Just(None), (0usize..3).prop_map(Some)], gate, smoothing, 0u32..100).prop_map(
        |(reply, reference, gate, smoothing, points_per_octave)| Settings {
            reply,
            reference,
            gate,
            smoothing,
            points_per_octave,
            ..settings()
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]
    /// Whatever comes in: an answer whose numbers are numbers, or an error that is one sentence.
    #[test]
    fn no_recording_makes_a_panic_or_a_nan(
        excitation in any_excitation(),
        settings in any_settings(),
        gain in prop_oneof![Just(0.0), Just(1e-12), 0.001f64..10.0],
        delay in 0usize..4_000,
        drop_first in 0usize..4_000,
        keep in 0usize..20_000,
        noise_db in -200f64..0.0,
        seed in any::<u64>(),
        clip in any::<bool>(),
        format in prop_oneof![Just(SampleFormat::Pcm16), Just(SampleFormat::Float64)],
    ) {
        let mut noise = Noise::new(seed);
        let level = 10f64.powf(noise_db / 20.0);
        let channel = |noise: &mut Noise, delay: usize| {
            let mut samples = vec![0.0; delay];
            samples.extend(excitation.samples.iter().map(|x| gain * x));
            let samples: Vec<f64> = samples.into_iter().skip(drop_first).take(keep).collect();
            let samples = noise.added(&samples, level);
            if clip { samples.iter().map(|x| x.clamp(-1.0, 1.0)).collect() } else { samples }
        };
        let mut channels = vec![channel(&mut noise, delay), channel(&mut noise, delay / 2)];
        let frames = channels[0].len().min(channels[1].len());
        channels.iter_mut().for_each(|channel| channel.truncate(frames));
        match analyse(&Recording { rate: excitation.rate, channels, format }, &excitation, &settings) {
            Ok(analysis) => assert_finite(&analysis),
            Err(error) => {
                let words = error.to_string();
                prop_assert!(!words.contains("NaN") && !words.contains("inf ") && !error.advice().is_empty(), "{}", words);
            }
        }
    }
}
