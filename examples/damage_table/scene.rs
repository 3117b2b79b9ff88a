//! A capture as it comes out when nothing is wrong: drawn from a seed, made exactly, by frequency.
//!
//! ```text
//! reply = F⁻¹{X·H·R·e^{−jωτ}} on the recorder's clock + noise        X: file + h₂·sin(2φ) + h₃·sin(3φ)
//! ```
//!
//! H, R: [`super::loudspeaker`]; φ: phase of the sweep, so that its harmonics are exact and end below half the sample rate.

use super::loudspeaker::{Loudspeaker, Room};
use super::waveform;
use boxwright::math::{InverseSpectrum, Random, Spectrum, good_length};
use boxwright::quantity::SampleRate;
use boxwright::response::{GateChoice, Settings};
use boxwright::signal::{Excitation, Marks, Recording, SampleFormat, Sequence, SweepSettings};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A clean capture and all that is known of it.
pub struct Scene {
    pub excitation: Excitation,
    pub sequence: Sequence,
    pub loudspeaker: Loudspeaker,
    pub room: Room,
    pub settings: Settings,
    pub format: SampleFormat,
    channels: usize,
    pub drift_ppm: f64,
    /// Flight of the sound, s.
    pub flight_s: f64,
    /// Frames of recording before the excitation's first.
    pub lead: usize,
    /// What the chain makes of 1.
    pub gain: f64,
    pub reply: Vec<f64>,
    pub loopback: Option<Vec<f64>>,
}

/// Whether a path ends in the room's tail.
#[derive(Clone, Copy, PartialEq)]
enum Tail {
    Heard,
    None,
}

/// A capture as it is handed in.
#[derive(Clone)]
pub struct Capture {
    pub excitation: Excitation,
    pub settings: Settings,
    pub format: SampleFormat,
    pub header_rate: SampleRate,
    pub reply: Vec<f64>,
    pub loopback: Option<Vec<f64>>,
    /// What a damage does to the level without being wrong: another input gain.
    pub gain_db: f64,
    channels: usize,
}

impl Scene {
    pub fn drawn(seed: u64) -> Self {
        let mut random = Random::new(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        let mut pick = |choices: &[f64]| choices[(random.uniform() * choices.len() as f64) as usize];
        let rate_hz = pick(&[44_100.0, 44_100.0, 48_000.0, 48_000.0, 48_000.0, 96_000.0, 192_000.0]);
        let duration_s = if rate_hz > 50_000.0 { pick(&[0.7, 1.5]) } else { pick(&[0.7, 1.0, 2.0, 3.0, 5.0]) };
        let [from_hz, to_hz] = [
            [20.0, 20_000.0],
            [20.0, 20_000.0],
            [20.0, 20_000.0],
            [50.0, 18_000.0],
            [10.0, 1_000.0],
            [500.0, 20_000.0],
        ][(pick(&[0.0, 1.0, 2.0, 3.0, 4.0, 5.0])) as usize];
        let repeats = pick(&[1.0, 1.0, 2.0, 3.0, 4.0]) as u32;
        let marks = if pick(&[0.0, 1.0, 1.0]) > 0.0 { Marks::BeforeAndAfter } else { Marks::None };
        let drift_ppm = pick(&[0.0, 0.0, 1.0]) * pick(&[-100.0, -40.0, -12.0, 3.0, 25.0, 60.0, 100.0]);
        let has_loopback = pick(&[0.0, 0.0, 1.0]) > 0.0;
        let format = [SampleFormat::Pcm16, SampleFormat::Pcm24, SampleFormat::Pcm32, SampleFormat::Float32]
            [pick(&[0.0, 1.0, 1.0, 2.0, 3.0]) as usize];
        let channels = (pick(&[1.0, 2.0, 2.0, 4.0, 8.0]) as usize).max(1 + usize::from(has_loopback));
        let peak_dbfs = pick(&[-3.0, -6.0, -12.0, -20.0]);
        let snr_db = pick(&[50.0, 60.0, 70.0, 85.0]);
        let room_kind = pick(&[0.0, 1.0, 1.0, 2.0]) as usize;
        let gate_kind = pick(&[0.0, 0.0, 1.0, 2.0]) as usize;
        let reply = (pick(&[0.0, 0.3, 0.6, 0.9]) * channels as f64) as usize;
        let reference = has_loopback.then(|| (reply + 1) % channels);
        let rate = SampleRate::new(rate_hz as u32).unwrap();
        let sweep = SweepSettings { rate, from_hz, to_hz, lowest_hz: None, duration_s };
        let sequence = Sequence { sweep, level_dbfs: -6.0, repeats, marks, pause_s: 0.6 };
        let excitation = sequence.excitation().unwrap();
        let loudspeaker = Loudspeaker::drawn(excitation.plan.band_hz, &mut random);
        let room = match room_kind {
            0 => Room::default(),
            1 => {
                let (first_s, t60_s) = (0.002 + 0.006 * random.uniform(), 0.2 + 0.3 * random.uniform());
                Room::of_images(first_s, t60_s, rate_hz, &mut random)
            }
            _ => Room::of_modes(&mut random),
        };
        let gate = match gate_kind {
            0 => GateChoice::Auto,
            1 => GateChoice::None,
            _ => GateChoice::Length { after_s: (3.0 / from_hz).max(0.02) },
        };
        let settings = Settings { reference, gate, ..Settings::of_reply(reply) };
        let flight_s = 0.000_5 + 0.008 * random.uniform();
        let lead = (random.uniform() * 0.3 * rate_hz) as usize;
        let mut scene = Self {
            excitation,
            sequence,
            loudspeaker,
            room,
            settings,
            format,
            channels,
            drift_ppm,
            flight_s,
            lead,
            gain: 1.0,
            reply: Vec::new(),
            loopback: None,
        };
        scene.sound(has_loopback, peak_dbfs, snr_db, &mut random);
        scene
    }

    fn sound(&mut self, has_loopback: bool, peak_dbfs: f64, snr_db: f64, random: &mut Random) {
        let rate_hz = self.excitation.rate.hz();
        let harmonics = [2, 3].map(|order| (order, 10f64.powf(-(40.0 + 40.0 * random.uniform()) / 20.0)));
        let drive = self.distorted(&harmonics);
        let path = |hz: f64| self.loudspeaker.response(hz) * self.room.response(hz);
        let mut reply = self.through(&drive, self.flight_s, Tail::Heard, &path);
        let peak = reply.iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
        self.gain = 10f64.powf(peak_dbfs / 20.0) / peak;
        reply.iter_mut().for_each(|x| *x *= self.gain);
        let begin = self.lead + self.excitation.plan.starts[0];
        let sounding = &reply[begin..begin + self.excitation.plan.frames];
        let rms = (sounding.iter().map(|x| x * x).sum::<f64>() / sounding.len() as f64).sqrt();
        let noise = rms * 10f64.powf(-snr_db / 20.0);
        let on_clock = |samples: Vec<f64>| match self.drift_ppm {
            0.0 => samples,
            ppm => waveform::drift_clock(&samples, ppm),
        };
        reply = on_clock(reply);
        waveform::white_noise(&mut reply, 0.5 * noise, random);
        waveform::low_noise(&mut reply, noise, 100.0, rate_hz, random);
        self.reply = reply;
        self.loopback = has_loopback.then(|| {
            let mut loopback =
                on_clock(self.through(&self.excitation.samples, 0.0, Tail::None, &|_| Complex64::from(0.6)));
            waveform::white_noise(&mut loopback, 3e-6, random);
            loopback
        });
    }

    /// The excitation with harmonics of its sweeps.
    fn distorted(&self, harmonics: &[(i32, f64)]) -> Vec<f64> {
        let Excitation { rate, samples, plan } = &self.excitation;
        let mut drive = samples.clone();
        let sweep = plan.sweep.unwrap();
        let level = 10f64.powf(plan.level_dbfs / 20.0);
        for &start in &plan.starts {
            for frame in 0..plan.frames {
                let hz = sweep.played_hz[0] * (rate.seconds(frame) / sweep.rate_constant_s).exp();
                let phase = TAU * hz * sweep.rate_constant_s;
                // Fades at the ends, as the sweep does.
                let fade = (frame.min(plan.frames - 1 - frame) as f64 / (0.02 * rate.hz())).min(1.0);
                for &(order, height) in harmonics {
                    // Nothing above half the rate.
                    let room = ((0.45 * rate.hz() / (f64::from(order) * hz) - 1.0) * 10.0).clamp(0.0, 1.0);
                    drive[start + frame] += level * height * fade * room * (f64::from(order) * phase).sin();
                }
            }
        }
        drive
    }

    /// Samples through a transfer function and a delay, after the lead, with room for the sound to die away.
    fn through(&self, samples: &[f64], delay_s: f64, tail: Tail, response: &dyn Fn(f64) -> Complex64) -> Vec<f64> {
        let rate_hz = self.excitation.rate.hz();
        let frames = self.lead + samples.len();
        let length = good_length(frames + (1.5 * rate_hz) as usize);
        let mut bins = Spectrum::new(length).bins(samples);
        let tail = if tail == Tail::Heard { self.room.tail_bins(length) } else { None };
        let step_hz = rate_hz / length as f64;
        let late_s = delay_s + self.lead as f64 / rate_hz;
        for (bin, value) in bins.iter_mut().enumerate() {
            let hz = bin as f64 * step_hz;
            let mut factor = response(hz);
            if let Some(tail) = &tail {
                factor += tail[bin] * self.loudspeaker.response(hz);
            }
            *value *= factor * Complex64::cis(-TAU * hz * late_s);
        }
        let mut sounded = InverseSpectrum::new(length).samples(&bins);
        sounded.truncate(frames);
        sounded
    }

    /// The same scene again, heard another way: other responses of the path, by repeat number; noise and clock as they are.
    pub fn heard_by_repeat(&self, path: &dyn Fn(usize, f64) -> Complex64) -> Vec<f64> {
        let mut moved = self.reply.clone();
        let plan = &self.excitation.plan;
        for (number, &start) in plan.starts.iter().enumerate() {
            let mut alone = vec![0.0; self.excitation.samples.len()];
            alone[start..start + plan.frames].copy_from_slice(&self.excitation.samples[start..start + plan.frames]);
            let change =
                |hz: f64| self.gain * self.loudspeaker.response(hz) * (path(number, hz) - self.room.response(hz));
            let more = self.through(&alone, self.flight_s, Tail::None, &change);
            let more = if self.drift_ppm == 0.0 { more } else { waveform::drift_clock(&more, self.drift_ppm) };
            moved.iter_mut().zip(&more).for_each(|(x, more)| *x += more);
        }
        moved
    }

    pub fn capture(&self) -> Capture {
        Capture {
            excitation: self.excitation.clone(),
            settings: self.settings.clone(),
            format: self.format,
            header_rate: self.excitation.rate,
            reply: self.reply.clone(),
            loopback: self.loopback.clone(),
            gain_db: 0.0,
            channels: self.channels,
        }
    }

    /// Level of the reply over drive or loopback in closed form, where what the gate leaves has one.
    pub fn truth_db(&self, hz: f64, gate_s: f64) -> Option<f64> {
        let first_s = self.room.images.first().map_or(f64::MAX, |image| image[0]);
        let room = match self.settings.gate {
            _ if gate_s < first_s && self.room.images.is_empty() => self.room.response(hz),
            _ if gate_s < first_s => Complex64::from(1.0),
            _ => return None,
        };
        let over = if self.settings.reference.is_some() { 0.6 } else { 1.0 };
        Some(20.0 * (self.gain * self.loudspeaker.response(hz) * room / over).norm().log10())
    }

    /// Frames of the recording in which the sweeps sound.
    pub fn sounding(&self) -> std::ops::Range<usize> {
        let plan = &self.excitation.plan;
        let last = plan.starts[plan.starts.len() - 1] + plan.frames;
        self.lead + plan.starts[0]..self.lead + last
    }

    /// A frame within some sweep, from a share of its length to another.
    pub fn within_a_sweep(&self, from: f64, to: f64, random: &mut Random) -> usize {
        let plan = &self.excitation.plan;
        let number = (random.uniform() * plan.starts.len() as f64) as usize;
        let share = from + (to - from) * random.uniform();
        self.lead + plan.starts[number] + (share * plan.frames as f64) as usize
    }

    pub fn says(&self) -> String {
        let band = self.excitation.plan.band_hz;
        format!(
            "{} Hz {:.1} s {:.0}-{:.0} Hz x{} {:?} loopback {} drift {} {:?} {} {:?}",
            self.excitation.rate.hz(),
            self.sequence.sweep.duration_s,
            band[0],
            band[1],
            self.sequence.repeats,
            self.sequence.marks,
            self.loopback.is_some(),
            self.drift_ppm,
            self.format,
            self.room.kind(),
            self.settings.gate
        )
    }
}

impl Capture {
    /// All channels that were recorded.
    pub fn channels_mut(&mut self) -> impl Iterator<Item = &mut Vec<f64>> {
        std::iter::once(&mut self.reply).chain(self.loopback.as_mut())
    }

    /// As the file holds it.
    pub fn recording(&self) -> Recording {
        let stored = |samples: &[f64]| waveform::stored(samples, self.format);
        let reply = stored(&self.reply);
        // Nobody looks at the others.
        let mut channels = vec![vec![0.0; reply.len()]; self.channels];
        if let (Some(reference), Some(loopback)) = (self.settings.reference, &self.loopback) {
            channels[reference] = stored(loopback);
            channels[reference].resize(reply.len(), 0.0);
        }
        channels[self.settings.reply] = reply;
        Recording { rate: self.header_rate, channels, format: self.format }
    }
}
