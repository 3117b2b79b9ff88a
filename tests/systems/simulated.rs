//! Captures of the simulated jig, which shares no code with the analysis.
#![allow(dead_code, missing_docs)] // each test file uses its part
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

use boxwright::bench::{HungDriver, Jig, JigSettings, Load};
use boxwright::impedance::{JigCapture, JigCaptures, JigFacts, MeasureSettings, Measured, measure_impedance};
use boxwright::math::Random;
use boxwright::quantity::{Code, SampleRate, Severity};
use boxwright::signal::{Excitation, Marks, Recording, SampleFormat, Sequence, SweepSettings};

/// A sweep as the program makes it, short.
pub fn sweep(from_hz: f64, repeats: u32, level_dbfs: f64) -> Excitation {
    let rate = SampleRate::new(48_000).unwrap();
    let sweep = SweepSettings { rate, from_hz, to_hz: 20_000.0, lowest_hz: None, duration_s: 1.5 };
    Sequence { sweep, level_dbfs, repeats, marks: Marks::BeforeAndAfter, pause_s: 1.0 }.excitation().unwrap()
}

pub fn hung(change: impl FnOnce(&mut HungDriver)) -> Load {
    let mut hung = HungDriver::mid();
    change(&mut hung);
    Load::Driver(Box::new(hung))
}

/// What the jig records, its settings changed.
pub fn recorded(excitation: &Excitation, load: Load, change: impl FnOnce(&mut JigSettings)) -> Recording {
    let mut settings = JigSettings { load, ..JigSettings::default() };
    change(&mut settings);
    let jig = Jig::new(settings).unwrap();
    let channels = jig.record(&excitation.samples, jig.frames_needed(excitation.samples.len()));
    Recording { rate: excitation.rate, channels, format: SampleFormat::Float32 }
}

/// The same with white noise on both channels.
pub fn noisy(recording: &Recording, rms: f64, seed: u64) -> Recording {
    let mut random = Random::new(seed);
    let channels = recording.channels.iter().map(|samples| samples.iter().map(|x| x + rms * random.normal()).collect());
    Recording { channels: channels.collect(), ..recording.clone() }
}

pub fn capture<'a>(recording: &'a Recording, excitation: &'a Excitation) -> JigCapture<'a> {
    JigCapture { recording, excitation, drive: 0, load: 1 }
}

pub fn alone<'a>(recording: &'a Recording, excitation: &'a Excitation) -> JigCaptures<'a> {
    JigCaptures { load: capture(recording, excitation), open: None, short: None, known: None }
}

/// 10 Ω and leads of 50 mΩ, as the simulated jig has them.
pub fn facts() -> JigFacts {
    JigFacts { lead_ohm: Some(0.05), known_ohm: Some(10.0), known_tolerance_ratio: 0.001, ..JigFacts::of_sense(10.0) }
}

pub fn measured(captures: &JigCaptures<'_>, facts: JigFacts) -> Measured {
    let settings = MeasureSettings { facts, points_per_octave: 48, band_hz: None, input_full_scale_v: Some(5.0) };
    measure_impedance(captures, &settings).unwrap()
}

pub fn codes(found: &Measured) -> Vec<(Code, Severity)> {
    found.findings.iter().map(|finding| (finding.code, finding.severity)).collect()
}
