//! A loudspeaker of one or more ways: for each a driver, the air behind it and its part of the passive network.
//!
//! ```text
//! low-pass:   e ──L──┬── R_s ──┬── driver        high-pass:   e ──C──┬── R_s ──┬── driver
//!                    C         R_p                                   L         R_p
//!
//! box: C_AB = V/(ρ·c²)    R_AL = Q_L/(ω_c·C_AB) across it    R_AB = 1/(ω_c·Q_A·C_AB) in series
//! f_c = f_s·√(1 + V_as/V)        Q_tc = Q_ts·√(1 + V_as/V)
//! ```
//!
//! L with its resistance (dcr), C with its own (esr). V: air volume, m³. Q_L, Q_A: leakage and absorption losses, taken
//! at ω_c = 2π·f_c, for a box with an opening at its tuning (`enclosure.rs`). The amplifier has no output resistance,
//! so that the ways do not see each other.
//!
//! Source: R. H. Small, "Closed-Box Loudspeaker Systems, Part I: Analysis", J. Audio Eng. Soc. 20 (December 1972)
//! 798–808.

use super::defect::Defect;
use super::driver::{Bend, Driver, LossyInductance};
use super::enclosure::Enclosure;
use super::error::{BenchError, check};
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// A loudspeaker.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Speaker {
    /// Its ways, at least one.
    pub ways: Vec<Way>,
    /// Width of the baffle, which sets where the full space of low notes turns into the half space of high ones.
    pub baffle_width_m: f64,
}

/// A driver with all that belongs to it alone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Way {
    /// What the person calls it.
    pub name: String,
    /// The driver.
    pub driver: Driver,
    /// The air behind it.
    pub enclosure: Enclosure,
    /// Its filter.
    pub filter: Filter,
    /// Resistors between filter and driver.
    pub pad: Pad,
    /// How it is connected.
    pub polarity: Polarity,
    /// How far above the axis of measurement it sits.
    pub above_axis_m: f64,
    /// What is wrong with its moving parts; absent: nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub defect: Option<Defect>,
}

/// The filter before a driver.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Filter {
    /// The driver sits at the amplifier.
    None,
    /// Coil in series, capacitor across.
    LowPass(Reactances),
    /// Capacitor in series, coil across.
    HighPass(Reactances),
}

/// A coil and a capacitor with their resistances.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reactances {
    /// The coil.
    pub l_h: f64,
    /// Its resistance.
    pub dcr_ohm: f64,
    /// The capacitor.
    pub c_f: f64,
    /// Its resistance.
    pub esr_ohm: f64,
}

/// Resistors that attenuate a driver.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Pad {
    /// In series.
    pub series_ohm: f64,
    /// Across the driver; absent: none.
    pub across_ohm: Option<f64>,
}

/// How a driver is connected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Polarity {
    /// Plus to plus: a positive voltage moves the cone outwards.
    #[serde(rename = "+")]
    Straight,
    /// Plus to minus.
    #[serde(rename = "-")]
    Reversed,
}

impl Polarity {
    /// +1 or −1.
    pub fn sign(self) -> f64 {
        match self {
            Self::Straight => 1.0,
            Self::Reversed => -1.0,
        }
    }
}

impl Way {
    /// Resonance in its box, without losses.
    pub fn fc_hz(&self) -> f64 {
        self.driver.fs_hz() * self.stiffening()
    }

    /// Total Q in its box at the terminals of the driver, without the box's own losses.
    pub fn qtc(&self) -> f64 {
        self.driver.qts() * self.stiffening()
    }

    /// √(1 + V_as/V).
    pub(super) fn stiffening(&self) -> f64 {
        (1.0 + self.driver.vas_m3() / self.enclosure.air_m3()).sqrt()
    }

    /// Where the losses of the box are taken: f_c of a closed box, the tuning of an open one.
    pub(super) fn reference_omega(&self) -> f64 {
        TAU * self.enclosure.tuning_hz().unwrap_or_else(|| self.fc_hz())
    }

    /// 1/R_AL, m³/(s·Pa); zero when airtight.
    pub(super) fn leak_conductance(&self) -> f64 {
        self.enclosure.ql.map_or(0.0, |ql| self.reference_omega() * self.enclosure.compliance_m3_pa() / ql)
    }

    /// R_AB, Pa·s/m³; zero without absorption.
    pub(super) fn absorption_resistance(&self) -> f64 {
        self.enclosure.qa.map_or(0.0, |qa| 1.0 / (self.reference_omega() * qa * self.enclosure.compliance_m3_pa()))
    }

    /// The same way, sound, with a driver whose curves don't bend.
    pub fn straightened(&self) -> Self {
        Self { driver: self.driver.straightened(), defect: None, ..self.clone() }
    }
}

impl Speaker {
    /// A small two-way satellite in a closed box of 1.9 l: mid-woofer of 50 cm², dome treble, crossover near 3 kHz.
    ///
    /// Ours: no real loudspeaker. The curves of the mid-woofer lose a fifth of its force factor at 2.5 mm.
    pub fn rear_satellite() -> Self {
        Self { ways: vec![mid(), treble()], baffle_width_m: 0.14 }
    }

    pub(super) fn check(&self) -> Result<(), BenchError> {
        if self.ways.is_empty() {
            return Err(BenchError::NoWay);
        }
        check("baffle width in m", self.baffle_width_m, [0.01, 10.0])?;
        self.ways.iter().try_for_each(Way::check)
    }
}

impl Way {
    fn check(&self) -> Result<(), BenchError> {
        self.driver.check(&self.name)?;
        self.enclosure.check()?;
        self.defect.map_or(Ok(()), |defect| defect.check(&self.driver))?;
        if let Filter::LowPass(parts) | Filter::HighPass(parts) = self.filter {
            check("filter coil in H", parts.l_h, [1e-6, 1.0])?;
            check("resistance of the filter coil in ohm", parts.dcr_ohm, [0.0, 100.0])?;
            check("filter capacitor in F", parts.c_f, [1e-8, 1e-2])?;
            check("resistance of the filter capacitor in ohm", parts.esr_ohm, [0.0, 100.0])?;
        }
        check("series resistor in ohm", self.pad.series_ohm, [0.0, 1000.0])?;
        if let Some(across_ohm) = self.pad.across_ohm {
            check("resistor across the driver in ohm", across_ohm, [0.1, 1e6])?;
        }
        check("height above the axis in m", self.above_axis_m, [-5.0, 5.0])
    }
}

fn mid() -> Way {
    Way {
        name: "mid".to_owned(),
        driver: Driver {
            re_ohm: 3.4,
            le_h: 0.16e-3,
            lossy: Some(LossyInductance { l2_h: 0.22e-3, r2_ohm: 2.2 }),
            bl_tm: 3.27,
            mms_kg: 3.2e-3,
            rms_kg_s: 0.53,
            cms_m_n: 0.65e-3,
            sd_m2: 50e-4,
            force_factor: Bend([12.0, -3.2e4, 0.0, 0.0]),
            stiffness: Bend([-40.0, 4.5e4, 0.0, 0.0]),
            inductance: Bend([-55.0, -4.0e3, 0.0, 0.0]),
            limit_m: 3.5e-3,
        },
        enclosure: Enclosure { ql: Some(60.0), qa: Some(15.0), ..Enclosure::closed(1.9e-3) },
        filter: Filter::LowPass(Reactances { l_h: 0.39e-3, dcr_ohm: 0.25, c_f: 6.8e-6, esr_ohm: 0.05 }),
        pad: Pad::default(),
        polarity: Polarity::Straight,
        above_axis_m: -0.08,
        defect: None,
    }
}

fn treble() -> Way {
    Way {
        name: "treble".to_owned(),
        driver: Driver {
            re_ohm: 3.6,
            le_h: 0.025e-3,
            lossy: Some(LossyInductance { l2_h: 0.03e-3, r2_ohm: 1.0 }),
            bl_tm: 1.9,
            mms_kg: 0.24e-3,
            rms_kg_s: 0.55,
            cms_m_n: 0.12e-3,
            sd_m2: 5.5e-4,
            force_factor: Bend([30.0, -2.0e5, 0.0, 0.0]),
            stiffness: Bend([0.0, 3.0e5, 0.0, 0.0]),
            inductance: Bend([-100.0, 0.0, 0.0, 0.0]),
            limit_m: 0.8e-3,
        },
        enclosure: Enclosure { ql: None, qa: Some(4.0), ..Enclosure::closed(15e-6) },
        filter: Filter::HighPass(Reactances { l_h: 0.33e-3, dcr_ohm: 0.25, c_f: 5.6e-6, esr_ohm: 0.05 }),
        pad: Pad { series_ohm: 1.5, across_ohm: None },
        polarity: Polarity::Reversed,
        above_axis_m: 0.0,
        defect: None,
    }
}
