//! What stands behind the simulated card: a loudspeaker before a microphone, or the impedance jig.
//!
//! No equation: the physics is in [`bench`](mod@crate::bench). Both play what each output has and record two inputs.

use crate::bench::{Bench, BenchError, BenchSettings, Jig, JigSettings, JigTruth, Truth};
use crate::quantity::SampleRate;
use serde::Serialize;

/// What a simulated bench is set up from.
#[derive(Debug, Clone, PartialEq)]
pub enum SimulatedSettings {
    /// A loudspeaker before a microphone, and a loopback cable.
    Loudspeaker(Box<BenchSettings>),
    /// The impedance jig.
    Jig(Box<JigSettings>),
}

/// What a simulated bench knows of itself.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
#[allow(missing_docs)] // as `SimulatedSettings`
pub enum SimulatedTruth {
    Loudspeaker(Box<Truth>),
    Jig(Box<JigTruth>),
}

/// A bench, ready to record.
pub(super) enum Stand {
    Loudspeaker(Box<Bench>),
    Jig(Box<Jig>),
}

/// Satellite or jig, cable, subwoofer.
pub(super) const MOST_OUTPUTS: usize = 3;
const WITHOUT_SUBWOOFER: usize = 2;

impl SimulatedSettings {
    /// The bench at this rate, whatever its own settings say.
    pub(super) fn stand(&self, rate: SampleRate) -> Result<Stand, BenchError> {
        Ok(match self {
            Self::Loudspeaker(settings) => {
                Stand::Loudspeaker(Box::new(Bench::new(BenchSettings { rate, ..*settings.clone() })?))
            }
            Self::Jig(settings) => Stand::Jig(Box::new(Jig::new(JigSettings { rate, ..*settings.clone() })?)),
        })
    }

    /// How many outputs it has.
    pub(super) fn outputs(&self) -> usize {
        match self {
            Self::Loudspeaker(settings) if settings.subwoofer.is_some() => MOST_OUTPUTS,
            Self::Loudspeaker(_) | Self::Jig(_) => WITHOUT_SUBWOOFER,
        }
    }

    /// The rate in its own settings.
    pub(super) fn rate(&self) -> SampleRate {
        match self {
            Self::Loudspeaker(settings) => settings.rate,
            Self::Jig(settings) => settings.rate,
        }
    }
}

impl Stand {
    pub(super) fn frames_needed(&self, played_frames: usize) -> usize {
        match self {
            Self::Loudspeaker(bench) => bench.frames_needed(played_frames),
            Self::Jig(jig) => jig.frames_needed(played_frames),
        }
    }

    /// Both inputs, for what each output plays.
    pub(super) fn record(&self, outputs: [&[f64]; MOST_OUTPUTS], frames: usize) -> Vec<Vec<f64>> {
        match self {
            Self::Loudspeaker(bench) => bench.record_outputs(outputs, frames),
            Self::Jig(jig) => jig.record(outputs[0], frames),
        }
    }

    pub(super) fn latency_s(&self) -> f64 {
        match self {
            Self::Loudspeaker(bench) => bench.settings().interface.latency_s,
            Self::Jig(jig) => jig.settings().recorder.latency_s,
        }
    }

    pub(super) fn drift_ppm(&self) -> f64 {
        match self {
            Self::Loudspeaker(bench) => bench.settings().interface.drift_ppm,
            Self::Jig(jig) => jig.settings().recorder.drift_ppm,
        }
    }

    pub(super) fn truth(&self, hz: &[f64], level_dbfs: f64, duration_s: f64) -> SimulatedTruth {
        match self {
            Self::Loudspeaker(bench) => SimulatedTruth::Loudspeaker(Box::new(bench.truth(hz, level_dbfs))),
            Self::Jig(jig) => SimulatedTruth::Jig(Box::new(jig.truth(hz, level_dbfs, duration_s))),
        }
    }
}
