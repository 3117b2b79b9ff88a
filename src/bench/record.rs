//! Playing on the bench and recording what comes back.
//!
//! No equation: the order of things is drawn in `mod.rs`.

use super::circuit::Circuit;
use super::clock::recorded;
use super::converter::Converter;
use super::error::BenchError;
use super::hearing::{Hearing, OwnAndRest};
use super::line::{COUPLING_TAIL_S, LEAD, Line, MARGIN};
use super::motion::{All, Excursion, Played};
use super::noise::{hum_at, noise};
use super::settings::BenchSettings;
use super::source::Source;
use super::speaker::Way;
use crate::math::{Random, Spectrum, good_length};
use crate::quantity::amplitude_from_db;
use num_complex::Complex64;

/// The fine grid has at least this rate, so that a step turns 20 kHz by less than a sixth of a radian.
pub(super) const LEAST_GRID_HZ: f64 = 768_000.0;
/// A step covers at most this share of the time in which the fastest part of a way settles.
pub(super) const MOST_SETTLING_SHARE: f64 = 0.5;
/// Finer grids than this take minutes for seconds.
pub(super) const FINEST_GRID_HZ: f64 = 8e6;

/// A bench, ready to record.
pub struct Bench {
    pub(super) settings: BenchSettings,
    pub(super) circuits: Vec<Circuit>,
    pub(super) subwoofer_circuits: Vec<Circuit>,
    pub(super) converter: Converter,
}

/// A way that sounds.
struct Sounding<'a> {
    circuit: &'a Circuit,
    drive_v: Vec<f64>,
    hearing: Hearing,
}

impl Bench {
    /// A bench from its settings.
    ///
    /// # Errors
    /// [`BenchError`] for values without physical sense, curves of a driver that reach zero, or a place outside the room.
    pub fn new(settings: BenchSettings) -> Result<Self, BenchError> {
        settings.check()?;
        let of_all = |ways: &[Way]| -> Vec<Circuit> { ways.iter().map(Circuit::new).collect() };
        let circuits = of_all(&settings.speaker.ways);
        let subwoofer_ways = settings.subwoofer.as_ref().map_or(&[][..], |subwoofer| &subwoofer.speaker.ways);
        let subwoofer_circuits = of_all(subwoofer_ways);
        let mut grid_hz = LEAST_GRID_HZ;
        let ways = settings.speaker.ways.iter().chain(subwoofer_ways);
        for (way, circuit) in ways.zip(circuits.iter().chain(&subwoofer_circuits)) {
            grid_hz = grid_hz.max(circuit.fastest_per_s() / MOST_SETTLING_SHARE);
            if grid_hz > FINEST_GRID_HZ {
                let (found_s, least_s) = (1.0 / circuit.fastest_per_s(), 1.0 / (MOST_SETTLING_SHARE * FINEST_GRID_HZ));
                return Err(BenchError::TooFast { way: way.name.clone(), found_s, least_s });
            }
        }
        let rate_hz = settings.rate.hz();
        let converter = Converter::new(rate_hz, (grid_hz / rate_hz).ceil() as usize);
        Ok(Self { settings, circuits, subwoofer_circuits, converter })
    }

    /// What it was set up from.
    pub fn settings(&self) -> &BenchSettings {
        &self.settings
    }

    /// Frames that a recording of so many played frames needs, latency, delays and half a second of tail included.
    pub fn frames_needed(&self, played_frames: usize) -> usize {
        let longer = played_frames as f64 * (1.0 + self.settings.interface.drift_ppm.max(0.0) * 1e-6);
        let delay_s = self.subwoofer().iter().chain([&self.satellite()]).map(Source::delay_s).fold(0.0, f64::max);
        longer.ceil() as usize + self.settings.rate.frames(self.settings.interface.latency_s + 0.5 + delay_s)
    }

    /// What comes back when satellite and cable play the same and a subwoofer nothing: channel 0 the microphone, channel 1 the loopback of the output.
    ///
    /// # Shape
    /// Both of `frames` samples; the first is taken when the first of `play` leaves the program. Before and after
    /// `play` there is silence.
    ///
    /// # Units
    /// Full scale ±1; `play` (finite numbers) is clipped there, and so is the result.
    pub fn record(&self, play: &[f64], frames: usize) -> Vec<Vec<f64>> {
        self.record_outputs([play, play, &[]], frames)
    }

    /// What comes back when the satellite, the cable and the subwoofer play each its own: channel 0 the microphone,
    /// channel 1 the cable. Without a subwoofer nobody hears the third.
    ///
    /// # Shape
    /// Both of `frames` samples; the first is taken when the first of each output leaves the program. Before and after
    /// that there is silence.
    ///
    /// # Units
    /// Full scale ±1; `outputs` (finite numbers) are clipped there, and so is the result.
    pub fn record_outputs(&self, outputs: [&[f64]; 3], frames: usize) -> Vec<Vec<f64>> {
        let interface = &self.settings.interface;
        let total = (frames as f64 / (1.0 + interface.drift_ppm * 1e-6)).ceil() as usize + LEAD + MARGIN;
        let output = self.line().output(outputs[1], total);
        let ways = self.sounding([outputs[0], outputs[2]], total);
        let longest_s = ways.iter().map(|way| way.hearing.longest_s()).fold(0.0, f64::max);
        let tail_s = COUPLING_TAIL_S + longest_s + interface.latency_s;
        let length = good_length(total + self.settings.rate.frames(tail_s) + MARGIN);
        let pressure = self.pressure(&ways, total, length);
        let microphone = self.settings.microphone;
        let per_pascal = microphone.per_pascal();
        let reply = self.arrived(pressure, total, |hz| per_pascal * microphone.colour(hz));
        let gain = amplitude_from_db(interface.loopback_gain_db);
        let loopback = self.arrived(self.line().looped(&output, length), total, |_| gain.into());
        let mut channels = vec![reply, loopback];
        channels.iter_mut().for_each(|samples| {
            *samples = recorded(std::mem::take(samples), interface.drift_ppm, frames);
        });
        self.disturb(&mut channels);
        channels.iter_mut().flatten().for_each(|sample| *sample = sample.clamp(-1.0, 1.0));
        channels
    }

    /// Excursion of the cone of a way of the satellite (counted from 0), m, positive outwards.
    ///
    /// # Shape
    /// As long as `play` and at its times: neither latency nor drift of the recorder.
    ///
    /// # Panics
    /// If the loudspeaker has no such way.
    pub fn excursion_m(&self, way: usize, play: &[f64]) -> Vec<f64> {
        let total = play.len() + LEAD + MARGIN;
        let satellite = self.satellite();
        let drive_v = satellite.drive_v(way, &self.terminals(&satellite, play, total));
        let mut played = Played::new(&self.circuits[way], Excursion);
        let [mut excursion_m] = self.converter.played_through(&mut played, &drive_v, total);
        excursion_m.drain(..LEAD);
        excursion_m.truncate(play.len());
        excursion_m
    }

    /// What is at the terminals of a loudspeaker for these samples, re full scale of its amplifier.
    fn terminals(&self, source: &Source<'_>, play: &[f64], total: usize) -> Vec<f64> {
        self.line()
            .output_through(play, total, source.delay_s(), |hz| source.between_at_rate(hz, self.settings.rate.hz()))
    }

    /// The ways of all loudspeakers that have something to play: the satellite's, then the subwoofer's.
    fn sounding(&self, play: [&[f64]; 2], total: usize) -> Vec<Sounding<'_>> {
        let subwoofer = self.subwoofer();
        // Alone, the satellite moves even for nothing: what it then hands on is silence, but computed.
        let satellite = (!play[0].is_empty() || subwoofer.is_none()).then(|| self.satellite());
        let subwoofer = if play[1].is_empty() { None } else { subwoofer };
        let sources = [satellite.zip(Some(play[0])), subwoofer.zip(Some(play[1]))];
        let ways = sources.into_iter().flatten().flat_map(|(source, play)| {
            let output = self.terminals(&source, play, total);
            let hearings = source.hearings(&self.settings.surroundings);
            let ways = source.circuits.iter().zip(hearings).enumerate();
            ways.map(move |(way, (circuit, hearing))| Sounding {
                circuit,
                drive_v: source.drive_v(way, &output),
                hearing,
            })
        });
        ways.collect()
    }

    /// Spectrum of the pressure at the microphone, all ways at once.
    fn pressure(&self, ways: &[Sounding<'_>], total: usize, length: usize) -> Vec<Complex64> {
        let step_hz = self.settings.rate.hz() / length as f64;
        let one_way = |way: &Sounding<'_>| {
            let Sounding { circuit, drive_v, hearing } = way;
            let all = || {
                let [all] = self.converter.played_through(&mut Played::new(circuit, All), drive_v, total);
                Spectrum::new(length).bins(&all)
            };
            match hearing {
                Hearing::Far(radiation) => {
                    let mut bins = all();
                    let along = radiation.along(bins.len(), step_hz);
                    bins.iter_mut().zip(along).for_each(|(bin, path)| *bin *= path);
                    bins
                }
                Hearing::Beside(path) => through(all(), |bin| path.at(bin * step_hz)),
                Hearing::Before { ear, own, rest } => {
                    let mut played = Played::new(circuit, OwnAndRest { circuit, ear: *ear });
                    let [alone, others] = self.converter.played_through(&mut played, drive_v, total);
                    let [alone, others] = [alone, others].map(|stream| Spectrum::new(length).bins(&stream));
                    let mut bins = through(alone, |bin| own.at(bin * step_hz));
                    let others = through(others, |bin| rest.at(bin * step_hz));
                    bins.iter_mut().zip(others).for_each(|(bin, other)| *bin += other);
                    bins
                }
            }
        };
        std::thread::scope(|scope| {
            let one_way = &one_way;
            let ways: Vec<_> = ways.iter().map(|way| scope.spawn(move || one_way(way))).collect();
            let mut sum = vec![Complex64::ZERO; length / 2 + 1];
            for way in ways {
                // A panic in a way is our own fault and goes on in the caller.
                let bins = way.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
                sum.iter_mut().zip(bins).for_each(|(sum, bin)| *sum += bin);
            }
            sum
        })
    }

    /// Samples of a spectrum after its own response and the input's colour.
    fn arrived(&self, bins: Vec<Complex64>, total: usize, response: impl Fn(f64) -> Complex64) -> Vec<f64> {
        self.line().arrived(bins, total, |hz| response(hz) * self.settings.interface.input_colour(hz))
    }

    fn line(&self) -> Line<'_> {
        let interface = &self.settings.interface;
        Line {
            rate: self.settings.rate,
            converter: &self.converter,
            output_high_pass_hz: interface.output_high_pass_hz,
            latency_s: interface.latency_s,
        }
    }

    fn disturb(&self, channels: &mut [Vec<f64>]) {
        let rate_hz = self.settings.rate.hz();
        let (microphone, interface) = (&self.settings.microphone, &self.settings.interface);
        let mut random = Random::new(self.settings.seed);
        let levels = [(microphone.noise_dbfs, microphone.pink_share), (interface.loopback_noise_dbfs, 0.0)];
        for (samples, (level_dbfs, pink_share)) in channels.iter_mut().zip(levels) {
            // A stream of its own for each channel, so that switching one off leaves the other as it was.
            let mut own = Random::new(random.bits());
            if let Some(level_dbfs) = level_dbfs {
                let noise = noise(&mut own, samples.len(), rate_hz, level_dbfs, pink_share);
                samples.iter_mut().zip(noise).for_each(|(sample, noise)| *sample += noise);
            }
        }
        if let Some(hum) = microphone.hum {
            let frame_s = 1.0 / (rate_hz * (1.0 + interface.drift_ppm * 1e-6));
            for (frame, sample) in channels[0].iter_mut().enumerate() {
                *sample += hum_at(hum, frame as f64 * frame_s);
            }
        }
    }
}

/// A spectrum after a path that is given bin by bin.
fn through(mut bins: Vec<Complex64>, path: impl Fn(f64) -> Complex64) -> Vec<Complex64> {
    bins.iter_mut().enumerate().for_each(|(bin, value)| *value *= path(bin as f64));
    bins
}
