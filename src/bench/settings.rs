//! What a bench is set up from, and the scenario it starts with.
//!
//! ```text
//! sample value for each pascal = 10^(S/20)/(√2·p₉₄)        p₉₄ = 20 µPa·10^(94/20) = 1.0024 Pa
//! ```
//!
//! S: what a sine of 94 dB SPL at 1 kHz reads on the microphone channel, dBFS (a full-scale sine has 0 dBFS).
//! Derivation: the definitions of dB SPL (re 20 µPa, rms) and of dBFS (re the peak of a sine, √2 times its rms).

use super::air::REFERENCE_PA;
use super::colour::{high_pass, low_pass, shelf};
use super::error::{BenchError, check};
use super::near::NearField;
use super::noise::Hum;
use super::receiver::Receiver;
use super::room::{Ends, Room, Surroundings};
use super::speaker::Speaker;
use super::subwoofer::Subwoofer;
use crate::quantity::{SampleRate, amplitude_from_db, db_from_amplitude};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::SQRT_2;

/// Everything a bench is set up from. The default is our own scenario: a small satellite in a small living room.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchSettings {
    /// Frames a second, of player and recorder (but see [`Interface::drift_ppm`]).
    pub rate: SampleRate,
    /// Where chance starts: equal seeds give equal records.
    pub seed: u64,
    /// From the loudspeaker's baffle to the microphone, along the loudspeaker's axis.
    pub distance_m: f64,
    /// The microphone stands here instead, before one surface, and hears no room; absent: at that distance or at the seat.
    pub near: Option<NearField>,
    /// The microphone stands here instead, counted from the loudspeaker's place: ahead, aside, up; absent: at that distance.
    pub seat_m: Option<[f64; 3]>,
    /// The loudspeaker.
    pub speaker: Speaker,
    /// A second one, on the third output; absent: there is none.
    pub subwoofer: Option<Subwoofer>,
    /// What lies between the outputs and the amplifiers.
    pub receiver: Receiver,
    /// What surrounds it.
    pub surroundings: Surroundings,
    /// The microphone with its preamplifier.
    pub microphone: Microphone,
    /// The sound card and the amplifier.
    pub interface: Interface,
}

/// The microphone with its preamplifier.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Microphone {
    /// What a sine of 94 dB SPL at 1 kHz reads.
    pub sensitivity_dbfs_at_94db: f64,
    /// Noise of microphone, room and preamplifier over the whole band, as the level of a sine of equal rms; absent: none.
    pub noise_dbfs: Option<f64>,
    /// Share of that noise's power which is pink, the rest is white.
    pub pink_share: f64,
    /// Mains hum, if any.
    pub hum: Option<Hum>,
    /// The microphone rises above this …
    pub rise_from_hz: f64,
    /// … until here, by the ratio of both.
    pub rise_to_hz: f64,
}

/// The sound card and the amplifier.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interface {
    /// How much faster the recorder's clock runs: positive makes the recording too long.
    pub drift_ppm: f64,
    /// From the first played frame to the first recorded one, both converters included.
    pub latency_s: f64,
    /// Voltage at the loudspeaker for a sample value of 1 (a peak, not an rms).
    pub drive_v_at_full_scale: f64,
    /// Sample value on the loopback channel over the one played.
    pub loopback_gain_db: f64,
    /// White noise of the loopback channel, as the level of a sine of equal rms; absent: none.
    pub loopback_noise_dbfs: Option<f64>,
    /// AC coupling of the output.
    pub output_high_pass_hz: f64,
    /// AC coupling of both inputs.
    pub input_high_pass_hz: f64,
    /// Corner of the inputs' analogue filters, far above the band: a gentle droop at its upper end.
    pub input_low_pass_hz: f64,
}

impl Default for BenchSettings {
    fn default() -> Self {
        let whole_hz = 48_000;
        Self {
            rate: SampleRate::new(whole_hz).expect("48 kHz is a rate"),
            seed: 1,
            distance_m: 0.5,
            near: None,
            seat_m: None,
            speaker: Speaker::rear_satellite(),
            subwoofer: None,
            receiver: Receiver::default(),
            surroundings: Surroundings::Room(Room::default()),
            microphone: Microphone::default(),
            interface: Interface::default(),
        }
    }
}

impl Default for Microphone {
    fn default() -> Self {
        Self {
            sensitivity_dbfs_at_94db: -31.2,
            noise_dbfs: Some(-88.0),
            pink_share: 0.5,
            hum: None,
            rise_from_hz: 14_000.0,
            rise_to_hz: 20_000.0,
        }
    }
}

impl Default for Interface {
    fn default() -> Self {
        Self {
            drift_ppm: 12.0,
            latency_s: 0.0427,
            drive_v_at_full_scale: 20.0,
            loopback_gain_db: -6.0,
            loopback_noise_dbfs: Some(-105.0),
            output_high_pass_hz: 1.5,
            input_high_pass_hz: 2.0,
            input_low_pass_hz: 100_000.0,
        }
    }
}

impl Microphone {
    /// What the microphone adds at these frequencies in dB, 0 at 1 kHz: the table that its maker would deliver.
    pub fn table_db(&self, frequencies_hz: &[f64]) -> Vec<f64> {
        frequencies_hz.iter().map(|&hz| db_from_amplitude(self.colour(hz).norm())).collect()
    }

    /// Sample value for each pascal at 1 kHz.
    pub fn per_pascal(&self) -> f64 {
        let calibrator_pa = REFERENCE_PA * amplitude_from_db(94.0);
        amplitude_from_db(self.sensitivity_dbfs_at_94db) / (SQRT_2 * calibrator_pa)
    }

    /// Response re 1 kHz (its phase there is not zero).
    pub(super) fn colour(&self, frequency_hz: f64) -> Complex64 {
        let at = |hz| shelf(self.rise_from_hz, self.rise_to_hz, hz);
        at(frequency_hz) / at(1000.0).norm()
    }

    fn check(&self) -> Result<(), BenchError> {
        check("microphone sensitivity in dBFS at 94 dB", self.sensitivity_dbfs_at_94db, [-150.0, 60.0])?;
        check("microphone noise in dBFS", self.noise_dbfs.unwrap_or(-200.0), [-300.0, 0.0])?;
        check("pink share of the noise", self.pink_share, [0.0, 1.0])?;
        check("lower corner of the microphone's rise in Hz", self.rise_from_hz, [100.0, 1e9])?;
        check("upper corner of the microphone's rise in Hz", self.rise_to_hz, [self.rise_from_hz, 1e9])?;
        self.hum.map_or(Ok(()), |hum| hum.check())
    }
}

impl Interface {
    /// Response of the output's analogue side: no droop, which a voltage that is only known up to half the sample rate
    /// could not carry without ringing.
    pub(super) fn output_colour(&self, frequency_hz: f64) -> Complex64 {
        high_pass(self.output_high_pass_hz, frequency_hz)
    }

    /// Response of an input's analogue side.
    pub(super) fn input_colour(&self, frequency_hz: f64) -> Complex64 {
        high_pass(self.input_high_pass_hz, frequency_hz) * low_pass(self.input_low_pass_hz, frequency_hz)
    }

    fn check(&self) -> Result<(), BenchError> {
        check("clock drift in ppm", self.drift_ppm, [-10_000.0, 10_000.0])?;
        check("latency in s", self.latency_s, [0.0, 10.0])?;
        check("drive voltage at full scale", self.drive_v_at_full_scale, [1e-6, 1000.0])?;
        check("loopback gain in dB", self.loopback_gain_db, [-120.0, 60.0])?;
        check("loopback noise in dBFS", self.loopback_noise_dbfs.unwrap_or(-200.0), [-300.0, 0.0])?;
        for corner_hz in [self.output_high_pass_hz, self.input_high_pass_hz] {
            check("AC coupling in Hz", corner_hz, [1.0, 1000.0])?;
        }
        check("analogue low-pass of the inputs in Hz", self.input_low_pass_hz, [1000.0, 1e12])
    }
}

impl BenchSettings {
    /// The same bench without room, noise, hum and drift.
    pub fn quiet(mut self) -> Self {
        self.surroundings = Surroundings::Anechoic;
        self.microphone.noise_dbfs = None;
        self.microphone.hum = None;
        self.interface.loopback_noise_dbfs = None;
        self.interface.drift_ppm = 0.0;
        self
    }

    /// Where the microphone stands, counted from the loudspeaker's place: ahead, aside, up.
    pub fn microphone_m(&self) -> [f64; 3] {
        match &self.near {
            Some(near) => [near.distance_m, 0.0, self.speaker.ways.get(near.way).map_or(0.0, |way| way.above_axis_m)],
            None => self.far_m(),
        }
    }

    /// The same, were there no near field.
    fn far_m(&self) -> [f64; 3] {
        self.seat_m.unwrap_or([self.distance_m, 0.0, 0.0])
    }

    /// From the loudspeaker's baffle (of a near field: from the surface) to the microphone.
    pub(super) fn straight_m(&self) -> f64 {
        let far_m = || self.seat_m.map_or(self.distance_m, from_origin_m);
        self.near.map_or_else(far_m, |near| near.distance_m)
    }

    /// Whether the microphone hears a room that is followed in the bass.
    pub(super) fn hears_modes(&self) -> bool {
        self.near.is_none() && matches!(&self.surroundings, Surroundings::Room(room) if room.late_s > 0.0)
    }

    pub(super) fn check(&self) -> Result<(), BenchError> {
        check("distance in m", self.distance_m, [0.05, 20.0])?;
        self.speaker.check()?;
        self.near.map_or(Ok(()), |near| near.check(&self.speaker))?;
        self.subwoofer.as_ref().map_or(Ok(()), Subwoofer::check)?;
        self.receiver.check()?;
        self.check_places()?;
        self.microphone.check()?;
        self.interface.check()
    }

    /// Everything inside the room, and the microphone in front of no loudspeaker's very cone.
    fn check_places(&self) -> Result<(), BenchError> {
        let mut places = vec![("loudspeaker", [0.0; 3]), ("microphone", self.far_m())];
        places.extend(self.subwoofer.as_ref().map(|subwoofer| ("subwoofer", subwoofer.beside_m)));
        self.surroundings.check(&places)?;
        if let Some(seat_m) = self.seat_m {
            check("distance from the loudspeaker to the seat in m", from_origin_m(seat_m), REACH_M)?;
            for way in &self.speaker.ways {
                let way_m = Ends { source_m: [0.0, 0.0, way.above_axis_m], microphone_m: seat_m }.distance_m();
                check("distance from a way to the seat in m", way_m, REACH_M)?;
            }
        }
        let Some(subwoofer) = &self.subwoofer else { return Ok(()) };
        let [ahead_m, aside_m, up_m] = subwoofer.beside_m;
        subwoofer.speaker.ways.iter().try_for_each(|way| {
            let source_m = [ahead_m, aside_m, up_m + way.above_axis_m];
            let apart_m = Ends { source_m, microphone_m: self.microphone_m() }.distance_m();
            check("distance from the subwoofer to the microphone in m", apart_m, REACH_M)
        })
    }
}

/// From a loudspeaker that is a point to a microphone that may stand anywhere.
const REACH_M: [f64; 2] = [0.05, 200.0];

fn from_origin_m(microphone_m: [f64; 3]) -> f64 {
    Ends { source_m: [0.0; 3], microphone_m }.distance_m()
}
