//! The numbers of a design that can turn out otherwise, and how far they usually do.
//!
//! A knob is turned by a deviation: the logarithm of the ratio to the designed number where that is positive by nature (a
//! volume, a part, a resonance), the plain difference where it can be nothing (the loss factors 1/Q). So a deviation of
//! zero is the design, and all knobs can be treated alike.

use super::design::{CabinetOpening, Design, Rear, Source};
use crate::driver::VoiceCoil;
use crate::network::Kind;

/// A number of a design.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Knob {
    /// Volume of the box.
    Volume,
    /// Loss factor of its leakage.
    Leak,
    /// Loss factor of its absorption.
    Absorption,
    /// Loss factor of its opening.
    OpeningLoss,
    /// Length of its tubes.
    PortLength,
    /// Tuning of an opening of which only that is known.
    Tuning,
    /// Resonance of the passive radiator by itself.
    RadiatorResonance,
    /// Value of a part, by its place in the network.
    Part(usize),
    /// A number of a way's driver.
    Driver(usize, DriverNumber),
}

/// A number of a driver.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs)] // each is the symbol that every textbook uses
pub enum DriverNumber {
    Re,
    Fs,
    Qms,
    Qes,
    Vas,
    /// All inductances of the voice coil together.
    Le,
    /// Level of a driver known by its curves.
    Level,
    /// Impedance of a driver known by its curves.
    Impedance,
}

/// How a knob's deviation is to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turning {
    /// Logarithm of the ratio.
    Ratio,
    /// Difference.
    Difference,
}

/// What a knob's number is measured in, SI.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // named after the unit
pub enum Of {
    CubicMetre,
    Metre,
    Hertz,
    Ohm,
    Henry,
    Farad,
    Ratio,
    /// 1/Q.
    LossFactor,
}

impl DriverNumber {
    const OF_CONE: [Self; 6] = [Self::Re, Self::Fs, Self::Qms, Self::Qes, Self::Vas, Self::Le];

    /// As in a job.
    pub fn name(self) -> &'static str {
        match self {
            Self::Re => "re",
            Self::Fs => "fs",
            Self::Qms => "qms",
            Self::Qes => "qes",
            Self::Vas => "vas",
            Self::Le => "le",
            Self::Level => "level",
            Self::Impedance => "impedance",
        }
    }
}

/// Boxes are built to this, relative (common practice: 2 % of a volume that was calculated with what stands in it).
const VOLUME: f64 = 0.025;
/// Standard deviation of a loss factor of which nothing is said, and of a stated one, relative.
const LOSS: f64 = 0.008;
const LOSS_RATIO: f64 = 0.3;
/// Tubes are cut to a millimetre, and their ends are known to as much; relative to the usual 100 mm, and to short ones more.
const TUBE_M: f64 = 1.5e-3;
const TUNING: f64 = 0.02;
const RADIATOR: f64 = 0.04;
/// Drivers known by their curves.
const LEVEL: f64 = 0.06;
const IMPEDANCE: f64 = 0.03;

impl Knob {
    /// All knobs that a design has.
    pub fn all(design: &Design) -> Vec<Self> {
        let mut knobs = Vec::new();
        let boxed = design.ways.iter().any(|way| way.rear == Rear::InBox && way.cone().is_some());
        if let Some(cabinet) = design.cabinet.filter(|_| boxed) {
            knobs.push(Self::Volume);
            if !matches!(cabinet.opening, CabinetOpening::Back { .. }) {
                knobs.extend([Self::Leak, Self::Absorption]);
            }
            match cabinet.opening {
                CabinetOpening::None | CabinetOpening::Back { .. } => {}
                CabinetOpening::Port(_) => knobs.extend([Self::OpeningLoss, Self::PortLength]),
                CabinetOpening::Vent { .. } => knobs.extend([Self::OpeningLoss, Self::Tuning]),
                CabinetOpening::PassiveRadiator { .. } => {
                    knobs.extend([Self::OpeningLoss, Self::Tuning, Self::RadiatorResonance]);
                }
            }
        }
        knobs.extend((0..design.network.parts.len()).map(Self::Part));
        for (at, way) in design.ways.iter().enumerate() {
            match &way.source {
                Source::Cone(cone) => {
                    let coil = has_inductance(&cone.model.voice_coil);
                    let of_cone =
                        DriverNumber::OF_CONE.into_iter().filter(|number| *number != DriverNumber::Le || coil);
                    knobs.extend(of_cone.map(|number| Self::Driver(at, number)));
                }
                Source::Curves(curves) => {
                    knobs.push(Self::Driver(at, DriverNumber::Level));
                    if curves.has_impedance() {
                        knobs.push(Self::Driver(at, DriverNumber::Impedance));
                    }
                }
            }
        }
        knobs
    }

    /// The job's own name of the thing.
    pub fn name(self, design: &Design) -> String {
        match self {
            Self::Volume => "volume".into(),
            Self::Leak => "leak".into(),
            Self::Absorption => "absorption".into(),
            Self::OpeningLoss => "opening-loss".into(),
            Self::PortLength => "port-length".into(),
            Self::Tuning => "tuning".into(),
            Self::RadiatorResonance => "radiator-resonance".into(),
            Self::Part(at) => design.network.parts[at].name.clone(),
            Self::Driver(way, number) => format!("driver {} {}", design.ways[way].name, number.name()),
        }
    }

    /// How its deviation is to be read.
    pub fn turning(self) -> Turning {
        match self {
            Self::Leak | Self::Absorption | Self::OpeningLoss => Turning::Difference,
            _ => Turning::Ratio,
        }
    }

    /// What its number is measured in.
    pub fn of(self, design: &Design) -> Of {
        match self {
            Self::Volume | Self::Driver(_, DriverNumber::Vas) => Of::CubicMetre,
            Self::Leak | Self::Absorption | Self::OpeningLoss => Of::LossFactor,
            Self::PortLength => Of::Metre,
            Self::Tuning | Self::RadiatorResonance | Self::Driver(_, DriverNumber::Fs) => Of::Hertz,
            Self::Part(at) => match design.network.parts[at].kind {
                Kind::Resistor => Of::Ohm,
                Kind::Coil => Of::Henry,
                Kind::Capacitor => Of::Farad,
            },
            Self::Driver(_, DriverNumber::Re) => Of::Ohm,
            Self::Driver(_, DriverNumber::Le) => Of::Henry,
            Self::Driver(..) => Of::Ratio,
        }
    }

    /// Its number in a design, SI.
    pub fn value(self, design: &Design) -> f64 {
        let cabinet = design.cabinet;
        let loss = |of: fn(&crate::enclosure::LossFactors) -> f64| cabinet.map_or(0.0, |cabinet| of(&cabinet.losses));
        match self {
            Self::Volume => cabinet.map_or(0.0, |cabinet| cabinet.volume_m3),
            Self::Leak => loss(|losses| losses.leakage),
            Self::Absorption => loss(|losses| losses.absorption),
            Self::OpeningLoss => loss(|losses| losses.opening),
            Self::PortLength => match cabinet.map(|cabinet| cabinet.opening) {
                Some(CabinetOpening::Port(port)) => port.length_m,
                _ => 0.0,
            },
            Self::Tuning => {
                cabinet.and_then(|cabinet| cabinet.opening.tuning_hz(cabinet.volume_m3, &design.air)).unwrap_or(0.0)
            }
            Self::RadiatorResonance => match cabinet.map(|cabinet| cabinet.opening) {
                Some(CabinetOpening::PassiveRadiator { fp_hz, .. }) => fp_hz,
                _ => 0.0,
            },
            Self::Part(at) => design.network.parts[at].value,
            Self::Driver(way, number) => of_driver(&design.ways[way].source, number),
        }
    }

    /// The usual deviation: a standard deviation.
    pub fn spread(self, design: &Design) -> f64 {
        let stated = |value: f64| if value > 0.0 { (LOSS_RATIO * value).max(LOSS) } else { LOSS };
        match self {
            Self::Volume => VOLUME,
            Self::Leak | Self::Absorption | Self::OpeningLoss => stated(self.value(design)),
            Self::PortLength => TUBE_M / self.value(design).max(TUBE_M),
            Self::Tuning => TUNING,
            Self::RadiatorResonance => RADIATOR,
            Self::Part(at) => design.part_spread(at),
            Self::Driver(way, number) => match (&design.ways[way].source, number) {
                (Source::Cone(cone), DriverNumber::Re) => cone.spread.re,
                (Source::Cone(cone), DriverNumber::Fs) => cone.spread.fs,
                (Source::Cone(cone), DriverNumber::Qms) => cone.spread.qms,
                (Source::Cone(cone), DriverNumber::Qes) => cone.spread.qes,
                (Source::Cone(cone), DriverNumber::Vas) => cone.spread.vas,
                (Source::Cone(cone), _) => cone.spread.le,
                (Source::Curves(_), DriverNumber::Impedance) => IMPEDANCE,
                (Source::Curves(_), _) => LEVEL,
            },
        }
    }

    /// Turns it in a design by a deviation.
    pub fn turn(self, design: &mut Design, by: f64) {
        let ratio = by.exp();
        match self {
            Self::Part(at) => design.network.parts[at].value *= ratio,
            Self::Driver(way, number) => turn_driver(&mut design.ways[way].source, number, ratio),
            _ => {
                let Some(cabinet) = &mut design.cabinet else { return };
                match (self, &mut cabinet.opening) {
                    (Self::Volume, _) => cabinet.volume_m3 *= ratio,
                    (Self::Leak, _) => cabinet.losses.leakage += by,
                    (Self::Absorption, _) => cabinet.losses.absorption += by,
                    (Self::OpeningLoss, _) => cabinet.losses.opening += by,
                    (Self::PortLength, CabinetOpening::Port(port)) => port.length_m *= ratio,
                    (Self::Tuning, CabinetOpening::Vent { fb_hz }) => *fb_hz *= ratio,
                    (Self::Tuning, CabinetOpening::PassiveRadiator { fb_hz, fp_hz }) => {
                        // The radiator's own resonance stays below the tuning, whatever is tried.
                        *fb_hz = (*fb_hz * ratio).max(*fp_hz * LEAST_ABOVE);
                    }
                    (Self::RadiatorResonance, CabinetOpening::PassiveRadiator { fb_hz, fp_hz }) => {
                        *fp_hz = (*fp_hz * ratio).min(*fb_hz / LEAST_ABOVE);
                    }
                    _ => {}
                }
            }
        }
    }
}

/// A tuning lies at least so much above the radiator's own resonance.
const LEAST_ABOVE: f64 = 1.01;

fn has_inductance(coil: &VoiceCoil) -> bool {
    !matches!(coil, VoiceCoil::Inductance { le_h } if *le_h == 0.0)
}

fn of_driver(source: &Source, number: DriverNumber) -> f64 {
    match (source, number) {
        (Source::Cone(cone), DriverNumber::Re) => cone.model.re_ohm,
        (Source::Cone(cone), DriverNumber::Fs) => cone.model.fs_hz,
        (Source::Cone(cone), DriverNumber::Qms) => cone.model.qms,
        (Source::Cone(cone), DriverNumber::Qes) => cone.model.qes,
        (Source::Cone(cone), DriverNumber::Vas) => cone.vas_m3,
        (Source::Cone(cone), _) => {
            let omega = std::f64::consts::TAU * 1000.0;
            cone.model.voice_coil.impedance_ohm(omega).im / omega
        }
        (Source::Curves(curves), DriverNumber::Impedance) => curves.impedance_ratio,
        (Source::Curves(curves), _) => curves.gain_ratio,
    }
}

fn turn_driver(source: &mut Source, number: DriverNumber, ratio: f64) {
    match (source, number) {
        (Source::Cone(cone), DriverNumber::Re) => {
            // Q_es is of the motor: with more resistance there is less braking.
            cone.model.re_ohm *= ratio;
            cone.model.qes *= ratio;
        }
        (Source::Cone(cone), DriverNumber::Fs) => cone.model.fs_hz *= ratio,
        (Source::Cone(cone), DriverNumber::Qms) => cone.model.qms *= ratio,
        (Source::Cone(cone), DriverNumber::Qes) => cone.model.qes *= ratio,
        (Source::Cone(cone), DriverNumber::Vas) => cone.vas_m3 *= ratio,
        (Source::Cone(cone), _) => cone.model.voice_coil = scaled(cone.model.voice_coil, ratio),
        (Source::Curves(curves), DriverNumber::Impedance) => curves.impedance_ratio *= ratio,
        (Source::Curves(curves), _) => curves.gain_ratio *= ratio,
    }
}

fn scaled(coil: VoiceCoil, ratio: f64) -> VoiceCoil {
    match coil {
        VoiceCoil::Inductance { le_h } => VoiceCoil::Inductance { le_h: le_h * ratio },
        VoiceCoil::Ladder { le_h, l2_h, r2_ohm } => {
            VoiceCoil::Ladder { le_h: le_h * ratio, l2_h: l2_h * ratio, r2_ohm: r2_ohm * ratio }
        }
        VoiceCoil::SemiInductance { leb_h, le_h, ke_semih } => {
            VoiceCoil::SemiInductance { leb_h: leb_h * ratio, le_h: le_h * ratio, ke_semih: ke_semih * ratio }
        }
        VoiceCoil::PowerLaw { k, n } => VoiceCoil::PowerLaw { k: k * ratio, n },
    }
}
