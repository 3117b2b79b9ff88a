//! What can be the matter with a loudspeaker, or with its measurement.
//!
//! Each cause has two standard deviations: the usual one of every healthy build, and a wide one, which it gets when it is
//! blamed. Those of a loudspeaker's own numbers are in `speaker/knob.rs`; the wide ones here are common practice: values
//! misread by a decade among parts, half or twice a volume, a rear seam that was not glued.

use crate::network::Condition;
use crate::speaker::{Design, DriverNumber, Knob, Source};

/// A thing that can be blamed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cause {
    /// A number of the design turned out otherwise.
    Number(Knob),
    /// The measured level is off as a whole.
    Level,
    /// The microphone stood elsewhere.
    Distance,
    /// The sense resistor of the jig is another one than was said.
    SenseResistor,
    /// A way is connected the wrong way round.
    Polarity(usize),
    /// Two ways hang where the other one belongs.
    Swapped(usize, usize),
    /// A part is broken, or as good as a wire.
    Broken(usize, Condition),
}

/// What is known beforehand of a cause with a number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Prior {
    /// Standard deviation in a healthy build.
    pub usual: f64,
    /// Standard deviation when it is blamed.
    pub blamed: f64,
}

/// What naming a cause costs, on the scale of χ²: twice the logarithm of how seldom it is, among some thirty others (ours;
/// what it takes that fewer than 2 of 100 healthy builds are accused: `examples/explain_table.rs`).
const COST: f64 = 10.0;
const SELDOM_COST: f64 = 12.0;

impl Cause {
    /// Everything that can be blamed in a design; `calibrated`: whether the measured level is absolute; `jig`: whether an
    /// impedance was measured.
    pub(super) fn all(design: &Design, calibrated: bool, jig: bool, sound: bool) -> Vec<Self> {
        let mut causes: Vec<Self> = Knob::all(design).into_iter().map(Self::Number).collect();
        if calibrated {
            causes.extend([Self::Level, Self::Distance]);
        }
        if jig {
            causes.push(Self::SenseResistor);
        }
        let parts = 0..design.network.parts.len();
        causes.extend(
            parts.flat_map(|part| [Condition::Open, Condition::Shorted].map(|state| Self::Broken(part, state))),
        );
        let ways = design.ways.len();
        if sound {
            causes.extend((0..ways).map(Self::Polarity));
        }
        for one in 0..ways {
            causes.extend((one + 1..ways).map(|other| Self::Swapped(one, other)));
        }
        causes
    }

    /// The job's own name of the thing.
    pub fn name(self, design: &Design) -> String {
        match self {
            Self::Number(knob) => knob.name(design),
            Self::Level => "level".into(),
            Self::Distance => "distance".into(),
            Self::SenseResistor => "sense-ohm".into(),
            Self::Polarity(way) => format!("polarity {}", design.ways[way].name),
            Self::Swapped(..) => "swapped-ways".into(),
            Self::Broken(part, _) => design.network.parts[part].name.clone(),
        }
    }

    /// What naming it costs.
    pub(super) fn cost(self) -> f64 {
        match self {
            Self::Number(Knob::Driver(..) | Knob::OpeningLoss | Knob::RadiatorResonance) => SELDOM_COST,
            Self::Broken(..) | Self::Swapped(..) | Self::Distance | Self::SenseResistor => SELDOM_COST,
            Self::Number(_) | Self::Level | Self::Polarity(_) => COST,
        }
    }

    /// Deviations to try first.
    pub(super) fn tries(self) -> Vec<f64> {
        let both = |sizes: &[f64]| sizes.iter().flat_map(|size| [-size, *size]).collect();
        match self {
            Self::Number(Knob::Part(_)) => both(&[0.15, 0.35, 0.7, 1.4, 2.3]),
            Self::Number(Knob::Leak | Knob::Absorption | Knob::OpeningLoss) => vec![0.04, 0.1, 0.2, 0.4, 0.8],
            Self::Number(Knob::Driver(_, DriverNumber::Fs) | Knob::Tuning | Knob::RadiatorResonance) => {
                both(&[0.1, 0.2, 0.4])
            }
            Self::Number(_) => both(&[0.12, 0.3, 0.6]),
            Self::Level => both(&[1.5, 3.0, 6.0, 12.0]),
            Self::Distance => both(&[0.15, 0.35, 0.7]),
            Self::SenseResistor => both(&[0.08, 0.2, 0.7, 2.3]),
            Self::Polarity(_) | Self::Swapped(..) | Self::Broken(..) => vec![1.0],
        }
    }

    /// Its two standard deviations; none where it is there or not.
    pub(super) fn prior(self, design: &Design, calibrated: bool) -> Option<Prior> {
        let of = |usual, blamed| Some(Prior { usual, blamed });
        match self {
            Self::Number(knob) => of(knob.spread(design), wide(knob, design)),
            // Without calibration any level is a usual one.
            Self::Level => of(if calibrated { LEVEL_DB } else { ANY_LEVEL_DB }, 6.0),
            Self::Distance => of(TAPE, 0.4),
            Self::SenseResistor => of(SENSE, 0.5),
            Self::Polarity(_) | Self::Swapped(..) | Self::Broken(..) => None,
        }
    }
}

/// A calibrated microphone and a voltmeter.
const LEVEL_DB: f64 = 0.5;
const ANY_LEVEL_DB: f64 = 40.0;
/// A tape measure along half a metre.
const TAPE: f64 = 0.01;
/// A resistor of 1 %.
const SENSE: f64 = 0.005;

fn wide(knob: Knob, design: &Design) -> f64 {
    match knob {
        Knob::Volume | Knob::PortLength => 0.3,
        Knob::Leak | Knob::Absorption | Knob::OpeningLoss => 0.3,
        Knob::Tuning | Knob::RadiatorResonance => 0.2,
        Knob::Part(_) => 0.7,
        Knob::Driver(way, number) => match (&design.ways[way].source, number) {
            (_, DriverNumber::Fs) => 0.2,
            (_, DriverNumber::Qms | DriverNumber::Le) => 0.5,
            (Source::Curves(_), _) => 0.4,
            _ => 0.3,
        },
    }
}
