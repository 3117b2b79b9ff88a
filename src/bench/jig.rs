//! The impedance jig: what it is set up from, and what its parts do to one another.
//!
//! ```text
//! output ──R_o──┬──R_s──┬──R_l── load ──┐          v_d = e − R_o·(i + v_l/R_i)
//!               │       │               │          v_l = e' − R'·i
//!             input 1  input 2 (R_i)    │          e' = e/(1 + R/R_i)    R' = R/(1 + R/R_i)    R = R_o + R_s
//! ground ───────┴───────┴───────────────┘
//! ```
//!
//! e: voltage of the source, V. R_o: its resistance, R_s: sense resistor, R_l: lead to the load and back, R_i: resistance
//! of the load input, Ω. i: current into the load, A. Input 1 (drive) takes v_d, input 2 (load) takes v_l; the load hangs
//! behind R' + R_l at e'. Derivation: the source, R_o, R_s and R_i as one source with one resistance (Thévenin).
//!
//! The inputs differ: gain, a delay, AC coupling. A delay turns the phase in proportion to the frequency, AC coupling
//! in the bass: both are what unequal inputs do, and a constant phase over all frequencies is not.
//! Left out: capacitance of the cables, resistance of the drive input, distortion of the interface other than clipping.

use super::colour::{high_pass, low_pass};
use super::converter::Converter;
use super::error::{BenchError, check};
use super::load::{HungDriver, Load};
use super::load_circuit::LoadCircuit;
use super::noise::Hum;
use super::record::{FINEST_GRID_HZ, LEAST_GRID_HZ, MOST_SETTLING_SHARE};
use crate::quantity::{SampleRate, amplitude_from_db};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Everything a jig is set up from. The default is our own scenario: the satellite's mid-woofer in free air, 10 Ω.
#[derive(Debug, Clone, PartialEq)]
pub struct JigSettings {
    /// Frames a second, of player and recorder (but see [`Recorder::drift_ppm`]).
    pub rate: SampleRate,
    /// Where chance starts: equal seeds give equal records.
    pub seed: u64,
    /// What hangs on the clips.
    pub load: Load,
    /// Resistances and voltages.
    pub wiring: Wiring,
    /// Clock and cables of the interface.
    pub recorder: Recorder,
    /// The input before the sense resistor.
    pub drive_input: JigInput,
    /// The input behind it.
    pub load_input: JigInput,
}

/// Resistances and voltages of a jig.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Wiring {
    /// R_s.
    pub sense_ohm: f64,
    /// R_l: both conductors and their clips.
    pub lead_ohm: f64,
    /// R_o.
    pub source_ohm: f64,
    /// R_i; absent: the input draws nothing.
    pub load_input_ohm: Option<f64>,
    /// Voltage of the source for a sample value of 1 (a peak, not an rms).
    pub drive_v_at_full_scale: f64,
    /// Voltage at the inputs that gives a sample value of 1 (a peak).
    pub input_full_scale_v: f64,
}

/// Clock and analogue side of the interface.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Recorder {
    /// How much faster the recorder's clock runs: positive makes the recording too long.
    pub drift_ppm: f64,
    /// From the first played frame to the first recorded one, both converters included.
    pub latency_s: f64,
    /// AC coupling of the output.
    pub output_high_pass_hz: f64,
    /// Corner of the inputs' analogue filters, far above the band.
    pub input_low_pass_hz: f64,
}

/// One input of the jig.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct JigInput {
    /// Gain beyond what [`Wiring::input_full_scale_v`] says.
    pub gain_db: f64,
    /// Later than the other input's.
    pub delay_s: f64,
    /// AC coupling.
    pub high_pass_hz: f64,
    /// White noise over the whole band, as the level of a sine of equal rms; absent: none.
    pub noise_dbfs: Option<f64>,
    /// Mains hum, if any.
    pub hum: Option<Hum>,
}

impl Default for JigSettings {
    fn default() -> Self {
        let input = JigInput { gain_db: 0.0, delay_s: 0.0, high_pass_hz: 2.0, noise_dbfs: Some(-105.0), hum: None };
        Self {
            rate: SampleRate::new(48_000).expect("48 kHz is a rate"),
            seed: 1,
            load: Load::Driver(Box::new(HungDriver::mid())),
            wiring: Wiring {
                sense_ohm: 10.0,
                lead_ohm: 0.05,
                source_ohm: 0.3,
                load_input_ohm: Some(10_000.0),
                drive_v_at_full_scale: 5.0,
                input_full_scale_v: 5.0,
            },
            recorder: Recorder {
                drift_ppm: 0.0,
                latency_s: 0.0427,
                output_high_pass_hz: 1.5,
                input_low_pass_hz: 100_000.0,
            },
            drive_input: input,
            load_input: JigInput { gain_db: 0.15, delay_s: 0.0, high_pass_hz: 2.2, ..input },
        }
    }
}

impl JigSettings {
    /// The same jig with two equal inputs that draw nothing, and without noise, hum and drift of the clock.
    pub fn ideal(mut self) -> Self {
        self.wiring.load_input_ohm = None;
        self.drive_input = JigInput { noise_dbfs: None, hum: None, gain_db: 0.0, delay_s: 0.0, ..self.drive_input };
        self.load_input = self.drive_input;
        self.recorder.drift_ppm = 0.0;
        self
    }

    fn check(&self) -> Result<(), BenchError> {
        self.load.check()?;
        self.wiring.check()?;
        let recorder = &self.recorder;
        check("clock drift in ppm", recorder.drift_ppm, [-10_000.0, 10_000.0])?;
        check("latency in s", recorder.latency_s, [0.0, 10.0])?;
        check("AC coupling of the output in Hz", recorder.output_high_pass_hz, [1.0, 1000.0])?;
        check("analogue low-pass of the inputs in Hz", recorder.input_low_pass_hz, [1000.0, 1e12])?;
        self.drive_input.check()?;
        self.load_input.check()
    }
}

impl Wiring {
    fn check(&self) -> Result<(), BenchError> {
        check("sense resistor in ohm", self.sense_ohm, [1e-3, 1e6])?;
        check("lead resistance in ohm", self.lead_ohm, [0.0, 1000.0])?;
        check("source resistance in ohm", self.source_ohm, [0.0, 1e5])?;
        check("resistance of the load input in ohm", self.load_input_ohm.unwrap_or(1e6), [1.0, 1e12])?;
        check("drive voltage at full scale", self.drive_v_at_full_scale, [1e-6, 1000.0])?;
        check("voltage of a full input", self.input_full_scale_v, [1e-6, 1e6])
    }

    /// 1/R_i.
    pub(super) fn input_siemens(&self) -> f64 {
        self.load_input_ohm.map_or(0.0, f64::recip)
    }

    /// e'/e and R'.
    pub(super) fn seen_from_the_load(&self) -> [f64; 2] {
        let ohm = self.source_ohm + self.sense_ohm;
        let share = 1.0 / (1.0 + ohm * self.input_siemens());
        [share, ohm * share]
    }
}

impl JigInput {
    fn check(&self) -> Result<(), BenchError> {
        check("gain of an input in dB", self.gain_db, [-120.0, 120.0])?;
        check("delay of an input in s", self.delay_s, [-0.01, 0.01])?;
        check("AC coupling of an input in Hz", self.high_pass_hz, [0.1, 1000.0])?;
        check("noise of an input in dBFS", self.noise_dbfs.unwrap_or(-200.0), [-300.0, 0.0])?;
        self.hum.map_or(Ok(()), |hum| hum.check())
    }

    /// Gain, delay and AC coupling.
    pub(super) fn colour(&self, frequency_hz: f64) -> Complex64 {
        let late = Complex64::cis(-TAU * frequency_hz * self.delay_s);
        amplitude_from_db(self.gain_db) * late * high_pass(self.high_pass_hz, frequency_hz)
    }
}

/// A jig, ready to record.
pub struct Jig {
    pub(super) settings: JigSettings,
    /// What moves; absent for resistors.
    pub(super) circuit: Option<LoadCircuit>,
    pub(super) converter: Converter,
}

impl Jig {
    /// A jig from its settings.
    ///
    /// # Errors
    /// [`BenchError`] for values without physical sense, curves of a driver that reach zero, parts too fast to follow, or
    /// a loudspeaker of more than two ways.
    pub fn new(settings: JigSettings) -> Result<Self, BenchError> {
        settings.check()?;
        let [_, ohm] = settings.wiring.seen_from_the_load();
        let circuit = LoadCircuit::new(&settings.load, ohm + settings.wiring.lead_ohm);
        let fastest_per_s = circuit.as_ref().map_or(0.0, LoadCircuit::fastest_per_s);
        let grid_hz = LEAST_GRID_HZ.max(fastest_per_s / MOST_SETTLING_SHARE);
        if grid_hz > FINEST_GRID_HZ {
            let (found_s, least_s) = (1.0 / fastest_per_s, 1.0 / (MOST_SETTLING_SHARE * FINEST_GRID_HZ));
            return Err(BenchError::TooFast { way: "load".to_owned(), found_s, least_s });
        }
        let rate_hz = settings.rate.hz();
        let converter = Converter::new(rate_hz, (grid_hz / rate_hz).ceil() as usize);
        Ok(Self { settings, circuit, converter })
    }

    /// What it was set up from.
    pub fn settings(&self) -> &JigSettings {
        &self.settings
    }

    /// What an input makes of a volt.
    pub(super) fn per_volt(&self, input: &JigInput, frequency_hz: f64) -> Complex64 {
        let recorder = &self.settings.recorder;
        input.colour(frequency_hz) * low_pass(recorder.input_low_pass_hz, frequency_hz)
            / self.settings.wiring.input_full_scale_v
    }
}
