//! Why a driver's parameters could not be had.

use crate::impedance::ImpedanceError;
use crate::quantity::Code;

/// Why a driver's parameters could not be had. A message that a finding's code belongs to begins with it.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum DriverError {
    #[error(transparent)]
    Curve(#[from] ImpedanceError),
    #[error("{what} of {found} with an uncertainty of {u}: it must be above zero")]
    NotAMeasure { what: &'static str, found: f64, u: f64 },
    #[error("the curves share no band: one ends at {ends_hz:.1} Hz, another begins at {begins_hz:.1} Hz")]
    NothingShared { ends_hz: f64, begins_hz: f64 },
    #[error("{found} points in the band, the smallest model wants {needed}")]
    TooFewPoints { found: usize, needed: usize },
    #[error("the curve has no phase")]
    WithoutPhase,
    #[error("{code}: {found_ohm:.3} ohm real part at {hz:.1} Hz, a loudspeaker has none below zero", code = Code::ChannelsSwapped)]
    NegativeResistance { hz: f64, found_ohm: f64 },
    #[error("{code}: |Z| rises towards low frequencies ({ohm:.1} ohm and {phase_deg:.0} degrees at {hz:.1} Hz), as \
             through a capacitor", code = Code::NotADriver)]
    Capacitor { hz: f64, phase_deg: f64, ohm: f64 },
    #[error("{code}: two resonances, at {first_hz:.1} and {second_hz:.1} Hz, where a driver in free air has one",
            code = Code::NotADriver)]
    SeveralResonances { first_hz: f64, second_hz: f64 },
    #[error("{code}: |Z| falls from its first point at {from_hz:.1} Hz on, the resonance lies below", code = Code::OutOfBand)]
    StartsAboveResonance { from_hz: f64 },
    #[error("{code}: no peak of |Z| between {from_hz:.1} and {to_hz:.1} Hz stands out by {needed_percent:.0} %",
            code = Code::NoResonance)]
    NoResonance { from_hz: f64, to_hz: f64, needed_percent: f64 },
    #[error("{code}: no model of a driver comes near this curve", code = Code::NotADriver)]
    NoFit,
}

impl DriverError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Curve(error) => error.advice(),
            Self::NotAMeasure { .. } => "give what you measured, in the unit that the option names",
            Self::NothingShared { .. } => "measure the units over one band",
            Self::TooFewPoints { .. } => "give a wider band or a curve with more points",
            Self::WithoutPhase => {
                "measure magnitude and phase; `boxwright impedance` gives both, and a table needs a third column in degrees"
            }
            Self::NegativeResistance { .. } => {
                "check that --drive is the channel before the sense resistor and --load the one across the loudspeaker, \
                 and that neither is reversed"
            }
            Self::Capacitor { .. } => {
                "measure at the driver's own terminals, without crossover or protection capacitor"
            }
            Self::SeveralResonances { .. } => {
                "take the driver out of its box and off its crossover, and hang it free; for the box itself there is boxwright box"
            }
            Self::StartsAboveResonance { .. } => {
                "start the sweep two octaves below the resonance; for a driver of treble at a level it bears there"
            }
            Self::NoResonance { .. } => {
                "check that the loudspeaker and not only a resistor is connected, and that the sweep covers its resonance"
            }
            Self::NoFit => "check what was connected, and limit the band to where the curve looks like a driver's",
        }
    }
}
