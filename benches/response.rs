//! What a response costs, beside the bare cost of its transforms: `cargo bench --bench response`.
//!
//! The capture: 10.9 s, 48 kHz, two channels, 24 bits, one sweep of 5 s between marks; made by a delay and a one-pole
//! low-pass, since the arithmetic does not depend on what was recorded.
#![allow(clippy::unwrap_used)] // a benchmark that can't go on may stop
#![allow(missing_docs)]

use boxwright::files;
use boxwright::math::{InverseSpectrum, Spectrum, good_length};
use boxwright::quantity::SampleRate;
use boxwright::response::{Settings, analyse};
use boxwright::signal::{Excitation, Marks, Recording, SampleFormat, Sequence, SweepSettings};
use divan::Bencher;

fn main() {
    divan::main();
}

const FRAMES: usize = 523_200;

fn excitation() -> Excitation {
    let rate = SampleRate::new(48_000).unwrap();
    let sweep = SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: 5.0 };
    let sequence = Sequence { sweep, level_dbfs: -12.0, repeats: 1, marks: Marks::BeforeAndAfter, pause_s: 0.5 };
    sequence.excitation().unwrap()
}

fn capture(excitation: &Excitation) -> Recording {
    let mut reply = vec![0.0; 300];
    let mut state = 0.0;
    reply.extend(excitation.samples.iter().map(|x| {
        state += 0.3 * (x - state);
        state
    }));
    reply.resize(FRAMES, 0.0);
    let mut loopback = excitation.samples.clone();
    loopback.resize(FRAMES, 0.0);
    Recording { rate: excitation.rate, channels: vec![reply, loopback], format: SampleFormat::Pcm24 }
}

fn settings(reference: Option<usize>) -> Settings {
    Settings { reference, ..Settings::of_reply(0) }
}

/// Three real transforms of the length that holds recording and sweep: the least that any deconvolution costs.
#[divan::bench]
fn three_bare_transforms(bencher: Bencher<'_, '_>) {
    let excitation = excitation();
    let recording = capture(&excitation);
    let length = good_length(FRAMES + excitation.plan.frames);
    let mut forward = Spectrum::new(length);
    let mut inverse = InverseSpectrum::new(length);
    bencher.bench_local(|| {
        let reply = forward.bins(&recording.channels[0]);
        let drive = forward.bins(&excitation.samples);
        (inverse.samples(&reply), drive)
    });
}

#[divan::bench]
fn analyse_against_the_file(bencher: Bencher<'_, '_>) {
    let excitation = excitation();
    let recording = capture(&excitation);
    bencher.bench_local(|| analyse(&recording, &excitation, &settings(None)).unwrap());
}

#[divan::bench]
fn analyse_against_the_loopback(bencher: Bencher<'_, '_>) {
    let excitation = excitation();
    let recording = capture(&excitation);
    bencher.bench_local(|| analyse(&recording, &excitation, &settings(Some(1))).unwrap());
}

#[divan::bench]
fn read_the_capture(bencher: Bencher<'_, '_>) {
    let folder = std::env::temp_dir().join(format!("boxwright-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join("capture.wav");
    files::replace_wav(&path, &capture(&excitation())).unwrap();
    bencher.bench_local(|| files::read_wav(&path).unwrap());
    std::fs::remove_dir_all(&folder).unwrap();
}
