//! The whole chain from sweep to response, against systems with a closed form.
//!
//! The systems are recursive filters run sample by sample, whose response is a ratio of polynomials in z⁻¹: nothing of
//! the analysis takes part in making the recordings.

mod systems;

use boxwright::quantity::{Code, SampleRate};
use boxwright::response::{Analysis, GateChoice, LevelReference, Settings, analyse};
use boxwright::signal::{Excitation, Marks, SampleFormat, Sequence, SweepSettings};
use systems::{Filter, Noise, Playing, drifted, recording, rounded};

fn sweep(duration_s: f64, marks: Marks, repeats: u32) -> Excitation {
    let rate = SampleRate::new(48_000).unwrap();
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s };
    Sequence { sweep, level_dbfs: -6.0, repeats, marks, pause_s: 0.5 }.excitation().unwrap()
}

fn plain() -> Settings {
    Settings {
        reply: 0,
        reference: None,
        gate: GateChoice::Auto,
        smoothing: None,
        points_per_octave: 48,
        microphone: None,
        level: LevelReference::ReplyOverDrive,
    }
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

#[test]
#[ignore]
fn look() {
    let filter = Filter::satellite(48_000.0);
    for gate in [GateChoice::Auto, GateChoice::None] {
        let excitation = sweep(5.0, Marks::BeforeAndAfter, 1);
        let reply = Playing { excitation: &excitation, filter: &filter, delay_frames: 300 }.reply();
        let recorded = recording(vec![rounded(&reply, 24)], SampleFormat::Pcm24);
        let a = analyse(&recorded, &excitation, &Settings { gate, ..plain() }).unwrap();
        println!("gate {:?} {:?}", a.gate, a.energy_time.reflection);
        for (i, (&hz, value)) in a.response.grid.hz().iter().zip(&a.response.values).enumerate() {
            if i % 12 == 0 || i < 20 || hz > 18_000.0 {
                let left_s = 300.0 / 48e3 - a.arrival_s;
                let turn = num_complex::Complex64::cis(-std::f64::consts::TAU * hz * left_s);
                let ratio = value / (filter.response(hz, 48e3) * turn);
                println!(
                    "{hz:9.2} {:9.5} {:9.4} u {:9.6}",
                    20.0 * ratio.norm().log10(),
                    ratio.arg().to_degrees(),
                    a.response.u_db()[i]
                );
            }
        }
    }
}
