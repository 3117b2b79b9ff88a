//! What the jig knows of itself: the impedance on its clips, and the driver behind it.
//!
//! ```text
//! Z_M = R_ms + jω·M_ms + 1/(jω·C(jω)) + S_d²·Z_AB        Z = R_e + jω·L_e + (jω·L₂ ∥ R₂) + Bl²/Z_M + 1/(jω·C_s)
//! f_s: Im Z_M = 0        Q_ms = 2π·f_s·M_ms/Re Z_M        Q_es = 2π·f_s·M_ms·R_e/Bl²
//! ```
//!
//! Small signals. C: compliance with its creep (`creep.rs`); Z_AB: the box (`phasor.rs`); C_s: a capacitor in series. A
//! loudspeaker's ways stand side by side. With the box f_s, Q_ms, Q_es are f_c, Q_mc, Q_ec. Derivation: the circuit
//! diagram; so each judges the differential equations.

use super::air::{AIR_DENSITY_KG_M3, SPEED_OF_SOUND_M_S};
use super::converter::FLAT_SHARE;
use super::creep::softer;
use super::driver::{Driver, LossyInductance};
use super::enclosure::Enclosure;
use super::jig::{Jig, JigInput, Recorder, Wiring};
use super::load::{HungDriver, Load};
use super::phasor::{coil_impedance, input_impedance, near_accelerations, rear_impedance};
use super::truth::{Curve, WayFacts};
use crate::quantity::amplitude_from_db;
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::{SQRT_2, TAU};

/// What a jig knows of itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JigTruth {
    /// Frames a second.
    pub sample_rate_hz: u32,
    /// Where chance started.
    pub seed: u64,
    /// Up to here the curves are given.
    pub valid_to_hz: f64,
    /// Peak level that the voltages belong to.
    pub level_dbfs: f64,
    /// Load input over drive input: what the same voltage gives on both.
    pub gain_ratio: Curve,
    /// The load, at the start and, where it changes, at the end of the recording.
    pub at: Vec<LoadTruth>,
    /// The ways of a loudspeaker; empty for other loads.
    pub ways: Vec<WayFacts>,
    /// Resistances and voltages.
    pub wiring: Wiring,
    /// Clock and cables.
    pub recorder: Recorder,
    /// The input before the sense resistor.
    pub drive_input: JigInput,
    /// The input behind it.
    pub load_input: JigInput,
    /// What hangs on the clips.
    pub load: Load,
}

/// The load at one time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LoadTruth {
    /// From the start of the recording.
    pub time_s: f64,
    /// Its impedance; absent where nothing hangs there.
    pub impedance: Option<ImpedanceTruth>,
    /// The driver; absent for other loads.
    pub driver: Option<DriverTruth>,
    /// The driver in its box, if it has one.
    pub boxed: Option<BoxTruth>,
}

/// An impedance over frequency and the voltages that belong to it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ImpedanceTruth {
    /// Frequencies.
    pub frequency_hz: Vec<f64>,
    /// |Z| of the load alone.
    pub magnitude_ohm: Vec<f64>,
    /// Its phase in (−180°, 180°].
    pub phase_deg: Vec<f64>,
    /// |Z + R_l|: the lead included.
    pub with_lead_magnitude_ohm: Vec<f64>,
    /// Its phase.
    pub with_lead_phase_deg: Vec<f64>,
    /// Voltage across the load at this level, rms.
    pub load_v_rms: Vec<f64>,
}

/// A driver's own parameters in free air, added mass and creep included.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the symbols of `driver.rs`
pub struct DriverTruth {
    pub re_ohm: f64,
    pub fs_hz: f64,
    pub qms: f64,
    pub qes: f64,
    pub qts: f64,
    pub mms_kg: f64,
    /// Compliance at the resonance, its real part.
    pub cms_m_n: f64,
    /// Mechanical resistance at the resonance, what creeps included.
    pub rms_kg_s: f64,
    pub bl_tm: f64,
    pub sd_m2: f64,
    pub vas_m3: f64,
    pub le_h: f64,
    pub lossy: Option<LossyInductance>,
}

/// A driver in its box, the losses of the box included.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BoxTruth {
    /// What a closed box makes of the driver; absent for one with an opening.
    #[serde(flatten)]
    pub closed: Option<ClosedTruth>,
    /// Tuning and peaks of one with an opening; absent for a closed one.
    #[serde(flatten)]
    pub open: Option<OpenTruth>,
    /// All of the box.
    #[serde(flatten)]
    pub enclosure: Enclosure,
}

/// Resonance and quality in a closed box.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // the symbols of `speaker.rs`
pub struct ClosedTruth {
    pub fc_hz: f64,
    pub qmc: f64,
    pub qec: f64,
    pub qtc: f64,
}

/// Tuning of a box with an opening, and where |Z| of the driver in it is highest below and above that; absent where it
/// has no peak.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // as they are named
pub struct OpenTruth {
    pub fb_hz: f64,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub f_low_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub f_high_hz: Option<f64>,
}

impl Jig {
    /// The truth at these frequencies for sweeps of this peak level and a recording of this duration.
    ///
    /// # Shape
    /// Frequencies outside 0 Hz to `valid_to_hz` (both excluded) are left out of the curves.
    pub fn truth(&self, frequencies_hz: &[f64], level_dbfs: f64, duration_s: f64) -> JigTruth {
        let settings = &self.settings;
        let valid_to_hz = FLAT_SHARE * settings.rate.hz();
        let grid: Vec<f64> = frequencies_hz.iter().copied().filter(|&hz| hz > 0.0 && hz < valid_to_hz).collect();
        let ratio = |hz: f64| settings.load_input.colour(hz) / settings.drive_input.colour(hz);
        let changes = matches!(&settings.load, Load::Driver(hung) if hung.changes());
        let times_s = if changes { vec![0.0, duration_s] } else { vec![0.0] };
        JigTruth {
            sample_rate_hz: settings.rate.whole_hz(),
            seed: settings.seed,
            valid_to_hz,
            level_dbfs,
            gain_ratio: Curve::new(&grid, ratio),
            at: times_s.into_iter().map(|time_s| self.load_truth(&grid, level_dbfs, time_s)).collect(),
            ways: match &settings.load {
                Load::Loudspeaker(speaker) => speaker.ways.iter().map(WayFacts::new).collect(),
                _ => Vec::new(),
            },
            wiring: settings.wiring,
            recorder: settings.recorder,
            drive_input: settings.drive_input,
            load_input: settings.load_input,
            load: settings.load.clone(),
        }
    }

    fn load_truth(&self, grid: &[f64], level_dbfs: f64, time_s: f64) -> LoadTruth {
        let values: Option<Vec<Complex64>> = grid.iter().map(|&hz| self.settings.load.impedance(hz, time_s)).collect();
        let hung = if let Load::Driver(hung) = &self.settings.load { Some(hung) } else { None };
        LoadTruth {
            time_s,
            impedance: values.map(|values| self.impedance_truth(grid, &values, level_dbfs)),
            driver: hung.map(|hung| hung.truth(time_s)),
            boxed: hung.and_then(|hung| hung.box_truth(time_s)),
        }
    }

    fn impedance_truth(&self, grid: &[f64], values: &[Complex64], level_dbfs: f64) -> ImpedanceTruth {
        let wiring = &self.settings.wiring;
        let [share, ohm] = wiring.seen_from_the_load();
        let source_v = amplitude_from_db(level_dbfs) * wiring.drive_v_at_full_scale / SQRT_2;
        let column = |of: &dyn Fn(Complex64) -> f64| values.iter().map(|&z| of(z)).collect();
        ImpedanceTruth {
            frequency_hz: grid.to_vec(),
            magnitude_ohm: column(&|z| z.norm()),
            phase_deg: column(&|z| z.arg().to_degrees()),
            with_lead_magnitude_ohm: column(&|z| (z + wiring.lead_ohm).norm()),
            with_lead_phase_deg: column(&|z| (z + wiring.lead_ohm).arg().to_degrees()),
            load_v_rms: column(&|z| source_v * share * (z / (z + wiring.lead_ohm + ohm)).norm()),
        }
    }
}

impl Load {
    /// Impedance at small signals and a time after the start, ohm; none where nothing hangs there.
    pub fn impedance(&self, frequency_hz: f64, time_s: f64) -> Option<Complex64> {
        match self {
            Self::Open => None,
            Self::Short => Some(Complex64::ZERO),
            Self::Resistor { ohm } => Some((*ohm).into()),
            Self::Driver(hung) => Some(hung.impedance(Complex64::new(0.0, TAU * frequency_hz), time_s)),
            Self::Loudspeaker(speaker) => {
                let siemens: Complex64 = speaker.ways.iter().map(|way| 1.0 / input_impedance(way, frequency_hz)).sum();
                Some(1.0 / siemens)
            }
        }
    }
}

impl Load {
    /// Volume accelerations of cone and opening, both outwards, for one volt at the terminals of a driver in its box at
    /// the start, m³/s²/V: what a microphone close to them follows. None for other loads.
    pub fn near_field(&self, frequency_hz: f64) -> Option<[Complex64; 2]> {
        let Self::Driver(hung) = self else { return None };
        Some(near_accelerations(&hung.way(), Complex64::new(0.0, TAU * frequency_hz)))
    }
}

/// What lies behind the cone.
#[derive(Clone, Copy, PartialEq)]
enum Air {
    Free,
    Box,
}

impl HungDriver {
    fn impedance(&self, s: Complex64, time_s: f64) -> Complex64 {
        let now = self.driver_at(time_s);
        let capacitor = self.series_capacitor_f.map_or(Complex64::ZERO, |farad| 1.0 / (s * farad));
        coil_impedance(&now, s) + now.bl_tm * now.bl_tm / self.mechanical(&now, s, Air::Box) + capacitor
    }

    /// Z_M, kg/s. The losses of the box are resistors that stay what they were at the start.
    fn mechanical(&self, now: &Driver, s: Complex64, air: Air) -> Complex64 {
        let compliance = now.cms_m_n * softer(self.creep_per_decade, s);
        let rear = match (air, self.enclosure) {
            (Air::Box, Some(_)) => now.sd_m2 * now.sd_m2 * rear_impedance(&self.way(), s),
            _ => Complex64::ZERO,
        };
        now.rms_kg_s + s * now.mms_kg + 1.0 / (s * compliance) + rear
    }

    /// Frequency at which the cone's impedance is real, with its mechanical, electrical and total Q.
    fn resonance(&self, time_s: f64, air: Air) -> [f64; 4] {
        let now = self.driver_at(time_s);
        let at = |hz: f64| self.mechanical(&now, Complex64::new(0.0, TAU * hz), air);
        // The reactance grows from one end to the other; sixty halvings of the octaves between leave rounding.
        let [mut low_hz, mut high_hz] = [0.1, 100_000.0];
        for _ in 0..60 {
            let middle_hz = f64::sqrt(low_hz * high_hz);
            if at(middle_hz).im < 0.0 { low_hz = middle_hz } else { high_hz = middle_hz }
        }
        let hz = f64::sqrt(low_hz * high_hz);
        let reactance = TAU * hz * now.mms_kg;
        let mechanical_q = reactance / at(hz).re;
        let electrical_q = reactance * now.re_ohm / (now.bl_tm * now.bl_tm);
        [hz, mechanical_q, electrical_q, mechanical_q * electrical_q / (mechanical_q + electrical_q)]
    }

    fn box_truth(&self, time_s: f64) -> Option<BoxTruth> {
        let enclosure = self.enclosure?;
        let open = enclosure.tuning_hz().map(|fb_hz| {
            let [f_low_hz, f_high_hz] =
                [[0.05 * fb_hz, fb_hz], [fb_hz, 20.0 * fb_hz]].map(|range| self.peak_hz(range, time_s));
            OpenTruth { fb_hz, f_low_hz, f_high_hz }
        });
        let closed = open.is_none().then(|| {
            let [fc_hz, qmc, qec, qtc] = self.resonance(time_s, Air::Box);
            ClosedTruth { fc_hz, qmc, qec, qtc }
        });
        Some(BoxTruth { closed, open, enclosure })
    }

    /// Where |Z| is highest within a range, on a grid of 2⁻¹³ octaves, which is finer than any curve shows it.
    fn peak_hz(&self, [from_hz, to_hz]: [f64; 2], time_s: f64) -> Option<f64> {
        let steps = ((to_hz / from_hz).log2() * 8192.0) as u32;
        let hz = |step: u32| from_hz * (f64::from(step) / 8192.0).exp2();
        let height = |step: u32| self.impedance(Complex64::new(0.0, TAU * hz(step)), time_s).norm();
        // Local maxima only: octaves above the peak the coil rises past it.
        let is_peak = |step: &u32| height(*step) >= height(step - 1) && height(*step) > height(step + 1);
        (1..steps).filter(is_peak).max_by(|&a, &b| height(a).total_cmp(&height(b))).map(hz)
    }

    fn truth(&self, time_s: f64) -> DriverTruth {
        let now = self.driver_at(time_s);
        let [fs_hz, qms, qes, qts] = self.resonance(time_s, Air::Free);
        let s = Complex64::new(0.0, TAU * fs_hz);
        let cms_m_n = (now.cms_m_n * softer(self.creep_per_decade, s)).re;
        DriverTruth {
            re_ohm: now.re_ohm,
            fs_hz,
            qms,
            qes,
            qts,
            mms_kg: now.mms_kg,
            cms_m_n,
            rms_kg_s: self.mechanical(&now, s, Air::Free).re,
            bl_tm: now.bl_tm,
            sd_m2: now.sd_m2,
            vas_m3: AIR_DENSITY_KG_M3 * SPEED_OF_SOUND_M_S.powi(2) * now.sd_m2.powi(2) * cms_m_n,
            le_h: now.le_h,
            lossy: now.lossy,
        }
    }
}
