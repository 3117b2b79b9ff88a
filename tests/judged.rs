//! The analysis, judged by the simulated bench: a time-domain loudspeaker whose truth is computed in the frequency domain.
//!
//! The bench shares no code with the analysis (`tests/layers.rs` holds that).
#![allow(clippy::unwrap_used, clippy::print_stdout)] // a test that can't go on may stop; figures are for --nocapture

use boxwright::bench::{Bench, BenchSettings, Surroundings};
use boxwright::quantity::SampleRate;
use boxwright::response::{Analysis, Settings, analyse};
use boxwright::signal::{Excitation, Marks, Recording, SampleFormat, Sequence, SweepSettings};

const LEVEL_DBFS: f64 = -30.0;

fn sweep(rate: SampleRate) -> Excitation {
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 4.0 };
    Sequence { sweep, level_dbfs: LEVEL_DBFS, repeats: 1, marks: Marks::BeforeAndAfter, pause_s: 0.5 }
        .excitation()
        .unwrap()
}

fn settings(reference: Option<usize>) -> Settings {
    Settings { reference, ..Settings::of_reply(0) }
}

fn measured(bench: &Bench, excitation: &Excitation, reference: Option<usize>) -> Analysis {
    let frames = bench.frames_needed(excitation.samples.len());
    let channels = bench.record(&excitation.samples, frames);
    let recording = Recording { rate: excitation.rate, channels, format: SampleFormat::Float32 };
    analyse(&recording, excitation, &settings(reference)).unwrap()
}

/// Level differences to the bench's truth, dB, at the curve's frequencies below its limit, with the curve's u.
fn differences(analysis: &Analysis, bench: &Bench, reference: Option<usize>) -> Vec<[f64; 3]> {
    let hz = analysis.response.grid.hz();
    let truth = bench.truth(hz, LEVEL_DBFS);
    let level_db = analysis.response.magnitude_db();
    let u_db = analysis.response.u_db();
    (0..truth.direct.frequency_hz.len())
        .map(|point| {
            let divided = if reference.is_some() { truth.loopback.level_db[point] } else { 0.0 };
            [hz[point], level_db[point] - (truth.direct.level_db[point] - divided), u_db[point]]
        })
        .collect()
}

fn within_2u_percent(all: &[[f64; 3]]) -> f64 {
    100.0 * all.iter().filter(|[_, error, u]| error.abs() <= 2.0 * u).count() as f64 / all.len() as f64
}

#[test]
fn without_a_room_the_loudspeakers_own_response_is_found() {
    let rate = SampleRate::new(48_000).unwrap();
    let excitation = sweep(rate);
    let bench =
        Bench::new(BenchSettings { rate, surroundings: Surroundings::Anechoic, ..BenchSettings::default() }).unwrap();
    let truth = bench.truth(&[1_000.0], LEVEL_DBFS);
    for (reference, arrival_s) in [(None, truth.latency_s + truth.arrival_s), (Some(1), truth.arrival_s)] {
        let analysis = measured(&bench, &excitation, reference);
        let percent = within_2u_percent(&differences(&analysis, &bench, reference));
        println!("within 2u: {percent:.1} %");
        // 480 points, about 350 of them independent: 95 ± 1.2 %, three standard errors, and a little for the woofer's
        // compression at the lowest notes, which the small-signal truth does not have.
        assert!((90.5..99.5).contains(&percent), "{percent}");
        let drift = analysis.drift.unwrap();
        let off_ppm = 1e6 * drift.ratio - truth.clock_drift_ppm;
        // Four standard errors, and the bench's own clock is right to 0.0005 ppm.
        assert!(off_ppm.abs() < 4e6 * drift.u_ratio + 5e-4, "{off_ppm} ppm");
        // The crossover is not minimum phase: some hundredths of a millisecond of its delay count as flight.
        assert!((analysis.arrival_s - arrival_s).abs() < 1e-4, "{} {arrival_s}", analysis.arrival_s);
    }
}

#[test]
fn in_a_room_the_gate_ends_before_the_first_wall_and_leaves_the_loudspeaker() {
    let rate = SampleRate::new(48_000).unwrap();
    let excitation = sweep(rate);
    let bench = Bench::new(BenchSettings { rate, ..BenchSettings::default() }).unwrap();
    let first = bench.truth(&[1_000.0], LEVEL_DBFS).reflections[0];
    let analysis = measured(&bench, &excitation, Some(1));
    let seen = analysis.energy_time.reflection.unwrap();
    println!("{first:?} {seen:?} valid {:?}", analysis.valid_hz);
    // 0.4 ms: the energy-time curve's own width.
    assert!((1e3 * seen.peak_s - first.later_ms).abs() < 0.4, "{seen:?} {first:?}");
    assert!(1e3 * analysis.gate.after_frames / rate.hz() <= first.later_ms, "{:?}", analysis.gate);
    let all = differences(&analysis, &bench, Some(1));
    let percent = within_2u_percent(&all);
    println!("within 2u: {percent:.1} %");
    // Where the gate cuts the woofer's tail off the uncertainty grows, else it is the noise: as without a room, and five
    // per cent more for the tail, whose error and doubt are both smooth curves.
    assert!(percent > 85.0, "{percent}");
    let above = |from_hz: f64| all.iter().filter(move |[hz, _, _]| *hz > from_hz);
    let worst = above(2_000.0).map(|[_, error, _]| error.abs()).fold(0.0, f64::max);
    let doubt = above(2_000.0).map(|[_, _, u]| *u).fold(0.0, f64::max);
    // Four standard errors of the noisiest point, for some 160 points.
    assert!(worst < 4.0 * doubt && doubt < 0.02, "{worst} {doubt}");
}

/// A bare room: the direct sound, and 10 dB more energy than it has in a tail that takes two seconds to fall by 60 dB.
#[test]
fn a_bare_room_is_no_wrong_excitation_and_nothing_is_lost_in_it() {
    let rate = SampleRate::new(48_000).unwrap();
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 3.0 };
    let excitation = Sequence { sweep, level_dbfs: LEVEL_DBFS, repeats: 2, marks: Marks::BeforeAndAfter, pause_s: 1.0 }
        .excitation()
        .unwrap();
    let mut random = boxwright::math::Random::new(8);
    let decay = |n: usize| (-6.9 * n as f64 / 96_000.0).exp();
    let tail: Vec<f64> = (0..96_000).map(|n| if n < 150 { 0.0 } else { decay(n) * random.normal() }).collect();
    let energy: f64 = tail.iter().map(|x| x * x).sum();
    let mut impulse: Vec<f64> = tail.iter().map(|x| x * (10.0 / energy).sqrt()).collect();
    impulse[0] = 1.0;
    let length = boxwright::math::good_length(excitation.samples.len() + impulse.len());
    let forward = boxwright::math::Spectrum::new(length);
    let (played, path) = (forward.bins(&excitation.samples), forward.bins(&impulse));
    let product: Vec<_> = played.iter().zip(&path).map(|(x, h)| x * h * 0.1).collect();
    let mut reply = boxwright::math::InverseSpectrum::new(length).samples(&product);
    reply.truncate(excitation.samples.len());
    reply.iter_mut().for_each(|x| *x += 1e-6 * random.normal());
    let recording = Recording { rate, channels: vec![reply], format: SampleFormat::Float32 };
    let analysis = analyse(&recording, &excitation, &settings(None)).unwrap();
    println!("{:#?}", analysis.findings);
    assert!(analysis.findings.iter().all(|finding| finding.severity < boxwright::quantity::Severity::Fault));
}
