//! Playing on the jig and recording both of its taps.
//!
//! ```text
//! v_l = e' − R'·i        v_d = e − R_o·(i + v_l/R_i)
//! ```
//!
//! Symbols: `jig.rs`. The source's voltage is known at the sample rate; the current of what moves comes from its equations
//! on the fine grid (`load_circuit.rs`), that of a resistor R from Ohm's law: i = e'/(R' + R_l + R).

use super::clock::recorded;
use super::jig::{Jig, JigInput};
use super::line::{COUPLING_TAIL_S, LEAD, Line, MARGIN};
use super::load::Load;
use super::load_circuit::PlayedLoad;
use super::noise::{hum_at, noise};
use crate::math::{Random, Spectrum, good_length};
use num_complex::Complex64;

impl Jig {
    /// Frames that a recording of so many played frames needs, latency and half a second of tail included.
    pub fn frames_needed(&self, played_frames: usize) -> usize {
        let recorder = &self.settings.recorder;
        let longer = played_frames as f64 * (1.0 + recorder.drift_ppm.max(0.0) * 1e-6);
        longer.ceil() as usize + self.settings.rate.frames(recorder.latency_s + 0.5)
    }

    /// What comes back: channel 0 the drive voltage, channel 1 the voltage across lead and load.
    ///
    /// # Shape
    /// Both of `frames` samples; the first is taken when the first of `play` leaves the program. Before and after
    /// `play` there is silence.
    ///
    /// # Units
    /// Full scale ±1; `play` (finite numbers) is clipped there, and so is the result.
    pub fn record(&self, play: &[f64], frames: usize) -> Vec<Vec<f64>> {
        let (rate, recorder) = (self.settings.rate, self.settings.recorder);
        let total = (frames as f64 / (1.0 + recorder.drift_ppm * 1e-6)).ceil() as usize + LEAD + MARGIN;
        let line = Line {
            rate,
            converter: &self.converter,
            output_high_pass_hz: recorder.output_high_pass_hz,
            latency_s: recorder.latency_s,
        };
        let full_v = self.settings.wiring.drive_v_at_full_scale;
        let source_v: Vec<f64> = line.output(play, total).iter().map(|sample| sample * full_v).collect();
        let length = good_length(total + rate.frames(COUPLING_TAIL_S + recorder.latency_s) + MARGIN);
        let taps = self.taps(&line, &source_v, total, length);
        let inputs = [self.settings.drive_input, self.settings.load_input];
        let mut random = Random::new(self.settings.seed);
        let channels = taps.into_iter().zip(inputs).map(|(volts, input)| {
            let samples = line.arrived(volts, total, |hz| self.per_volt(&input, hz));
            let mut samples = recorded(samples, recorder.drift_ppm, frames);
            // A stream of its own for each input, so that switching one off leaves the other as it was.
            self.disturb(&mut samples, &input, Random::new(random.bits()));
            samples.iter_mut().for_each(|sample| *sample = sample.clamp(-1.0, 1.0));
            samples
        });
        channels.collect()
    }

    /// Spectra of v_d and v_l.
    fn taps(&self, line: &Line<'_>, source_v: &[f64], total: usize, length: usize) -> [Vec<Complex64>; 2] {
        let wiring = &self.settings.wiring;
        let [share, ohm] = wiring.seen_from_the_load();
        let mut source = line.looped(source_v, length);
        let current = self.current(&source, source_v, total, length);
        let mut load = Vec::with_capacity(source.len());
        for (source, current) in source.iter_mut().zip(current) {
            let load_v = share * *source - ohm * current;
            *source -= wiring.source_ohm * (current + wiring.input_siemens() * load_v);
            load.push(load_v);
        }
        [source, load]
    }

    /// Spectrum of i.
    fn current(&self, source: &[Complex64], source_v: &[f64], total: usize, length: usize) -> Vec<Complex64> {
        let wiring = &self.settings.wiring;
        let [share, ohm] = wiring.seen_from_the_load();
        if let Some(circuit) = &self.circuit {
            let mut played = PlayedLoad::new(circuit, self.settings.rate.seconds(LEAD));
            let drive_v: Vec<f64> = source_v.iter().map(|volt| share * volt).collect();
            let [amperes] = self.converter.played_through(&mut played, &drive_v, total);
            return Spectrum::new(length).bins(&amperes);
        }
        let siemens = match self.settings.load {
            Load::Short => 1.0 / (ohm + wiring.lead_ohm),
            Load::Resistor { ohm: own } => 1.0 / (ohm + wiring.lead_ohm + own),
            Load::Open | Load::Driver(_) | Load::Loudspeaker(_) => 0.0,
        };
        source.iter().map(|volt| share * siemens * volt).collect()
    }

    fn disturb(&self, samples: &mut [f64], input: &JigInput, mut random: Random) {
        let rate_hz = self.settings.rate.hz();
        if let Some(level_dbfs) = input.noise_dbfs {
            let noise = noise(&mut random, samples.len(), rate_hz, level_dbfs, 0.0);
            samples.iter_mut().zip(noise).for_each(|(sample, noise)| *sample += noise);
        }
        if let Some(hum) = input.hum {
            let frame_s = 1.0 / (rate_hz * (1.0 + self.settings.recorder.drift_ppm * 1e-6));
            for (frame, sample) in samples.iter_mut().enumerate() {
                *sample += hum_at(hum, frame as f64 * frame_s);
            }
        }
    }
}
