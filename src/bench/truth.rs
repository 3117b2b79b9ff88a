//! What the bench knows of itself: the answer that an analysis should find.
//!
//! ```text
//! reply/play = H_out·R·V·Σ_ways ±q'_way·P_way·(sample value/Pa)·H_mic·H_in·H_conv        loopback/play = H_out·G·H_in·H_conv
//! ```
//!
//! H_out, H_in: colour of the interface. R: receiver (`receiver.rs`). V: volts at full scale. q', P: `phasor.rs` and the straight path of
//! `radiation.rs`, or those of a near field (`hearing.rs`). H_mic: `settings.rs`. G: loopback gain. H_conv: both converters, which is 1 in the valid band.
//! Derivation: the parts of the chain one behind the other; each has its source in its own file.
//! All in time as the player counts it; a recorder whose clock is fast by d stretches every time by 1 + d.

use super::air::{REFERENCE_PA, SPEED_OF_SOUND_M_S};
use super::converter::FLAT_SHARE;
use super::harmonics::{HIGHEST_ORDER, HarmonicTruth, Orders};
use super::hearing::Hearing;
use super::near::NearField;
use super::phasor::driver_impedance;
use super::radiation::Radiation;
use super::receiver::Receiver;
use super::record::Bench;
use super::room::{Ends, Path, Surroundings};
use super::seat::AtSeat;
use super::settings::{Interface, Microphone};
use super::source::Source;
use super::speaker::{Speaker, Way};
use super::subwoofer::Subwoofer;
use crate::quantity::{amplitude_from_db, db_from_amplitude};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// The tones whose harmonics the truth holds.
const TONES_HZ: [f64; 11] = [40.0, 63.0, 100.0, 160.0, 250.0, 400.0, 630.0, 1000.0, 1600.0, 2500.0, 4000.0];
/// A harmonic below this is rounding.
const NOTHING_DB: f64 = -200.0;
/// The voltage that sensitivity is stated at, rms.
const RATED_DRIVE_V: f64 = 2.83;

/// What the bench knows of itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Frames a second.
    pub sample_rate_hz: u32,
    /// Where chance started.
    pub seed: u64,
    /// Up to here the curves are given.
    pub valid_to_hz: f64,
    /// How much faster the recorder's clock runs.
    pub clock_drift_ppm: f64,
    /// From playing to recording on the loopback channel.
    pub latency_s: f64,
    /// From the loopback to the microphone: the straight path, and the delay in the receiver if it has one.
    pub arrival_s: f64,
    /// From the baffle (of a near field: from the surface) to the microphone.
    pub distance_m: f64,
    /// Which surface the microphone stands before; absent: the loudspeaker. Then there are no reflections.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub near: Option<NearField>,
    /// Where the microphone stands, counted from the loudspeaker: ahead, aside, up; absent: straight ahead.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seat_m: Option<[f64; 3]>,
    /// What is heard with the walls, and of the subwoofer; absent: there is none, and the room is not followed in the bass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_seat: Option<AtSeat>,
    /// Microphone channel over played samples: small signals, straight path only; the phase without latency and arrival.
    pub direct: Curve,
    /// Loopback channel over played samples; the phase without the latency.
    pub loopback: Curve,
    /// Pressure at the microphone, straight path, for 2.83 V rms at the loudspeaker.
    pub sound_pressure: PressureCurve,
    /// What few walls send, earliest first.
    pub reflections: Vec<Reflection>,
    /// Harmonics of steady tones.
    pub harmonics: HarmonicTruth,
    /// The parameters of each way that follow from its own.
    pub ways: Vec<WayFacts>,
    /// The loudspeaker.
    pub speaker: Speaker,
    /// The second loudspeaker.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub subwoofer: Option<Subwoofer>,
    /// What lies between the outputs and the amplifiers.
    #[serde(default, skip_serializing_if = "is_neutral")]
    pub receiver: Receiver,
    /// What surrounds it.
    pub surroundings: Surroundings,
    /// The microphone: sensitivity, noise, rise.
    pub microphone: Microphone,
    /// The interface: drive voltage, latency, clock, noise, colour.
    pub interface: Interface,
}

fn is_neutral(receiver: &Receiver) -> bool {
    *receiver == Receiver::default()
}

/// A complex response.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Curve {
    /// Frequencies.
    pub frequency_hz: Vec<f64>,
    /// Magnitude.
    pub level_db: Vec<f64>,
    /// Phase in (−180°, 180°].
    pub phase_deg: Vec<f64>,
}

/// A sound pressure level over frequency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PressureCurve {
    /// Frequencies.
    pub frequency_hz: Vec<f64>,
    /// Level re 20 µPa.
    pub level_db_spl: Vec<f64>,
}

/// One sound that came by way of walls.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reflection {
    /// After the straight sound (on the axis of measurement).
    pub later_ms: f64,
    /// Level at 1 kHz re the straight sound.
    pub level_db: f64,
    /// How many walls it met.
    pub walls: u32,
}

/// What follows from the parameters of a way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the symbols of `driver.rs` and `speaker.rs`
pub struct WayFacts {
    pub name: String,
    pub fs_hz: f64,
    pub qms: f64,
    pub qes: f64,
    pub qts: f64,
    pub vas_m3: f64,
    pub fc_hz: f64,
    pub qtc: f64,
    /// Impedance at the driver's terminals at fc, inductance and losses included.
    pub impedance_at_fc_ohm: f64,
}

impl Bench {
    /// The truth at these frequencies, its harmonics for tones of this peak level.
    ///
    /// # Shape
    /// Frequencies outside 0 Hz to `valid_to_hz` (both excluded) are left out of the curves.
    pub fn truth(&self, frequencies_hz: &[f64], level_dbfs: f64) -> Truth {
        let settings = &self.settings;
        let valid_to_hz = FLAT_SHARE * settings.rate.hz();
        let grid: Vec<f64> = frequencies_hz.iter().copied().filter(|&hz| hz > 0.0 && hz < valid_to_hz).collect();
        let (satellite, distance_m) = (self.satellite(), settings.straight_m());
        let arrival_s = distance_m / SPEED_OF_SOUND_M_S + satellite.delay_s();
        // The straight path is the whole one where nothing reflects.
        let direct = satellite.hearings(&Surroundings::Anechoic);
        let early = |hz: f64| Complex64::cis(TAU * hz * arrival_s);
        let level_db_spl =
            |&hz: &f64| db_from_amplitude(RATED_DRIVE_V * satellite.for_a_volt(&direct, hz).norm() / REFERENCE_PA);
        let sound_pressure =
            PressureCurve { level_db_spl: grid.iter().map(level_db_spl).collect(), frequency_hz: grid.clone() };
        Truth {
            sample_rate_hz: settings.rate.whole_hz(),
            seed: settings.seed,
            valid_to_hz,
            clock_drift_ppm: settings.interface.drift_ppm,
            latency_s: settings.interface.latency_s,
            arrival_s,
            distance_m,
            near: settings.near,
            seat_m: settings.near.map_or(settings.seat_m, |_| None),
            at_seat: self.at_seat(&grid),
            direct: Curve::new(&grid, |hz| self.reply_response(&satellite, &direct, hz) * early(hz)),
            loopback: Curve::new(&grid, |hz| self.loopback_response(hz)),
            sound_pressure,
            reflections: self.reflections(),
            harmonics: self.harmonics(&direct, valid_to_hz, level_dbfs),
            ways: settings.speaker.ways.iter().map(WayFacts::new).collect(),
            speaker: settings.speaker.clone(),
            subwoofer: settings.subwoofer.clone(),
            receiver: settings.receiver,
            surroundings: settings.surroundings.clone(),
            microphone: settings.microphone,
            interface: settings.interface,
        }
    }

    /// Sample value on the microphone channel for each pascal.
    fn per_pascal(&self, hz: f64) -> Complex64 {
        let (microphone, interface) = (&self.settings.microphone, &self.settings.interface);
        microphone.per_pascal() * microphone.colour(hz) * interface.input_colour(hz) * self.converters(hz)
    }

    /// Microphone channel over played samples, without the latency.
    pub(super) fn reply_response(&self, source: &Source<'_>, hearings: &[Hearing], hz: f64) -> Complex64 {
        let output = self.settings.interface.output_colour(hz) * source.between(hz);
        let volts = source.drive_v_at_full_scale * output;
        volts * source.for_a_volt(hearings, hz) * self.per_pascal(hz)
    }

    fn loopback_response(&self, hz: f64) -> Complex64 {
        let interface = &self.settings.interface;
        let gain = amplitude_from_db(interface.loopback_gain_db) * self.converters(hz);
        gain * interface.output_colour(hz) * interface.input_colour(hz)
    }

    /// Both converters: an even impulse response has a real spectrum.
    fn converters(&self, hz: f64) -> f64 {
        let half = self.converter.combined();
        let angle = TAU * hz / self.settings.rate.hz();
        half[0] + half.iter().enumerate().skip(1).map(|(frame, h)| 2.0 * h * (angle * frame as f64).cos()).sum::<f64>()
    }

    fn reflections(&self) -> Vec<Reflection> {
        if self.settings.near.is_some() {
            return Vec::new();
        }
        let at_hz = 1000.0;
        let width_m = self.settings.speaker.baffle_width_m;
        let corner_hz = self.settings.surroundings.wall_corner_hz();
        let alone = |path| Radiation::new(vec![path], width_m, corner_hz).at(at_hz).norm();
        let ends = Ends { source_m: [0.0; 3], microphone_m: self.settings.microphone_m() };
        let paths = self.settings.surroundings.paths_between(ends);
        let (first, straight) = (paths[0].length_m, alone(paths[0]));
        let reflected = paths[1..].iter().filter(|path| path.gain > 0.0);
        let one = |path: &Path| Reflection {
            later_ms: (path.length_m - first) / SPEED_OF_SOUND_M_S * 1e3,
            level_db: db_from_amplitude(alone(*path) / straight),
            walls: path.walls,
        };
        reflected.map(one).collect()
    }

    fn harmonics(&self, direct: &[Hearing], valid_to_hz: f64, level_dbfs: f64) -> HarmonicTruth {
        let frequency_hz: Vec<f64> = TONES_HZ.into_iter().filter(|&hz| hz < valid_to_hz).collect();
        let tones: Vec<_> = std::thread::scope(|scope| {
            let one = |&hz: &f64| scope.spawn(move || self.tone(direct, hz, level_dbfs));
            let running: Vec<_> = frequency_hz.iter().map(one).collect();
            // A panic in a tone is our own fault and goes on in the caller.
            let resume = |panic| std::panic::resume_unwind(panic);
            running.into_iter().map(|tone| tone.join().unwrap_or_else(resume)).collect()
        });
        let order = |order: usize| {
            let above = |hz: f64| order as f64 * hz >= valid_to_hz;
            let column = frequency_hz.iter().zip(&tones).map(|(&hz, tone)| {
                let relative_db = db_from_amplitude(tone[order - 1].norm() / tone[0].norm());
                (!above(hz) && relative_db > NOTHING_DB).then_some(relative_db)
            });
            (order.to_string(), column.collect())
        };
        let satellite = self.satellite();
        let small = |hz: f64| self.reply_response(&satellite, direct, hz).norm() * amplitude_from_db(level_dbfs);
        let compression = frequency_hz.iter().zip(&tones);
        HarmonicTruth {
            level_dbfs,
            compression_db: compression.map(|(&hz, tone)| db_from_amplitude(tone[0].norm() / small(hz))).collect(),
            relative_db: (2..=HIGHEST_ORDER).map(order).collect(),
            frequency_hz,
        }
    }

    /// Sample values of orders 1 to 5 on the microphone channel for a played tone.
    fn tone(&self, direct: &[Hearing], hz: f64, level_dbfs: f64) -> Orders {
        let interface = &self.settings.interface;
        let between = self.satellite().between(hz).norm();
        let output = amplitude_from_db(level_dbfs) * interface.output_colour(hz).norm() * between;
        let amplitude_v = interface.drive_v_at_full_scale * output;
        let mut sum = [Complex64::ZERO; HIGHEST_ORDER];
        for ((way, circuit), hearing) in self.settings.speaker.ways.iter().zip(&self.circuits).zip(direct) {
            let orders = hearing.of_a_tone(circuit, hz, amplitude_v * way.polarity.sign());
            sum.iter_mut().zip(orders).for_each(|(sum, value)| *sum += value);
        }
        std::array::from_fn(|index| sum[index] * self.per_pascal((index + 1) as f64 * hz))
    }
}

impl Curve {
    pub(super) fn new(frequencies_hz: &[f64], response: impl Fn(f64) -> Complex64) -> Self {
        let values: Vec<Complex64> = frequencies_hz.iter().map(|&hz| response(hz)).collect();
        Self::of(frequencies_hz, &values)
    }

    pub(super) fn of(frequencies_hz: &[f64], values: &[Complex64]) -> Self {
        Self {
            frequency_hz: frequencies_hz.to_vec(),
            level_db: values.iter().map(|value| db_from_amplitude(value.norm())).collect(),
            phase_deg: values.iter().map(|value| value.arg().to_degrees()).collect(),
        }
    }
}

impl WayFacts {
    pub(super) fn new(way: &Way) -> Self {
        let driver = &way.driver;
        Self {
            name: way.name.clone(),
            fs_hz: driver.fs_hz(),
            qms: driver.qms(),
            qes: driver.qes(),
            qts: driver.qts(),
            vas_m3: driver.vas_m3(),
            fc_hz: way.fc_hz(),
            qtc: way.qtc(),
            impedance_at_fc_ohm: driver_impedance(way, way.fc_hz()).norm(),
        }
    }
}
