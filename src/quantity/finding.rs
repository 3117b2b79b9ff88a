//! What was noticed about a measurement, and what to do about it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Something noticed: what, how bad, where, what to do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// Which kind.
    pub code: Code,
    /// How bad.
    pub severity: Severity,
    /// What was seen, with its numbers.
    pub says: String,
    /// What to do, in the imperative; empty where nothing needs doing.
    pub advice: String,
    /// Where it was seen.
    #[serde(default)]
    pub at: Whereabouts,
}

impl Finding {
    /// A finding about the whole of what was looked at.
    pub fn new(code: Code, severity: Severity, says: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { code, severity, says: says.into(), advice: advice.into(), at: Whereabouts::default() }
    }
}

/// The kinds of findings (fixed names).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)] // each is the word it is written as
pub enum Code {
    Clipped,
    TooQuiet,
    Noisy,
    Dropout,
    Truncated,
    ClockDrift,
    LevelDrift,
    Hum,
    DcOffset,
    Disturbed,
    WrongExcitation,
    ReversedPolarity,
    ChannelsSwapped,
    Processed,
    ReflectionInGate,
    GateTooShort,
    OutOfBand,
    SenseResistor,
    LeadResistance,
    InputGain,
    InputDelay,
    PoorFit,
    Leak,
    UnstableRepeat,
    UnitMismatch,
    Rubbing,
    NoResonance,
    LargeSignal,
    NotADriver,
    SmallShift,
    Implausible,
    Disagreement,
    UnknownNoise,
    LossesLumped,
    LowImpedance,
    PortNoise,
    IdlePart,
    Assumed,
    Incomplete,
    NearField,
    RoomDip,
    RoomPeak,
    FragileSetting,
    WrongSetting,
    Locatable,
    PeriodOff,
    MarksUnheard,
    OutOfDate,
    MissingFile,
    Unreadable,
    OlderProgram,
    Crosstalk,
}

impl std::fmt::Display for Code {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.serialize(f)
    }
}

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Good to know.
    Note,
    /// Usable with care.
    Caution,
    /// Don't trust this.
    Fault,
}

/// Where a finding was seen; what does not apply is absent.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Whereabouts {
    /// The channel, counted from 1.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub channel: Option<usize>,
    /// From and to, seconds of the recording.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub time_s: Option<[f64; 2]>,
    /// From and to, hertz.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub band_hz: Option<[f64; 2]>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_written_in_lower_case_with_hyphens() {
        assert_eq!(Code::ReflectionInGate.to_string(), "reflection-in-gate");
        assert_eq!(serde_json::to_string(&Code::DcOffset).unwrap(), "\"dc-offset\"");
    }
}
