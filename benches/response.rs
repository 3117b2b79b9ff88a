//! What a response costs, beside the bare cost of its transforms: `cargo bench --bench response`.
//!
//! The capture: 10.9 s, 48 kHz, two channels, 24 bits, one sweep of 5 s between marks; made by a delay and a one-pole
//! low-pass with noise 80 dB below full scale, since the arithmetic does not depend on what was recorded. It is read from its file each time,
//! except where a line says otherwise. `three_bare_transforms` are two forward and one inverse real transform of the length that holds recording and
//! sweep, planned beforehand and in memory that is there: the least that any deconvolution of the whole costs.
#![allow(clippy::unwrap_used)] // a benchmark that can't go on may stop
#![allow(missing_docs)]

use boxwright::files;
use boxwright::math::{Random, good_length};
use boxwright::quantity::SampleRate;
use boxwright::response::{Deconvolution, Pattern, Settings, analyse};
use boxwright::signal::{Excitation, Marks, Recording, SampleFormat, Sequence, SweepSettings};
use divan::Bencher;
use realfft::RealFftPlanner;
use std::path::PathBuf;

/// What was played and recorded is written to `target/speed`, where `docs/speed.py` reads it to do the same.
fn main() {
    let folder = PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/target/speed"));
    std::fs::create_dir_all(&folder).unwrap();
    for (case, name) in [(USUAL, "usual"), (LONG, "long")] {
        let excitation = case.excitation();
        let capture = case.capture(&excitation);
        let played = Recording { channels: vec![excitation.samples], ..capture.clone() };
        files::replace_wav(&folder.join(format!("{name}_played.wav")), &played).unwrap();
        files::replace_wav(&folder.join(format!("{name}_capture.wav")), &capture).unwrap();
    }
    divan::main();
}

/// A sweep of `duration_s`, and a recording of `recorded_s` of it.
#[derive(Clone, Copy)]
struct Case {
    rate_hz: u32,
    duration_s: f64,
    recorded_s: f64,
    repeats: u32,
}

const USUAL: Case = Case { rate_hz: 48_000, duration_s: 5.0, recorded_s: 10.9, repeats: 1 };
const LONG: Case = Case { rate_hz: 96_000, duration_s: 50.0, recorded_s: 60.0, repeats: 1 };

impl Case {
    fn excitation(self) -> Excitation {
        let rate = SampleRate::new(self.rate_hz).unwrap();
        let sweep =
            SweepSettings { rate, from_hz: 20.0, to_hz: 20_000.0, lowest_hz: None, duration_s: self.duration_s };
        let sequence =
            Sequence { sweep, level_dbfs: -12.0, repeats: self.repeats, marks: Marks::BeforeAndAfter, pause_s: 0.5 };
        sequence.excitation().unwrap()
    }

    fn capture(self, excitation: &Excitation) -> Recording {
        let frames = (self.recorded_s * f64::from(self.rate_hz)) as usize;
        let mut random = Random::new(1);
        let mut reply = vec![0.0; 300];
        let mut state = 0.0;
        reply.extend(excitation.samples.iter().map(|x| {
            state += 0.3 * (x - state);
            state
        }));
        let mut loopback = excitation.samples.clone();
        for channel in [&mut reply, &mut loopback] {
            channel.resize(frames, 0.0);
            channel.iter_mut().for_each(|x| *x += 1e-4 * random.normal());
        }
        Recording { rate: excitation.rate, channels: vec![reply, loopback], format: SampleFormat::Pcm24 }
    }

    /// The capture on disk.
    fn on_disk(self, excitation: &Excitation) -> OnDisk {
        let folder = std::env::temp_dir().join(format!("boxwright-bench-{}-{}", std::process::id(), self.rate_hz));
        std::fs::create_dir_all(&folder).unwrap();
        let path = folder.join("capture.wav");
        files::replace_wav(&path, &self.capture(excitation)).unwrap();
        OnDisk { folder, path }
    }
}

struct OnDisk {
    folder: PathBuf,
    path: PathBuf,
}

impl Drop for OnDisk {
    fn drop(&mut self) {
        std::fs::remove_dir_all(&self.folder).unwrap();
    }
}

#[divan::bench(args = [USUAL, LONG], sample_count = 10)]
fn three_bare_transforms(bencher: Bencher<'_, '_>, case: Case) {
    let excitation = case.excitation();
    let recording = case.capture(&excitation);
    let length = good_length(recording.frames() + excitation.plan.frames);
    let mut planner = RealFftPlanner::<f64>::new();
    let (forward, inverse) = (planner.plan_fft_forward(length), planner.plan_fft_inverse(length));
    let mut samples = forward.make_input_vec();
    samples[..recording.frames()].copy_from_slice(&recording.channels[0]);
    let mut bins = forward.make_output_vec();
    let mut scratch = vec![Default::default(); forward.get_scratch_len().max(inverse.get_scratch_len())];
    bencher.bench_local(|| {
        forward.process_with_scratch(&mut samples, &mut bins, &mut scratch).unwrap();
        inverse.process_with_scratch(&mut bins, &mut samples, &mut scratch).unwrap();
        samples.iter_mut().for_each(|x| *x /= length as f64);
        forward.process_with_scratch(&mut samples, &mut bins, &mut scratch).unwrap();
        samples[0] = 0.0;
    });
}

#[divan::bench(args = [USUAL, LONG], sample_count = 10)]
fn reading(bencher: Bencher<'_, '_>, case: Case) {
    let excitation = case.excitation();
    let file = case.on_disk(&excitation);
    bencher.bench_local(|| files::read_wav(&file.path).unwrap());
}

/// In memory: transform of the sweep, of the recording, and back, with the limit of the band.
#[divan::bench(args = [USUAL, LONG], sample_count = 10)]
fn deconvolution(bencher: Bencher<'_, '_>, case: Case) {
    let excitation = case.excitation();
    let recording = case.capture(&excitation);
    let pattern = Pattern::of(&excitation).unwrap();
    bencher.bench_local(|| Deconvolution::new(&pattern, recording.frames()).impulse_of(&recording.channels[0]));
}

fn whole(bencher: Bencher<'_, '_>, case: Case, reference: Option<usize>) {
    let excitation = case.excitation();
    let file = case.on_disk(&excitation);
    let settings = Settings { reference, ..Settings::of_reply(0) };
    bencher.bench_local(|| analyse(&files::read_wav(&file.path).unwrap().recording, &excitation, &settings).unwrap());
}

#[divan::bench(args = [USUAL, LONG], sample_count = 10)]
fn response_by_the_file(bencher: Bencher<'_, '_>, case: Case) {
    whole(bencher, case, None);
}

#[divan::bench(args = [USUAL, LONG], sample_count = 10)]
fn response_by_the_loopback(bencher: Bencher<'_, '_>, case: Case) {
    whole(bencher, case, Some(1));
}

/// How the costs grow, from the usual case on: with the sweep, the rate, the repeats.
mod growth {
    use super::{Bencher, Case, whole};

    const fn of(rate_hz: u32, duration_s: f64, repeats: u32) -> Case {
        // Marks and pauses take 5.9 s besides.
        Case {
            rate_hz,
            duration_s,
            recorded_s: 5.9 + repeats as f64 * duration_s + (repeats - 1) as f64 * 0.5,
            repeats,
        }
    }

    const CASES: [Case; 10] = [
        of(48_000, 2.5, 1),
        of(48_000, 5.0, 1),
        of(48_000, 10.0, 1),
        of(48_000, 20.0, 1),
        of(44_100, 5.0, 1),
        of(96_000, 5.0, 1),
        of(192_000, 5.0, 1),
        of(48_000, 5.0, 2),
        of(48_000, 5.0, 4),
        of(48_000, 5.0, 8),
    ];

    #[divan::bench(args = CASES, sample_count = 5)]
    fn reading(bencher: Bencher<'_, '_>, case: Case) {
        super::reading(bencher, case);
    }

    #[divan::bench(args = CASES, sample_count = 5)]
    fn deconvolution(bencher: Bencher<'_, '_>, case: Case) {
        super::deconvolution(bencher, case);
    }

    #[divan::bench(args = CASES, sample_count = 5)]
    fn response(bencher: Bencher<'_, '_>, case: Case) {
        whole(bencher, case, None);
    }
}

impl std::fmt::Display for Case {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:.1} s at {} kHz", self.recorded_s, f64::from(self.rate_hz) / 1e3)?;
        if self.repeats > 1 { write!(f, ", {} repeats", self.repeats) } else { Ok(()) }
    }
}
