//! Results over varied conditions, against closed forms: rates, lengths, bands, other excitations, repeats, clocks.

#![allow(clippy::unwrap_used, clippy::print_stdout)] // a test that can't go on may stop; figures are for --nocapture

mod systems;

use boxwright::quantity::{Code, SampleRate};
use boxwright::response::{Analysis, GateChoice, LevelReference, Settings, analyse};
use boxwright::signal::{Excitation, Kind, Marks, Plan, Recording, SampleFormat, Sequence, SweepSettings};
use systems::{Filter, Noise, Playing, rounded};

fn rate(hz: u32) -> SampleRate {
    SampleRate::new(hz).unwrap()
}

fn sweep(rate_hz: u32, [from_hz, to_hz]: [f64; 2], duration_s: f64, marks: Marks, repeats: u32) -> Excitation {
    let sweep = SweepSettings { rate: rate(rate_hz), from_hz, to_hz, lowest_hz: None, duration_s };
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

fn recorded(excitation: &Excitation, channels: Vec<Vec<f64>>) -> Recording {
    let channels = channels.iter().map(|samples| rounded(samples, 24)).collect();
    Recording { rate: excitation.rate, channels, format: SampleFormat::Pcm24 }
}

fn replied(excitation: &Excitation, filter: &Filter) -> Vec<f64> {
    Playing { excitation, filter, delay_frames: 300 }.reply()
}

/// Worst level (dB) and phase (degrees) difference to a filter's closed form behind 300 frames, over the reported band.
fn worst(analysis: &Analysis, filter: &Filter) -> [(f64, f64); 2] {
    let rate_hz = analysis.rate.hz();
    let left_s = 300.0 / rate_hz - analysis.arrival_s;
    let mut worst = [(0.0f64, 0.0f64); 2];
    for (&hz, value) in analysis.response.grid.hz().iter().zip(&analysis.response.values) {
        let turn = num_complex::Complex64::cis(-std::f64::consts::TAU * hz * left_s);
        let ratio = value / (filter.response(hz, rate_hz) * turn);
        let errors = [(20.0 * ratio.norm().log10()).abs(), ratio.arg().to_degrees().abs()];
        for (worst, error) in worst.iter_mut().zip(errors) {
            if error > worst.0 {
                *worst = (error, hz);
            }
        }
    }
    worst
}

fn says(analysis: &Analysis) -> Vec<String> {
    analysis.findings.iter().map(|finding| format!("{}: {}", finding.code, finding.says)).collect()
}

#[test]
fn every_rate_length_and_band_gives_the_closed_form() {
    let bands = [[20.0, 20_000.0], [10.0, 1_000.0], [1_500.0, 20_000.0], [20.0, 200.0]];
    for rate_hz in [44_100, 48_000, 96_000, 192_000] {
        for band_hz in bands {
            for duration_s in [1.0, 5.0, 20.0] {
                if rate_hz == 192_000 && duration_s > 5.0 {
                    continue;
                }
                let excitation = sweep(rate_hz, band_hz, duration_s, Marks::BeforeAndAfter, 1);
                let filter = Filter::satellite(f64::from(rate_hz));
                let recording = recorded(&excitation, vec![replied(&excitation, &filter)]);
                let started = std::time::Instant::now();
                match analyse(&recording, &excitation, &plain()) {
                    Ok(analysis) => {
                        let [level, phase] = worst(&analysis, &filter);
                        println!(
                            "{rate_hz} {band_hz:?} {duration_s} s: {:.4} dB at {:.0}, {:.3} deg at {:.0}, valid {:.1?}, arrival {:.3} ± {:.3}, {:?} {:.1} s",
                            level.0,
                            level.1,
                            phase.0,
                            phase.1,
                            analysis.valid_hz,
                            analysis.arrival_s * f64::from(rate_hz),
                            2.0 * analysis.u_arrival_s * f64::from(rate_hz),
                            says(&analysis),
                            started.elapsed().as_secs_f64()
                        );
                    }
                    Err(error) => println!("{rate_hz} {band_hz:?} {duration_s} s: {error}"),
                }
            }
        }
    }
}

fn known(rate: SampleRate, samples: Vec<f64>, band_hz: [f64; 2]) -> Excitation {
    let plan = Plan {
        kind: Kind::Other,
        level_dbfs: -6.0,
        band_hz,
        starts: vec![0],
        frames: samples.len(),
        mark_starts: vec![],
        mark_frames: 0,
        sweep: None,
    };
    Excitation { rate, samples, plan }
}

#[test]
fn any_known_signal_is_an_excitation() {
    let mut noise = Noise::new(5);
    let white: Vec<f64> = (0..240_000).map(|_| 0.1 * noise.normal()).collect();
    let pink = boxwright::signal::pink(boxwright::signal::PinkSettings {
        rate: rate(48_000),
        duration_s: 5.0,
        level_dbfs: -3.0,
        seed: 3,
        band_hz: [20.0, 20_000.0],
    })
    .unwrap()
    .samples;
    let chirp: Vec<f64> = (0..240_000)
        .map(|n| {
            let t = f64::from(n) / 48e3;
            0.5 * (std::f64::consts::TAU * (20.0 * t + 0.5 * 20_000.0 / 5.0 * t * t)).sin()
        })
        .collect();
    let lost = sweep(48_000, [20.0, 20_000.0], 5.0, Marks::BeforeAndAfter, 1).samples;
    let lost2 = sweep(48_000, [20.0, 20_000.0], 5.0, Marks::None, 2).samples;
    for (name, samples) in [("white", white), ("pink", pink), ("chirp", chirp), ("lost", lost), ("lost2", lost2)] {
        for snr_db in [200.0, 60.0] {
            let excitation = known(rate(48_000), samples.clone(), [20.0, 20_000.0]);
            let filter = Filter::satellite(48e3);
            let mut padded = vec![0.0; 48_000];
            padded.extend_from_slice(&samples);
            padded.extend(vec![0.0; 48_000]);
            let playing = known(rate(48_000), padded, [20.0, 20_000.0]);
            let reply = replied(&playing, &filter);
            let reply = Noise::new(9).added(&reply, 10f64.powf(-snr_db / 20.0) * 0.05);
            match analyse(&recorded(&playing, vec![reply]), &excitation, &plain()) {
                Ok(mut analysis) => {
                    analysis.arrival_s -= 1.0;
                    let [level, phase] = worst(&analysis, &filter);
                    println!(
                        "{name} {snr_db}: {:.4} dB at {:.0}, {:.3} deg at {:.0}, valid {:.1?}, arrival {:.3}, u {:.5?} {:?} drift {:?}",
                        level.0,
                        level.1,
                        phase.0,
                        phase.1,
                        analysis.valid_hz,
                        analysis.arrival_s * 48e3,
                        analysis.response.u_db().iter().step_by(96).collect::<Vec<_>>(),
                        says(&analysis),
                        analysis.drift
                    );
                }
                Err(error) => println!("{name}: {error}"),
            }
        }
    }
}

#[allow(dead_code)]
fn has(analysis: &Analysis, code: Code) -> bool {
    analysis.findings.iter().any(|finding| finding.code == code)
}
