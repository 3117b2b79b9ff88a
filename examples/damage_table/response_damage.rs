//! The kinds of damage to a response capture, and the sizes each of them is tried in.

use super::row::Untold;
use super::scene::{Capture, Scene};
use super::waveform::{self, Halves};
use boxwright::math::Random;
use boxwright::quantity::{Code, SampleRate};
use boxwright::response::GateChoice;
use boxwright::signal::{Marks, SampleFormat, Sequence, SweepSettings};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// One kind of damage.
pub struct Kind {
    pub name: &'static str,
    /// The unit of the sizes.
    pub unit: &'static str,
    pub sizes: &'static [f64],
    /// The codes that name it.
    pub codes: &'static [Code],
    /// Why a capture may not be able to tell it.
    pub untold: Untold,
    /// Does it; false where the scene has nothing that it could happen to.
    pub apply: fn(&Scene, &mut Capture, f64, &mut Random) -> bool,
}

fn peak(samples: &[f64]) -> f64 {
    samples.iter().fold(0.0, |peak: f64, x| peak.max(x.abs()))
}

/// Root mean square while the sweeps sound.
fn rms(scene: &Scene) -> f64 {
    let sounding = scene.sounding();
    let samples = &scene.reply[sounding.start..sounding.end.min(scene.reply.len())];
    (samples.iter().map(|x| x * x).sum::<f64>() / samples.len() as f64).sqrt()
}

fn linear(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

fn rate_hz(scene: &Scene) -> f64 {
    scene.excitation.rate.hz()
}

/// Another sweep was played than the one that is handed in.
fn given(scene: &Scene, capture: &mut Capture, change: impl Fn(&mut SweepSettings)) -> bool {
    let mut sweep = scene.sequence.sweep;
    change(&mut sweep);
    match (Sequence { sweep, ..scene.sequence }).excitation() {
        Ok(excitation) => {
            capture.excitation = excitation;
            true
        }
        Err(_) => false,
    }
}

/// Each repeat by its own factor, in dB, everything after the first included.
fn step_levels(scene: &Scene, samples: &mut [f64], step_db: f64) {
    let plan = &scene.excitation.plan;
    let middle = (0.3 * rate_hz(scene)) as usize;
    for &start in &plan.starts[1..] {
        for x in samples.iter_mut().skip(scene.lead + start - middle) {
            *x *= linear(step_db);
        }
    }
}

/// A path that is another one in each repeat: `moved_m` further away.
fn moved(scene: &Scene, capture: &mut Capture, moved_m: f64) -> bool {
    let distance_m = (scene.flight_s * 343.0).max(0.2);
    let plan = scene.excitation.plan.starts.len();
    if plan < 2 {
        return false;
    }
    capture.reply = scene.heard_by_repeat(&|number, hz| {
        let further_m = moved_m * number as f64;
        let late = Complex64::cis(-TAU * hz * further_m / 343.0);
        scene.room.response(hz) * late * distance_m / (distance_m + further_m)
    });
    true
}

const DB: &str = "dB";
const FRAMES: &str = "frames";
const PEAK: &str = "of peak";

/// All kinds, in the order of the table.
pub const KINDS: &[Kind] = &[
    Kind {
        name: "clipped by the converter",
        unit: DB,
        sizes: &[0.5, 2.0, 6.0, 15.0],
        codes: &[Code::Clipped],
        untold: Untold::Never,
        apply: |_, capture, over_db, _| {
            capture.gain_db = over_db - 20.0 * peak(&capture.reply).log10();
            waveform::gain(&mut capture.reply, capture.gain_db);
            waveform::clip(&mut capture.reply, 32_767.0 / 32_768.0);
            true
        },
    },
    Kind {
        name: "limiter before the converter",
        unit: DB,
        sizes: &[1.0, 3.0, 6.0, 12.0],
        codes: &[Code::Clipped, Code::LargeSignal],
        untold: Untold::WithoutMarks,
        apply: |_, capture, over_db, _| {
            let limit = peak(&capture.reply) * linear(-over_db);
            waveform::clip(&mut capture.reply, limit);
            true
        },
    },
    Kind {
        name: "soft knee before the converter",
        unit: DB,
        sizes: &[1.0, 3.0, 6.0, 12.0],
        codes: &[Code::Clipped, Code::LargeSignal],
        untold: Untold::WithoutMarks,
        apply: |_, capture, over_db, _| {
            let limit = peak(&capture.reply) * linear(-over_db);
            waveform::limit_softly(&mut capture.reply, 0.5 * limit, limit, Halves::Both);
            true
        },
    },
    Kind {
        name: "limiter of one half",
        unit: DB,
        sizes: &[1.0, 3.0, 6.0, 12.0],
        codes: &[Code::Clipped, Code::LargeSignal],
        untold: Untold::WithoutMarks,
        apply: |_, capture, over_db, _| {
            let limit = peak(&capture.reply) * linear(-over_db);
            waveform::limit_softly(&mut capture.reply, 0.95 * limit, limit, Halves::Upper);
            true
        },
    },
    Kind {
        name: "too quiet for 16 bits, peak",
        unit: "dBFS",
        sizes: &[-50.0, -65.0, -75.0, -85.0],
        codes: &[Code::TooQuiet, Code::Noisy],
        untold: Untold::Never,
        apply: |_, capture, peak_dbfs, _| {
            capture.gain_db = peak_dbfs - 20.0 * peak(&capture.reply).log10();
            waveform::gain(&mut capture.reply, capture.gain_db);
            capture.format = SampleFormat::Pcm16;
            true
        },
    },
    Kind {
        name: "broadband noise, SNR",
        unit: DB,
        sizes: &[40.0, 25.0, 10.0, 0.0],
        codes: &[Code::Noisy, Code::TooQuiet],
        untold: Untold::Never,
        apply: |scene, capture, snr_db, random| {
            waveform::white_noise(&mut capture.reply, rms(scene) * linear(-snr_db), random);
            true
        },
    },
    Kind {
        name: "hum 50 Hz, below reply",
        unit: DB,
        sizes: &[60.0, 40.0, 25.0, 10.0],
        codes: &[Code::Hum],
        untold: Untold::Never,
        apply: |scene, capture, below_db, random| {
            waveform::hum(&mut capture.reply, 1.4 * rms(scene) * linear(-below_db), 50.0, rate_hz(scene), random);
            true
        },
    },
    Kind {
        name: "hum 60 Hz, below reply",
        unit: DB,
        sizes: &[40.0, 20.0],
        codes: &[Code::Hum],
        untold: Untold::Never,
        apply: |scene, capture, below_db, random| {
            waveform::hum(&mut capture.reply, 1.4 * rms(scene) * linear(-below_db), 60.0, rate_hz(scene), random);
            true
        },
    },
    Kind {
        name: "whine, below reply",
        unit: DB,
        sizes: &[60.0, 40.0, 20.0, 5.0],
        codes: &[Code::Hum, Code::Disturbed, Code::Noisy],
        untold: Untold::Never,
        apply: |scene, capture, below_db, random| {
            let hz = 2_000.0 * 8f64.powf(random.uniform());
            let height = 1.4 * rms(scene) * linear(-below_db);
            waveform::tone(&mut capture.reply, height, hz, rate_hz(scene), 1.0);
            true
        },
    },
    Kind {
        name: "samples lost in a sweep",
        unit: FRAMES,
        sizes: &[1.0, 16.0, 128.0, 1_024.0, 8_192.0],
        codes: &[Code::Dropout],
        untold: Untold::Never,
        apply: |scene, capture, frames, random| {
            let at = scene.within_a_sweep(0.1, 0.9, random);
            capture.channels_mut().for_each(|samples| waveform::lose(samples, at, frames as usize));
            true
        },
    },
    Kind {
        name: "samples lost between sounds",
        unit: FRAMES,
        sizes: &[1.0, 16.0, 128.0, 1_024.0],
        codes: &[Code::Dropout],
        untold: Untold::Never,
        apply: |scene, capture, frames, _| {
            let plan = &scene.excitation.plan;
            if plan.starts.len() < 2 && plan.mark_starts.is_empty() {
                return false;
            }
            let last = scene.lead + plan.starts[plan.starts.len() - 1] - (0.2 * rate_hz(scene)) as usize;
            capture.channels_mut().for_each(|samples| waveform::lose(samples, last, frames as usize));
            true
        },
    },
    Kind {
        name: "a buffer put in twice",
        unit: FRAMES,
        sizes: &[16.0, 128.0, 1_024.0],
        codes: &[Code::Dropout],
        untold: Untold::Never,
        apply: |scene, capture, frames, random| {
            let at = scene.within_a_sweep(0.1, 0.9, random);
            capture.channels_mut().for_each(|samples| waveform::insert(samples, at, frames as usize));
            true
        },
    },
    Kind {
        name: "a buffer of zeros",
        unit: FRAMES,
        sizes: &[16.0, 64.0, 512.0, 4_096.0],
        codes: &[Code::Dropout],
        untold: Untold::Never,
        apply: |scene, capture, frames, random| {
            let at = scene.within_a_sweep(0.1, 0.9, random);
            capture.channels_mut().for_each(|samples| waveform::silence(samples, at, frames as usize));
            true
        },
    },
    Kind {
        name: "a buffer repeated",
        unit: FRAMES,
        sizes: &[16.0, 64.0, 512.0, 4_096.0],
        codes: &[Code::Dropout, Code::Disturbed],
        untold: Untold::Never,
        apply: |scene, capture, frames, random| {
            let at = scene.within_a_sweep(0.1, 0.8, random);
            capture.channels_mut().for_each(|samples| waveform::repeat(samples, at, frames as usize));
            true
        },
    },
    Kind {
        name: "one bad sample",
        unit: PEAK,
        sizes: &[0.1, 1.0, 5.0],
        codes: &[Code::Disturbed, Code::Dropout],
        untold: Untold::Never,
        apply: |scene, capture, height, random| {
            let at = scene.within_a_sweep(0.05, 0.95, random);
            let height = height * peak(&scene.reply);
            waveform::click(&mut capture.reply, at, height);
            true
        },
    },
    Kind {
        name: "begin cut off, of first sweep",
        unit: "%",
        sizes: &[-5.0, 10.0, 50.0],
        codes: &[Code::Truncated],
        untold: Untold::Never,
        apply: |scene, capture, percent, _| {
            let plan = &scene.excitation.plan;
            let frames = (scene.lead + plan.starts[0]) as f64 + 0.01 * percent * plan.frames as f64;
            capture.channels_mut().for_each(|samples| waveform::cut_begin(samples, frames as usize));
            true
        },
    },
    Kind {
        name: "end cut off, of last sweep",
        unit: "%",
        sizes: &[-2.0, 10.0, 50.0, 90.0],
        codes: &[Code::Truncated],
        untold: Untold::Never,
        apply: |scene, capture, percent, _| {
            let kept = scene.sounding().end as f64 - 0.01 * percent * scene.excitation.plan.frames as f64;
            capture.channels_mut().for_each(|samples| samples.truncate(kept as usize));
            true
        },
    },
    Kind {
        name: "clock off",
        unit: "ppm",
        sizes: &[-1_000.0, -300.0, 200.0, 500.0, 1_000.0],
        codes: &[Code::ClockDrift],
        untold: Untold::Never,
        apply: |_, capture, ppm, _| {
            capture.channels_mut().for_each(|samples| *samples = waveform::drift_clock(samples, ppm));
            true
        },
    },
    Kind {
        name: "clock that wanders by",
        unit: "us",
        sizes: &[1.0, 5.0, 20.0, 100.0],
        codes: &[Code::ClockDrift, Code::Dropout],
        untold: Untold::Never,
        apply: |scene, capture, swing_us, random| {
            let period_s = 0.7 + 2.0 * random.uniform();
            capture.channels_mut().for_each(|samples| {
                *samples = waveform::wander_clock(samples, 1e-6 * swing_us, period_s, rate_hz(scene));
            });
            true
        },
    },
    Kind {
        name: "level drifts in a sweep",
        unit: DB,
        sizes: &[0.3, 1.0, 3.0],
        codes: &[Code::LevelDrift],
        untold: Untold::WithoutMarks,
        apply: |scene, capture, end_db, _| {
            waveform::drift_level(&mut capture.reply, scene.sounding(), -end_db);
            true
        },
    },
    Kind {
        name: "level steps between repeats",
        unit: DB,
        sizes: &[0.1, 0.5, 2.0, 6.0],
        codes: &[Code::LevelDrift, Code::UnstableRepeat, Code::Disturbed],
        untold: Untold::Never,
        apply: |scene, capture, step_db, _| {
            step_levels(scene, &mut capture.reply, -step_db);
            scene.excitation.plan.starts.len() > 1
        },
    },
    Kind {
        name: "volume moved between repeats",
        unit: DB,
        sizes: &[0.5, 2.0, 6.0],
        codes: &[Code::LevelDrift, Code::UnstableRepeat, Code::Disturbed],
        untold: Untold::Never,
        apply: |scene, capture, step_db, _| {
            capture.channels_mut().for_each(|samples| step_levels(scene, samples, -step_db));
            scene.excitation.plan.starts.len() > 1
        },
    },
    Kind {
        name: "offset",
        unit: "of full scale",
        sizes: &[0.001, 0.01, 0.1],
        codes: &[Code::DcOffset],
        untold: Untold::Never,
        apply: |_, capture, by, _| {
            waveform::offset(&mut capture.reply, by);
            true
        },
    },
    Kind {
        name: "offset that wanders",
        unit: PEAK,
        sizes: &[0.01, 0.1, 0.5],
        codes: &[Code::DcOffset, Code::Noisy],
        untold: Untold::Never,
        apply: |scene, capture, of_peak, random| {
            waveform::wander(&mut capture.reply, of_peak * peak(&scene.reply), 0.5, rate_hz(scene), random);
            true
        },
    },
    Kind {
        name: "a door slams",
        unit: PEAK,
        sizes: &[0.01, 0.1, 0.5, 2.0],
        codes: &[Code::Disturbed],
        untold: Untold::Never,
        apply: |scene, capture, of_peak, random| {
            let at = scene.within_a_sweep(0.02, 0.9, random);
            waveform::slam(&mut capture.reply, at, of_peak * peak(&scene.reply), rate_hz(scene), random);
            true
        },
    },
    Kind {
        name: "a voice",
        unit: PEAK,
        sizes: &[0.003, 0.03, 0.2],
        codes: &[Code::Disturbed],
        untold: Untold::Never,
        apply: |scene, capture, of_peak, random| {
            let at = scene.within_a_sweep(0.0, 0.6, random);
            let span = at..(at + rate_hz(scene) as usize).min(capture.reply.len());
            waveform::voice(&mut capture.reply, span, of_peak * peak(&scene.reply), rate_hz(scene), random);
            true
        },
    },
    Kind {
        name: "a car",
        unit: PEAK,
        sizes: &[0.003, 0.03, 0.2],
        codes: &[Code::Disturbed],
        untold: Untold::Never,
        apply: |scene, capture, of_peak, random| {
            let span = scene.sounding();
            let span = span.start..span.end.min(capture.reply.len());
            waveform::car(&mut capture.reply, span, of_peak * peak(&scene.reply), rate_hz(scene), random);
            true
        },
    },
    Kind {
        name: "a telephone",
        unit: PEAK,
        sizes: &[0.01, 0.1, 0.5],
        codes: &[Code::Disturbed],
        untold: Untold::Never,
        apply: |scene, capture, of_peak, random| {
            let at = scene.within_a_sweep(0.0, 0.8, random);
            waveform::beep(&mut capture.reply, at, of_peak * peak(&scene.reply), rate_hz(scene));
            true
        },
    },
    Kind {
        name: "sweep of another length given",
        unit: "times",
        sizes: &[1.001, 1.01, 1.1, 2.0],
        codes: &[Code::WrongExcitation],
        untold: Untold::Never,
        apply: |scene, capture, times, _| given(scene, capture, |sweep| sweep.duration_s *= times),
    },
    Kind {
        name: "sweep of another band given",
        unit: "times",
        sizes: &[1.02, 1.1, 2.0],
        codes: &[Code::WrongExcitation],
        untold: Untold::Never,
        apply: |scene, capture, times, _| given(scene, capture, |sweep| sweep.from_hz *= times),
    },
    Kind {
        name: "more repeats given than played",
        unit: "more",
        sizes: &[1.0, 2.0],
        codes: &[Code::WrongExcitation, Code::Truncated],
        untold: Untold::Never,
        apply: |scene, capture, more, _| {
            let repeats = scene.sequence.repeats + more as u32;
            capture.excitation = Sequence { repeats, ..scene.sequence }.excitation().unwrap();
            true
        },
    },
    Kind {
        name: "marks given and not played",
        unit: "",
        sizes: &[1.0],
        codes: &[Code::WrongExcitation, Code::Dropout, Code::MarksUnheard],
        untold: Untold::Never,
        apply: |scene, capture, _, _| {
            capture.excitation = Sequence { marks: Marks::BeforeAndAfter, ..scene.sequence }.excitation().unwrap();
            scene.excitation.plan.mark_starts.is_empty()
        },
    },
    Kind {
        name: "polarity reversed",
        unit: "",
        sizes: &[1.0],
        codes: &[Code::ReversedPolarity],
        untold: Untold::Never,
        apply: |_, capture, _, _| {
            capture.reply.iter_mut().for_each(|x| *x = -*x);
            true
        },
    },
    Kind {
        name: "reply and loopback swapped",
        unit: "",
        sizes: &[1.0],
        codes: &[Code::ChannelsSwapped],
        untold: Untold::Never,
        apply: |scene, capture, _, _| {
            let Some(loopback) = capture.loopback.take() else { return false };
            capture.loopback = Some(std::mem::replace(&mut capture.reply, loopback));
            scene.loopback.is_some()
        },
    },
    Kind {
        name: "loopback leaks into reply, below",
        unit: DB,
        sizes: &[70.0, 50.0, 30.0, 10.0],
        codes: &[Code::Crosstalk],
        untold: Untold::Never,
        apply: |scene, capture, below_db, _| {
            let Some(loopback) = &scene.loopback else { return false };
            let size = linear(-below_db) * peak(&scene.reply) / peak(loopback);
            capture.reply.iter_mut().zip(loopback).for_each(|(x, leak)| *x += size * leak);
            true
        },
    },
    Kind {
        name: "noise gate, below reply",
        unit: DB,
        sizes: &[60.0, 40.0, 25.0, 12.0],
        codes: &[Code::Processed],
        untold: Untold::WithoutMarks,
        apply: |scene, capture, below_db, _| {
            waveform::gate_noise(&mut capture.reply, rms(scene) * linear(-below_db), rate_hz(scene));
            true
        },
    },
    Kind {
        name: "automatic gain, of the way",
        unit: "",
        sizes: &[0.1, 0.3, 1.0],
        codes: &[Code::Processed, Code::LevelDrift],
        untold: Untold::WithoutMarks,
        apply: |scene, capture, share, _| {
            waveform::automatic_gain(&mut capture.reply, rms(scene), share, 0.15, rate_hz(scene));
            true
        },
    },
    Kind {
        name: "through a lower rate",
        unit: "Hz",
        sizes: &[32_000.0, 16_000.0, 8_000.0],
        codes: &[Code::Processed],
        untold: Untold::Never,
        apply: |scene, capture, through_hz, _| {
            let corner_hz = 0.45 * through_hz;
            let band = scene.excitation.plan.band_hz;
            if corner_hz >= band[1] || corner_hz <= band[0] {
                return false;
            }
            capture.reply = steep_low_pass(&capture.reply, corner_hz, rate_hz(scene));
            true
        },
    },
    Kind {
        name: "played at another rate",
        unit: "ratio",
        sizes: &[48.0 / 44.1, 44.1 / 48.0],
        codes: &[Code::WrongExcitation],
        untold: Untold::Never,
        apply: |_, capture, ratio, _| {
            capture.channels_mut().for_each(|samples| *samples = waveform::resample(samples, ratio));
            true
        },
    },
    Kind {
        name: "wrong rate in the header",
        unit: "",
        sizes: &[1.0],
        codes: &[],
        untold: Untold::Never,
        apply: |_, capture, _, _| {
            let other = if capture.header_rate.hz() == 44_100.0 { 48_000 } else { 44_100 };
            capture.header_rate = SampleRate::new(other).unwrap();
            true
        },
    },
    Kind {
        name: "reflection in a given gate",
        unit: DB,
        sizes: &[30.0, 20.0, 10.0, 3.0],
        codes: &[Code::ReflectionInGate],
        untold: Untold::Never,
        apply: |scene, capture, below_db, random| {
            let gate = GateChoice::Length { after_s: (3.0 / scene.excitation.plan.band_hz[0]).max(0.025) };
            capture.settings.gate = gate;
            let frames = ((0.004 + 0.01 * random.uniform()) * rate_hz(scene)) as usize;
            waveform::echo(&mut capture.reply, frames, linear(-below_db));
            scene.settings.gate == gate && scene.room.images.is_empty()
        },
    },
    Kind {
        name: "microphone moved between repeats",
        unit: "mm",
        sizes: &[0.3, 3.0, 30.0],
        codes: &[Code::UnstableRepeat, Code::Disturbed, Code::Dropout, Code::LevelDrift],
        untold: Untold::Never,
        apply: |scene, capture, moved_mm, _| moved(scene, capture, 1e-3 * moved_mm),
    },
    Kind {
        name: "comb of 0.3 to 1.2 ms, gain",
        unit: "",
        sizes: &[0.1, 0.3, 0.7],
        codes: &[Code::Processed, Code::ReflectionInGate],
        untold: Untold::Linear,
        apply: |scene, capture, gain, random| {
            let frames = ((0.000_3 + 0.000_9 * random.uniform()) * rate_hz(scene)) as usize;
            waveform::echo(&mut capture.reply, frames, -gain);
            true
        },
    },
    Kind {
        name: "two microphones in one, apart",
        unit: "m",
        sizes: &[0.1, 0.5, 1.5],
        codes: &[Code::ReflectionInGate, Code::Processed],
        untold: Untold::Linear,
        apply: |scene, capture, apart_m, _| {
            let frames = (apart_m / 343.0 * rate_hz(scene)) as usize;
            waveform::echo(&mut capture.reply, frames, 0.7);
            true
        },
    },
];

/// A brick wall of ± 3 % around the corner, by frequency.
fn steep_low_pass(samples: &[f64], corner_hz: f64, rate_hz: f64) -> Vec<f64> {
    use boxwright::math::{InverseSpectrum, Spectrum, good_length};
    let length = good_length(samples.len() + 4_096);
    let mut bins = Spectrum::new(length).bins(samples);
    for (bin, value) in bins.iter_mut().enumerate() {
        let off = (bin as f64 * rate_hz / length as f64 / corner_hz - 1.0) / 0.03;
        *value *= if off < -1.0 {
            1.0
        } else if off > 1.0 {
            1e-5
        } else {
            0.5 - 0.5 * (0.25 * TAU * off).sin() + 1e-5
        };
    }
    let mut passed = InverseSpectrum::new(length).samples(&bins);
    passed.truncate(samples.len());
    passed
}
