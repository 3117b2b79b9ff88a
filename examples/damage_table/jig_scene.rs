//! Captures of an impedance as people make them: a load in a jig, both channels in closed form.
//!
//! ```text
//! l = k·Z_l/(Z_l + R_s + R_s·Z_l/R_in)·d        Z_l = Z + R_lead
//! Z = R_e + K·(jω)^n + Σ R_i/(1 + jQ_i·(f/f_i − f_i/f))
//! ```
//!
//! d, l: drive and load channel; k: gain of one input over the other; R_in: the load input's own resistance. The load is a voice coil that
//! loses towards the treble, with one or two peaks and a wrinkle of a panel; numbers are drawn from what homes and workshops have.

use super::waveform;
use boxwright::impedance::{JigCapture, JigCaptures, JigFacts, MeasureSettings};
use boxwright::math::{InverseSpectrum, Random, Spectrum, good_length};
use boxwright::quantity::SampleRate;
use boxwright::signal::{Excitation, Marks, Recording, SampleFormat, Sequence, SweepSettings};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// What hangs in the jig.
#[derive(Clone)]
pub struct Coil {
    pub re_ohm: f64,
    pub lossy: [f64; 2],
    /// R_i, f_i, Q_i.
    pub peaks: Vec<[f64; 3]>,
}

/// A jig as it is built.
#[derive(Clone, Copy)]
pub struct Built {
    pub sense_ohm: f64,
    pub lead_ohm: f64,
    pub gain: Complex64,
    pub input_ohm: f64,
}

/// The two channels of a capture that count, and how it is kept.
#[derive(Clone)]
pub struct Taken {
    pub drive: Vec<f64>,
    pub load: Vec<f64>,
    pub excitation: Excitation,
    pub header_rate: SampleRate,
}

/// All that is handed to the analysis.
#[derive(Clone)]
pub struct Captures {
    pub load: Taken,
    pub open: Option<Taken>,
    pub short: Option<Taken>,
    pub known: Option<Taken>,
    pub facts: JigFacts,
    /// What hung in the driver's place.
    pub resistor_ohm: Option<f64>,
}

pub struct JigScene {
    pub coil: Coil,
    pub built: Built,
    pub facts: JigFacts,
    pub excitation: Excitation,
    pub sequence: Sequence,
    pub format: SampleFormat,
    pub channels: usize,
    pub drive_at: usize,
    pub load_at: usize,
    pub lead: usize,
    pub noise: f64,
    pub drift_ppm: f64,
    /// Which calibrations are there.
    pub told: Told,
    pub seed: u64,
    taken: Captures,
}

/// The captures beside the load's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Told {
    Nothing,
    Known,
    KnownAndShort,
    All,
}

impl Coil {
    fn drawn(from_hz: f64, random: &mut Random) -> Self {
        let mut within = |from: f64, to: f64| from * (to / from).powf(random.uniform());
        let re_ohm = within(3.0, 7.5);
        let fs_hz = from_hz * within(2.6, 12.0);
        let at_1khz = re_ohm * within(0.1, 1.5);
        let power = within(0.5, 0.95);
        let mut peaks = vec![[re_ohm * within(2.0, 12.0), fs_hz, within(2.0, 9.0)]];
        if within(1.0, 2.0) > 1.4 {
            peaks.push([re_ohm * within(1.5, 8.0), fs_hz * within(2.2, 3.5), within(3.0, 9.0)]);
        }
        if within(1.0, 2.0) > 1.4 {
            peaks.push([re_ohm * within(0.02, 0.15), fs_hz * within(5.0, 12.0), within(10.0, 40.0)]);
        }
        Self { re_ohm, lossy: [at_1khz / (TAU * 1_000.0).powf(power), power], peaks }
    }

    pub fn ohm(&self, hz: f64) -> Complex64 {
        self.at_rest_ohm(hz) + self.motional_ohm(hz)
    }

    /// With the cone held.
    pub fn at_rest_ohm(&self, hz: f64) -> Complex64 {
        let [k, n] = self.lossy;
        self.re_ohm + k * Complex64::new(0.0, TAU * hz).powf(n)
    }

    pub fn motional_ohm(&self, hz: f64) -> Complex64 {
        let of_peak = |&[ohm, at_hz, q]: &[f64; 3]| ohm / Complex64::new(1.0, q * (hz / at_hz - at_hz / hz));
        self.peaks.iter().map(of_peak).sum()
    }
}

impl Built {
    /// Load channel over drive channel.
    pub fn ratio(&self, load_ohm: Complex64) -> Complex64 {
        let across = load_ohm + self.lead_ohm;
        // An open load draws nothing, but the input does.
        if across.norm() > 1e9 {
            return self.gain / (1.0 + self.sense_ohm / self.input_ohm);
        }
        self.gain * across / (across * (1.0 + self.sense_ohm / self.input_ohm) + self.sense_ohm)
    }
}

impl JigScene {
    pub fn drawn(seed: u64) -> Self {
        let mut random = Random::new(seed);
        let random = &mut random;
        let rate_hz = [44_100, 48_000, 48_000, 96_000, 192_000][(random.uniform() * 4.3) as usize];
        let rate = SampleRate::new(rate_hz).unwrap();
        let from_hz = [5.0, 10.0, 20.0, 100.0][(random.uniform() * 4.0) as usize];
        let to_hz = [2_000.0, 20_000.0, 20_000.0][(random.uniform() * 3.0) as usize];
        let sweep = SweepSettings {
            rate,
            from_hz,
            to_hz,
            lowest_hz: None,
            duration_s: if rate_hz > 50_000 { 2.0 } else { 2.0 + 2.0 * random.uniform() },
        };
        let marks = if random.uniform() < 0.6 { Marks::BeforeAndAfter } else { Marks::None };
        let repeats = [1, 1, 2, 3][(random.uniform() * 4.0) as usize];
        let level_dbfs = -3.0 - 27.0 * random.uniform();
        let sequence = Sequence { sweep, level_dbfs, repeats, marks, pause_s: 0.5 };
        let excitation = sequence.excitation().unwrap();
        let format = [SampleFormat::Pcm16, SampleFormat::Pcm24, SampleFormat::Pcm32, SampleFormat::Float32]
            [(random.uniform() * 4.0) as usize];
        let channels = [2, 2, 2, 3, 8][(random.uniform() * 5.0) as usize];
        let drive_at = (random.uniform() * channels as f64) as usize;
        let load_at = (drive_at + 1 + (random.uniform() * (channels - 1) as f64) as usize) % channels;
        let told = [Told::Nothing, Told::Nothing, Told::Known, Told::KnownAndShort, Told::All]
            [(random.uniform() * 5.0) as usize];
        let coil = Coil::drawn(from_hz, random);
        let stated_ohm = [4.7, 10.0, 10.0, 22.0, 47.0][(random.uniform() * 5.0) as usize];
        let mut limits = |limit: f64| limit * (2.0 * random.uniform() - 1.0);
        let (sense_off, known_off) = (limits(0.01), limits(0.01));
        let lead_ohm = 0.05 + limits(0.05);
        let is_pair = limits(1.0) > 0.0;
        let gain_limit_db = if told == Told::All {
            3.0
        } else if told != Told::Nothing {
            1.3
        } else if is_pair {
            0.1
        } else {
            1.0
        };
        let gain = Complex64::from_polar(
            10f64.powf(limits(gain_limit_db) / 20.0),
            limits(0.01) * f64::from(u8::from(told != Told::Nothing)),
        );
        let known_ohm = 8.2;
        let facts = JigFacts {
            known_ohm: (told != Told::Nothing).then_some(known_ohm),
            lead_ohm: (limits(1.0) > 0.3).then_some((1e3 * lead_ohm).round() / 1e3),
            gain_limit_db: is_pair.then_some(0.1),
            ..JigFacts::of_sense(stated_ohm)
        };
        let built = Built {
            sense_ohm: stated_ohm * (1.0 + sense_off),
            lead_ohm,
            gain,
            input_ohm: 20_000.0 * 10f64.powf(limits(0.3)),
        };
        let noise = 10f64.powf((-92.0 + limits(13.0)) / 20.0);
        let drift_ppm = if limits(1.0) > 0.3 { limits(100.0) } else { 0.0 };
        let lead = (rate.hz() * (0.06 + limits(0.05))) as usize;
        let empty = Taken { drive: Vec::new(), load: Vec::new(), excitation: excitation.clone(), header_rate: rate };
        let taken = Captures { load: empty, open: None, short: None, known: None, facts, resistor_ohm: None };
        let mut scene = Self {
            coil,
            built,
            facts,
            excitation,
            sequence,
            format,
            channels,
            drive_at,
            load_at,
            lead,
            noise,
            drift_ppm,
            told,
            seed,
            taken,
        };
        let load = scene.take(&scene.built, &|_, hz| scene.coil.ohm(hz), 1);
        let resistor = |ohm: f64, number| scene.take(&scene.built, &move |_, _| ohm.into(), number);
        let open = (told == Told::All).then(|| resistor(1e12, 2));
        let short = (told == Told::All || told == Told::KnownAndShort).then(|| resistor(0.0, 3));
        let known = (told != Told::Nothing).then(|| resistor(known_ohm * (1.0 + known_off), 4));
        scene.taken = Captures { load, open, short, known, facts: scene.facts, resistor_ohm: None };
        scene
    }

    pub fn captures(&self) -> Captures {
        self.taken.clone()
    }

    pub fn rate_hz(&self) -> f64 {
        self.excitation.rate.hz()
    }

    /// A capture with a load that may be another one in each repeat; its own noise by `number`.
    pub fn take(&self, built: &Built, load: &dyn Fn(usize, f64) -> Complex64, number: u64) -> Taken {
        let plan = &self.excitation.plan;
        let samples = &self.excitation.samples;
        let frames = self.lead + samples.len() + (0.25 * self.rate_hz()) as usize;
        let mut drive = vec![0.0; frames];
        drive[self.lead..self.lead + samples.len()].copy_from_slice(samples);
        let length = good_length(frames + (2.0 * self.rate_hz()) as usize);
        let step_hz = self.rate_hz() / length as f64;
        let filtered = |part: &[f64], repeat: usize| {
            let mut bins = Spectrum::new(length).bins(part);
            for (bin, value) in bins.iter_mut().enumerate() {
                *value *= built.ratio(load(repeat, (bin as f64 * step_hz).max(1e-3)));
            }
            let mut out = InverseSpectrum::new(length).samples(&bins);
            out.truncate(frames);
            out
        };
        // Where all repeats hear the same, once is enough.
        let is_steady = (1..plan.starts.len()).all(|n| [31.0, 77.0, 1e3].iter().all(|&hz| load(n, hz) == load(0, hz)));
        let mut loaded = vec![0.0; frames];
        if is_steady {
            loaded = filtered(&drive, 0);
        } else {
            for (repeat, &start) in plan.starts.iter().enumerate() {
                let from = if repeat == 0 { 0 } else { start + self.lead };
                let end = plan.starts.get(repeat + 1).map_or(frames, |next| next + self.lead);
                let mut part = vec![0.0; frames];
                part[from..end].copy_from_slice(&drive[from..end]);
                loaded.iter_mut().zip(filtered(&part, repeat)).for_each(|(sum, x)| *sum += x);
            }
        }
        let mut random = Random::new(self.seed ^ number.wrapping_mul(0x9e37_79b9));
        let mut heard = |samples: Vec<f64>| {
            let mut samples =
                if self.drift_ppm == 0.0 { samples } else { waveform::drift_clock(&samples, self.drift_ppm) };
            waveform::white_noise(&mut samples, self.noise, &mut random);
            samples
        };
        let (drive, load) = (heard(drive), heard(loaded));
        Taken { drive, load, excitation: self.excitation.clone(), header_rate: self.excitation.rate }
    }

    /// A frame within some sweep, from a share of its length to another.
    pub fn within_a_sweep(&self, from: f64, to: f64, random: &mut Random) -> usize {
        let plan = &self.excitation.plan;
        let number = (random.uniform() * plan.starts.len() as f64) as usize;
        let share = from + (to - from) * random.uniform();
        self.lead + plan.starts[number] + (share * plan.frames as f64) as usize
    }

    /// From the first frame of the first sweep to the last of the last.
    pub fn sounding(&self) -> std::ops::Range<usize> {
        let plan = &self.excitation.plan;
        self.lead + plan.starts[0]..self.lead + plan.starts[plan.starts.len() - 1] + plan.frames
    }

    /// As the file holds it, clipped at full scale by integers.
    fn recording(&self, taken: &Taken) -> Recording {
        let stored = |samples: &[f64]| waveform::stored(samples, self.format);
        let frames = taken.drive.len().min(taken.load.len());
        let mut channels = vec![vec![0.0; frames]; self.channels];
        channels[self.drive_at] = stored(&taken.drive[..frames]);
        channels[self.load_at] = stored(&taken.load[..frames]);
        Recording { rate: taken.header_rate, channels, format: self.format }
    }

    /// Hands the captures to `look` as the analysis takes them.
    pub fn with<T>(&self, captures: &Captures, look: impl FnOnce(&JigCaptures<'_>, &MeasureSettings) -> T) -> T {
        let all = [Some(&captures.load), captures.open.as_ref(), captures.short.as_ref(), captures.known.as_ref()];
        let recordings = all.map(|taken| taken.map(|taken| self.recording(taken)));
        let capture = |index: usize| -> Option<JigCapture<'_>> {
            let excitation = &all[index]?.excitation;
            Some(JigCapture {
                recording: recordings[index].as_ref()?,
                excitation,
                drive: self.drive_at,
                load: self.load_at,
            })
        };
        let captures_of =
            JigCaptures { load: capture(0).unwrap(), open: capture(1), short: capture(2), known: capture(3) };
        let settings =
            MeasureSettings { facts: captures.facts, points_per_octave: 48, band_hz: None, input_full_scale_v: None };
        look(&captures_of, &settings)
    }

    pub fn says(&self) -> String {
        let band = self.excitation.plan.band_hz;
        format!(
            "{} Hz {:.1} s {:.0}-{:.0} Hz x{} {:?} {:.0} dBFS noise {:.0} drift {:.0} {:?} told {:?} lead {:?} pair {} Rs {} Re {:.1} peaks {:.0?}",
            self.rate_hz(),
            self.sequence.sweep.duration_s,
            band[0],
            band[1],
            self.sequence.repeats,
            self.sequence.marks,
            self.sequence.level_dbfs,
            20.0 * self.noise.log10(),
            self.drift_ppm,
            self.format,
            self.told,
            self.facts.lead_ohm,
            self.facts.gain_limit_db.is_some(),
            self.facts.sense_ohm,
            self.coil.re_ohm,
            self.coil.peaks
        )
    }
}
