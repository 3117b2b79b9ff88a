//! The kinds of damage to a capture of an impedance, and the sizes each of them is tried in.

use super::jig_scene::{Built, Captures, JigScene, Taken, Told};
use super::row::Untold;
use super::waveform::{self, Halves};
use boxwright::math::{InverseSpectrum, Random, Spectrum, good_length};
use boxwright::quantity::{Code, SampleRate};
use boxwright::signal::Sequence;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// One kind of damage.
pub struct Kind {
    pub name: &'static str,
    /// The unit of the sizes.
    pub unit: &'static str,
    pub sizes: &'static [f64],
    /// The codes that name it; none where it harms nothing.
    pub codes: &'static [Code],
    /// What no capture of it can tell.
    pub untold: Untold,
    /// Does it; false where the scene has nothing that it could happen to.
    pub apply: fn(&JigScene, &mut Captures, f64, &mut Random) -> bool,
}

fn peak(samples: &[f64]) -> f64 {
    samples.iter().fold(0.0, |peak: f64, x| peak.max(x.abs()))
}

fn linear(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

fn both(taken: &mut Taken) -> [&mut Vec<f64>; 2] {
    [&mut taken.drive, &mut taken.load]
}

/// The load as it is in the scene, in a jig that was built otherwise.
fn rebuilt(scene: &JigScene, change: impl Fn(&mut Built)) -> Taken {
    let mut built = scene.built;
    change(&mut built);
    scene.take(&built, &|_, hz| scene.coil.ohm(hz), 1)
}

/// From one way of building to the other, as `share` of the second goes with time.
fn between(one: &Taken, other: &Taken, share: impl Fn(usize) -> f64) -> Vec<f64> {
    let mix = |(frame, (a, b)): (usize, (&f64, &f64))| a + share(frame) * (b - a);
    one.load.iter().zip(&other.load).enumerate().map(mix).collect()
}

/// A channel through a transfer function.
fn through(scene: &JigScene, samples: &[f64], response: impl Fn(f64) -> Complex64) -> Vec<f64> {
    let length = good_length(samples.len() + scene.rate_hz() as usize);
    let mut bins = Spectrum::new(length).bins(samples);
    let step_hz = scene.rate_hz() / length as f64;
    bins.iter_mut().enumerate().for_each(|(bin, value)| *value *= response(bin as f64 * step_hz));
    let last = bins.len() - 1;
    bins[last].im = 0.0;
    let mut out = InverseSpectrum::new(length).samples(&bins);
    out.truncate(samples.len());
    out
}

fn clipped(over_db: f64, channel: &mut [f64]) {
    let up_db = over_db - 20.0 * peak(channel).log10();
    waveform::gain(channel, up_db);
    waveform::clip(channel, 32_767.0 / 32_768.0);
    waveform::gain(channel, -up_db);
}

const DB: &str = "dB";
const FRAMES: &str = "frames";
const PEAK: &str = "of peak";
const OHM: &str = "ohm";

/// All kinds, in the order of the table.
pub const KINDS: &[Kind] = &[
    Kind {
        name: "drive and load swapped",
        unit: "",
        sizes: &[1.0],
        codes: &[Code::ChannelsSwapped, Code::Implausible],
        untold: Untold::Never,
        apply: |_, captures, _, _| {
            let taken = &mut captures.load;
            std::mem::swap(&mut taken.drive, &mut taken.load);
            true
        },
    },
    Kind {
        name: "both clipped by the converter",
        unit: DB,
        sizes: &[0.5, 2.0, 6.0],
        codes: &[Code::Clipped],
        untold: Untold::Never,
        apply: |_, captures, over_db, _| {
            let up_db = over_db - 20.0 * peak(&captures.load.drive).log10();
            for channel in both(&mut captures.load) {
                waveform::gain(channel, up_db);
                waveform::clip(channel, 32_767.0 / 32_768.0);
            }
            true
        },
    },
    Kind {
        name: "drive limited before the converter",
        unit: DB,
        sizes: &[0.5, 2.0, 6.0],
        codes: &[Code::Clipped, Code::Processed],
        untold: Untold::Never,
        apply: |_, captures, over_db, _| {
            clipped(over_db, &mut captures.load.drive);
            true
        },
    },
    Kind {
        name: "load limited before the converter",
        unit: DB,
        sizes: &[0.5, 2.0, 6.0],
        codes: &[Code::Clipped, Code::Processed, Code::LargeSignal],
        untold: Untold::Never,
        apply: |_, captures, over_db, _| {
            clipped(over_db, &mut captures.load.load);
            true
        },
    },
    Kind {
        name: "soft knee of the drive's input",
        unit: DB,
        sizes: &[1.0, 3.0, 6.0],
        codes: &[Code::Clipped, Code::Processed],
        untold: Untold::Never,
        apply: |_, captures, over_db, _| {
            let limit = peak(&captures.load.drive) * linear(-over_db);
            waveform::limit_softly(&mut captures.load.drive, 0.5 * limit, limit, Halves::Both);
            true
        },
    },
    Kind {
        name: "soft knee of the load's input",
        unit: DB,
        sizes: &[1.0, 3.0, 6.0],
        codes: &[Code::Clipped, Code::Processed, Code::LargeSignal],
        untold: Untold::Never,
        apply: |_, captures, over_db, _| {
            let limit = peak(&captures.load.load) * linear(-over_db);
            waveform::limit_softly(&mut captures.load.load, 0.5 * limit, limit, Halves::Upper);
            true
        },
    },
    Kind {
        name: "too quiet for 16 bits, peak",
        unit: "dBFS",
        sizes: &[-50.0, -65.0, -80.0],
        codes: &[Code::TooQuiet, Code::Noisy],
        untold: Untold::Never,
        apply: |_, captures, peak_dbfs, random| {
            let up_db = peak_dbfs - 20.0 * peak(&captures.load.drive).log10();
            for channel in both(&mut captures.load) {
                waveform::gain(channel, up_db);
                waveform::white_noise(channel, 2f64.powi(-16), random);
                waveform::round(channel, 16);
            }
            true
        },
    },
    Kind {
        name: "noise in both, below the drive",
        unit: DB,
        sizes: &[60.0, 40.0, 25.0, 10.0],
        codes: &[Code::Noisy, Code::TooQuiet],
        untold: Untold::Never,
        apply: |_, captures, below_db, random| {
            let rms = peak(&captures.load.drive) * linear(-below_db) / 2f64.sqrt();
            both(&mut captures.load).into_iter().for_each(|channel| waveform::white_noise(channel, rms, random));
            true
        },
    },
    Kind {
        name: "hum in the load channel",
        unit: PEAK,
        sizes: &[0.001, 0.01, 0.1, 0.5],
        codes: &[Code::Hum],
        untold: Untold::Never,
        apply: |scene, captures, share, random| {
            let height = share * peak(&captures.load.load);
            waveform::hum(&mut captures.load.load, height, 50.0, scene.rate_hz(), random);
            true
        },
    },
    Kind {
        name: "hum in the drive channel",
        unit: PEAK,
        sizes: &[0.001, 0.01, 0.1, 0.5],
        codes: &[Code::Hum],
        untold: Untold::Never,
        apply: |scene, captures, share, random| {
            let height = share * peak(&captures.load.drive);
            waveform::hum(&mut captures.load.drive, height, 60.0, scene.rate_hz(), random);
            true
        },
    },
    Kind {
        name: "hum in both, unlike",
        unit: PEAK,
        sizes: &[0.01, 0.1],
        codes: &[Code::Hum],
        untold: Untold::Never,
        apply: |scene, captures, share, random| {
            let height = share * peak(&captures.load.load);
            for channel in both(&mut captures.load) {
                waveform::hum(channel, height, 50.0, scene.rate_hz(), random);
            }
            true
        },
    },
    Kind {
        name: "hum that swells",
        unit: PEAK,
        sizes: &[0.01, 0.1, 0.5],
        codes: &[Code::Hum, Code::Disturbed, Code::UnstableRepeat, Code::Processed],
        untold: Untold::Never,
        apply: |scene, captures, share, random| {
            let mut hum = vec![0.0; captures.load.load.len()];
            waveform::hum(&mut hum, share * peak(&captures.load.load), 50.0, scene.rate_hz(), random);
            let turn = TAU / (3.0 * scene.rate_hz());
            let swells = |(frame, x): (usize, f64)| x * (1.0 - (turn * frame as f64).cos()) * 0.5;
            let hum = hum.into_iter().enumerate().map(swells);
            captures.load.load.iter_mut().zip(hum).for_each(|(x, hum)| *x += hum);
            true
        },
    },
    Kind {
        name: "samples lost in both",
        unit: FRAMES,
        sizes: &[1.0, 64.0, 1024.0],
        codes: &[Code::Dropout],
        untold: Untold::Never,
        apply: |scene, captures, frames, random| {
            let at = scene.within_a_sweep(0.1, 0.9, random);
            both(&mut captures.load).into_iter().for_each(|channel| waveform::lose(channel, at, frames as usize));
            true
        },
    },
    Kind {
        name: "samples lost in one channel",
        unit: FRAMES,
        sizes: &[1.0, 16.0, 256.0],
        codes: &[Code::Dropout],
        untold: Untold::Never,
        apply: |scene, captures, frames, random| {
            let at = scene.within_a_sweep(0.1, 0.9, random);
            let which = usize::from(random.uniform() > 0.5);
            waveform::lose(both(&mut captures.load)[which], at, frames as usize);
            true
        },
    },
    Kind {
        name: "buffer of zeros in both",
        unit: FRAMES,
        sizes: &[16.0, 128.0, 1024.0],
        codes: &[Code::Dropout, Code::Disturbed],
        untold: Untold::Never,
        apply: |scene, captures, frames, random| {
            let at = scene.within_a_sweep(0.1, 0.9, random);
            both(&mut captures.load).into_iter().for_each(|channel| waveform::silence(channel, at, frames as usize));
            true
        },
    },
    Kind {
        name: "buffer of zeros in one channel",
        unit: FRAMES,
        sizes: &[16.0, 128.0, 1024.0],
        codes: &[Code::Dropout, Code::Disturbed],
        untold: Untold::Never,
        apply: |scene, captures, frames, random| {
            let at = scene.within_a_sweep(0.1, 0.9, random);
            let which = usize::from(random.uniform() > 0.5);
            waveform::silence(both(&mut captures.load)[which], at, frames as usize);
            true
        },
    },
    Kind {
        name: "begins late, of the first sweep",
        unit: "share",
        sizes: &[0.02, 0.2, 0.6],
        codes: &[Code::Truncated],
        untold: Untold::Never,
        apply: |scene, captures, share, _| {
            let plan = &scene.excitation.plan;
            let frames = scene.lead + plan.starts[0] + (share * plan.frames as f64) as usize;
            both(&mut captures.load).into_iter().for_each(|channel| waveform::cut_begin(channel, frames));
            true
        },
    },
    Kind {
        name: "ends early, of the last sweep",
        unit: "share",
        sizes: &[0.02, 0.2, 0.6],
        codes: &[Code::Truncated],
        untold: Untold::Never,
        apply: |scene, captures, share, _| {
            let end = scene.sounding().end - (share * scene.excitation.plan.frames as f64) as usize;
            both(&mut captures.load).into_iter().for_each(|channel| channel.truncate(end));
            true
        },
    },
    Kind {
        name: "knock on the cone",
        unit: PEAK,
        sizes: &[0.01, 0.1, 1.0],
        codes: &[Code::Disturbed, Code::UnstableRepeat],
        untold: Untold::Never,
        apply: |scene, captures, share, random| {
            let at = scene.within_a_sweep(0.1, 0.7, random);
            let height = share * peak(&captures.load.load);
            let [_, fs_hz, q] = scene.coil.peaks[0];
            let fall = std::f64::consts::PI * fs_hz / q / scene.rate_hz();
            let turn = TAU * fs_hz / scene.rate_hz();
            for (frame, x) in captures.load.load.iter_mut().skip(at).enumerate() {
                *x += height * (-fall * frame as f64).exp() * (turn * frame as f64).sin();
            }
            true
        },
    },
    Kind {
        name: "voice at the cone",
        unit: PEAK,
        sizes: &[0.003, 0.03, 0.3],
        codes: &[Code::Disturbed, Code::UnstableRepeat],
        untold: Untold::Never,
        apply: |scene, captures, share, random| {
            let at = scene.within_a_sweep(0.0, 0.6, random);
            let span = at..(at + (0.8 * scene.rate_hz()) as usize).min(captures.load.load.len());
            let height = share * peak(&captures.load.load);
            waveform::voice(&mut captures.load.load, span, height, scene.rate_hz(), random);
            true
        },
    },
    Kind {
        name: "contact that steps once",
        unit: OHM,
        sizes: &[0.1, 0.5, 2.0, 10.0],
        codes: &[Code::Disturbed, Code::UnstableRepeat, Code::Dropout],
        untold: Untold::WithoutMarks,
        apply: |scene, captures, ohm, random| {
            let other = rebuilt(scene, |built| built.lead_ohm += ohm);
            let at = scene.within_a_sweep(0.05, 0.95, random);
            captures.load.load = between(&captures.load, &other, |frame| f64::from(u8::from(frame >= at)));
            true
        },
    },
    Kind {
        name: "contact that flickers",
        unit: OHM,
        sizes: &[0.1, 0.5, 2.0, 10.0],
        codes: &[Code::Disturbed, Code::UnstableRepeat, Code::Dropout, Code::Noisy],
        untold: Untold::Never,
        apply: |scene, captures, ohm, random| {
            let other = rebuilt(scene, |built| built.lead_ohm += ohm);
            let mut state = false;
            let each = 30.0 / scene.rate_hz();
            let states: Vec<f64> = (0..captures.load.load.len())
                .map(|_| {
                    state ^= random.uniform() < each;
                    f64::from(u8::from(state))
                })
                .collect();
            captures.load.load = between(&captures.load, &other, |frame| states[frame]);
            true
        },
    },
    Kind {
        name: "contact that grows",
        unit: OHM,
        sizes: &[0.1, 0.5, 2.0, 10.0],
        codes: &[Code::UnstableRepeat, Code::LevelDrift],
        untold: Untold::WithoutMarks,
        apply: |scene, captures, ohm, _| {
            let other = rebuilt(scene, |built| built.lead_ohm += ohm);
            let sounding = scene.sounding();
            let share = |frame: usize| (frame.saturating_sub(sounding.start) as f64 / sounding.len() as f64).min(1.0);
            captures.load.load = between(&captures.load, &other, share);
            true
        },
    },
    Kind {
        name: "sense resistor that heats, by",
        unit: "share",
        sizes: &[0.01, 0.05, 0.2],
        codes: &[Code::UnstableRepeat, Code::LevelDrift],
        untold: Untold::WithoutMarks,
        apply: |scene, captures, share, _| {
            let other = rebuilt(scene, |built| built.sense_ohm *= 1.0 + share);
            let sounding = scene.sounding();
            let after = move |frame: usize| frame.saturating_sub(sounding.start) as f64 / sounding.len() as f64;
            captures.load.load = between(&captures.load, &other, |frame| 1.0 - (-2.0 * after(frame)).exp());
            true
        },
    },
    Kind {
        name: "coil that warms by each sweep",
        unit: "share",
        sizes: &[0.003, 0.03, 0.1],
        codes: &[Code::UnstableRepeat],
        untold: Untold::Never,
        apply: |scene, captures, share, _| {
            let coil = &scene.coil;
            let warm = |repeat: usize, hz: f64| coil.ohm(hz) + coil.re_ohm * share * repeat as f64;
            captures.load = scene.take(&scene.built, &warm, 1);
            scene.excitation.plan.starts.len() > 1
        },
    },
    Kind {
        name: "drive too large, compression",
        unit: "share",
        sizes: &[0.01, 0.05, 0.2],
        codes: &[Code::LargeSignal],
        untold: Untold::Never,
        apply: |scene, captures, share, _| {
            let at_rest = scene.take(&scene.built, &|_, hz| scene.coil.at_rest_ohm(hz), 1);
            let moving: Vec<f64> = captures.load.load.iter().zip(&at_rest.load).map(|(all, rest)| all - rest).collect();
            let height = peak(&moving);
            let cubes = moving.iter().map(|x| share * height * (x / height).powi(3));
            captures.load.load.iter_mut().zip(cubes).for_each(|(x, cube)| *x -= cube);
            true
        },
    },
    Kind {
        name: "offset in one channel",
        unit: PEAK,
        sizes: &[0.01, 0.1, 1.0],
        codes: &[Code::DcOffset],
        untold: Untold::Never,
        apply: |_, captures, share, random| {
            let which = usize::from(random.uniform() > 0.5);
            let channel = &mut *both(&mut captures.load)[which];
            let by = share * peak(channel);
            waveform::offset(channel, by);
            true
        },
    },
    Kind {
        name: "source drifts (harms nothing)",
        unit: DB,
        sizes: &[0.5, 3.0],
        codes: &[],
        untold: Untold::Never,
        apply: |scene, captures, db, _| {
            let span = scene.sounding();
            both(&mut captures.load).into_iter().for_each(|channel| waveform::drift_level(channel, span.clone(), db));
            true
        },
    },
    Kind {
        name: "gain of one channel drifts",
        unit: DB,
        sizes: &[0.1, 0.5, 1.0, 3.0],
        codes: &[Code::LevelDrift, Code::UnstableRepeat],
        untold: Untold::WithoutMarks,
        apply: |scene, captures, db, random| {
            let which = usize::from(random.uniform() > 0.5);
            waveform::drift_level(both(&mut captures.load)[which], scene.sounding(), db);
            true
        },
    },
    Kind {
        name: "inputs unequal, nothing calibrated",
        unit: DB,
        sizes: &[0.1, 0.3, 1.0, 3.0, -1.0, -3.0],
        codes: &[Code::InputGain, Code::Implausible, Code::SenseResistor],
        untold: Untold::Never,
        apply: |scene, captures, db, _| {
            captures.facts.gain_limit_db = None;
            captures.load = rebuilt(scene, |built| built.gain = Complex64::from(linear(db)));
            scene.told == Told::Nothing
        },
    },
    Kind {
        name: "wrong sense resistor was said, by",
        unit: "factor",
        sizes: &[1.05, 1.5, 2.2, 10.0, 0.1],
        codes: &[Code::SenseResistor, Code::Implausible],
        untold: Untold::Linear,
        apply: |_, captures, factor, _| {
            captures.facts.sense_ohm *= factor;
            true
        },
    },
    Kind {
        name: "leads",
        unit: OHM,
        sizes: &[0.05, 0.3, 2.0],
        codes: &[Code::LeadResistance],
        untold: Untold::Linear,
        apply: |scene, captures, ohm, _| {
            captures.load = rebuilt(scene, |built| built.lead_ohm = ohm);
            captures.facts.lead_ohm = None;
            captures.short.is_none()
        },
    },
    Kind {
        name: "input that loads the jig",
        unit: "kohm",
        sizes: &[10.0, 2.0, 0.6],
        codes: &[Code::InputGain, Code::SenseResistor],
        untold: Untold::Never,
        apply: |scene, captures, kohm, _| {
            captures.load = rebuilt(scene, |built| built.input_ohm = 1e3 * kohm);
            scene.told == Told::Nothing
        },
    },
    Kind {
        name: "not connected",
        unit: "",
        sizes: &[1.0],
        codes: &[Code::Implausible],
        untold: Untold::Never,
        apply: |scene, captures, _, _| {
            captures.load = scene.take(&scene.built, &|_, _| 1e12.into(), 1);
            true
        },
    },
    Kind {
        name: "short circuit",
        unit: "",
        sizes: &[1.0],
        codes: &[Code::Implausible],
        untold: Untold::Never,
        apply: |scene, captures, _, _| {
            captures.load = scene.take(&scene.built, &|_, _| 0.01.into(), 1);
            true
        },
    },
    Kind {
        name: "only a resistor",
        unit: OHM,
        sizes: &[8.2],
        codes: &[Code::NoResonance],
        untold: Untold::Never,
        apply: |scene, captures, ohm, _| {
            captures.load = scene.take(&scene.built, &|_, _| ohm.into(), 1);
            captures.resistor_ohm = Some(ohm);
            true
        },
    },
    Kind {
        name: "wrong polarity of one channel",
        unit: "",
        sizes: &[1.0],
        codes: &[Code::ReversedPolarity],
        untold: Untold::Never,
        apply: |_, captures, _, _| {
            captures.load.load.iter_mut().for_each(|x| *x = -*x);
            true
        },
    },
    Kind {
        name: "microphone instead of load",
        unit: "",
        sizes: &[1.0],
        codes: &[Code::Implausible, Code::ReversedPolarity, Code::ChannelsSwapped, Code::NotADriver, Code::NoResonance],
        untold: Untold::Never,
        apply: |scene, captures, _, _| {
            let fs_hz = scene.coil.peaks[0][1];
            let played = captures.load.drive.clone();
            captures.load.load = through(scene, &played, |hz| {
                let s = Complex64::new(0.0, hz / fs_hz);
                0.1 * (s * s / (s * s + s + 1.0)) * Complex64::cis(-TAU * hz * 0.003)
            });
            true
        },
    },
    Kind {
        name: "high-pass of one input",
        unit: "Hz",
        sizes: &[1.0, 5.0, 20.0, 80.0],
        codes: &[Code::Implausible, Code::InputGain, Code::NotADriver],
        untold: Untold::Linear,
        apply: |scene, captures, corner_hz, random| {
            let which = usize::from(random.uniform() > 0.5);
            let channel = &mut *both(&mut captures.load)[which];
            *channel = through(scene, channel, |hz| {
                let s = Complex64::new(0.0, hz / corner_hz);
                s / (1.0 + s)
            });
            true
        },
    },
    Kind {
        name: "crosstalk of drive into load",
        unit: DB,
        sizes: &[-60.0, -40.0, -26.0],
        codes: &[Code::InputGain, Code::Implausible],
        untold: Untold::Linear,
        apply: |_, captures, db, _| {
            let Taken { drive, load, .. } = &mut captures.load;
            load.iter_mut().zip(drive.iter()).for_each(|(x, drive)| *x += linear(db) * drive);
            true
        },
    },
    Kind {
        name: "load channel late",
        unit: FRAMES,
        sizes: &[0.25, 1.0, 8.0, 64.0],
        codes: &[Code::InputDelay, Code::Implausible],
        untold: Untold::Never,
        apply: |scene, captures, frames, _| {
            let load = captures.load.load.clone();
            captures.load.load = through(scene, &load, |hz| Complex64::cis(-TAU * hz * frames / scene.rate_hz()));
            true
        },
    },
    Kind {
        name: "drive channel late",
        unit: FRAMES,
        sizes: &[0.25, 1.0, 8.0, 64.0],
        codes: &[Code::InputDelay, Code::Implausible],
        untold: Untold::Never,
        apply: |scene, captures, frames, _| {
            let drive = captures.load.drive.clone();
            captures.load.drive = through(scene, &drive, |hz| Complex64::cis(-TAU * hz * frames / scene.rate_hz()));
            true
        },
    },
    Kind {
        name: "another sweep was given, longer by",
        unit: "share",
        sizes: &[0.01, 0.2],
        codes: &[Code::WrongExcitation],
        untold: Untold::Never,
        apply: |scene, captures, share, _| {
            let mut sweep = scene.sequence.sweep;
            sweep.duration_s *= 1.0 + share;
            captures.load.excitation = Sequence { sweep, ..scene.sequence }.excitation().unwrap();
            true
        },
    },
    Kind {
        name: "noise gate in one channel, opens at",
        unit: DB,
        sizes: &[-50.0, -30.0, -20.0],
        codes: &[Code::Processed, Code::Disturbed, Code::Dropout],
        untold: Untold::Never,
        apply: |scene, captures, db, _| {
            let channel = &mut captures.load.load;
            let threshold = peak(channel) * linear(db);
            waveform::gate_noise(channel, threshold, scene.rate_hz());
            true
        },
    },
    Kind {
        name: "automatic gain of the load, share",
        unit: "",
        sizes: &[0.1, 0.5, 1.0],
        codes: &[Code::Processed, Code::LevelDrift, Code::UnstableRepeat],
        untold: Untold::WithoutMarks,
        apply: |scene, captures, share, _| {
            let channel = &mut captures.load.load;
            let target = 0.3 * peak(channel);
            waveform::automatic_gain(channel, target, share, 0.3, scene.rate_hz());
            true
        },
    },
    Kind {
        name: "resampled, header says the old rate",
        unit: "ratio",
        sizes: &[0.918_75, 1.088_435],
        codes: &[Code::WrongExcitation, Code::ClockDrift],
        untold: Untold::Never,
        apply: |_, captures, ratio, _| {
            both(&mut captures.load).into_iter().for_each(|channel| *channel = waveform::resample(channel, ratio));
            true
        },
    },
    Kind {
        name: "known with another sense resistor",
        unit: "factor",
        sizes: &[1.1, 2.2, 4.7],
        codes: &[Code::SenseResistor, Code::Implausible],
        untold: Untold::Linear,
        apply: |scene, captures, factor, _| {
            let built = Built { sense_ohm: scene.built.sense_ohm * factor, ..scene.built };
            captures.known = Some(scene.take(&built, &|_, _| 8.2.into(), 4));
            scene.told != Told::Nothing
        },
    },
    Kind {
        name: "known with another gain",
        unit: DB,
        sizes: &[0.3, 1.0, 6.0],
        codes: &[Code::SenseResistor, Code::Implausible, Code::InputGain],
        untold: Untold::Linear,
        apply: |scene, captures, db, _| {
            let built = Built { gain: scene.built.gain * linear(db), ..scene.built };
            captures.known = Some(scene.take(&built, &|_, _| 8.2.into(), 4));
            scene.told != Told::Nothing
        },
    },
    Kind {
        name: "known swapped with the load",
        unit: "",
        sizes: &[1.0],
        codes: &[Code::Implausible, Code::NoResonance, Code::SenseResistor],
        untold: Untold::Never,
        apply: |scene, captures, _, _| {
            let Some(known) = captures.known.take() else { return false };
            captures.known = Some(std::mem::replace(&mut captures.load, known));
            captures.resistor_ohm = captures.facts.known_ohm;
            scene.told != Told::Nothing
        },
    },
    Kind {
        name: "known made at another rate",
        unit: "",
        sizes: &[1.0],
        codes: &[Code::WrongExcitation],
        untold: Untold::Never,
        apply: |_, captures, _, _| {
            let Some(known) = &mut captures.known else { return false };
            let other = if known.header_rate.hz() == 48_000.0 { 44_100 } else { 48_000 };
            known.header_rate = SampleRate::new(other).unwrap();
            true
        },
    },
];
