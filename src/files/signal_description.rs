//! What lies beside the WAV of an excitation: how it was made, and what lies where in it.
//!
//! `NAME.toml` beside `NAME.wav`. Frames count from 0, frequencies are in hertz, times in seconds.

use super::FileError;
use super::document::{parse, read_document, value};
use crate::quantity::SampleRate;
use crate::signal::{Excitation, Kind, Plan, SweepPlan};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Name and version of this kind of document.
pub const SIGNAL_SCHEMA: &str = "boxwright/signal/1";

/// The description of an excitation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SignalDescription {
    /// [`SIGNAL_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// Which kind of signal.
    pub kind: SignalKind,
    /// Frames a second.
    pub rate_hz: u32,
    /// Peak level.
    pub level_dbfs: f64,
    /// SHA-256 of the WAV.
    pub sha256: String,
    /// What people should know of it.
    #[serde(default)]
    pub says: String,
    /// The command that makes it again.
    #[serde(default)]
    pub command: String,
    /// The band at full level.
    pub band: Band,
    /// What lies where.
    pub layout: Layout,
    /// What only a sweep has.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sweep: Option<SweepTable>,
    /// Every setting it was made from.
    #[serde(default)]
    #[schemars(with = "serde_json::Map<String, serde_json::Value>")]
    pub settings: toml::Table,
}

/// The kinds of signals, as they are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)] // as in `signal::Kind`
pub enum SignalKind {
    Sweep,
    Pink,
    Tone,
    Burst,
    /// Any other known signal.
    Other,
}

/// From one frequency to another.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)]
pub struct Band {
    pub from_hz: f64,
    pub to_hz: f64,
}

/// What lies where, in frames.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Layout {
    /// Frames of the whole file.
    pub total_frames: usize,
    /// First frame of each repeat.
    pub starts: Vec<usize>,
    /// Frames of one repeat.
    pub frames: usize,
    /// First frame of each time mark: none, or two.
    #[serde(default)]
    pub mark_starts: Vec<usize>,
    /// Frames of one mark.
    #[serde(default)]
    pub mark_frames: usize,
}

/// What only a sweep has.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SweepTable {
    /// L, the time in which the frequency grows by e.
    pub rate_constant_s: f64,
    /// Nothing is played below this.
    pub played_from_hz: f64,
    /// Nothing is played above this.
    pub played_to_hz: f64,
}

impl From<Kind> for SignalKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Sweep => Self::Sweep,
            Kind::Pink => Self::Pink,
            Kind::Tone => Self::Tone,
            Kind::Burst => Self::Burst,
            Kind::Other => Self::Other,
        }
    }
}

impl From<SignalKind> for Kind {
    fn from(kind: SignalKind) -> Self {
        match kind {
            SignalKind::Sweep => Self::Sweep,
            SignalKind::Pink => Self::Pink,
            SignalKind::Tone => Self::Tone,
            SignalKind::Burst => Self::Burst,
            SignalKind::Other => Self::Other,
        }
    }
}

impl SignalDescription {
    /// The description of an excitation whose WAV has this checksum; `command` and `settings` are left to fill in.
    pub fn of(excitation: &Excitation, sha256: &str) -> Self {
        let plan = &excitation.plan;
        Self {
            schema: SIGNAL_SCHEMA.into(),
            made_by: crate::MADE_BY.into(),
            kind: plan.kind.into(),
            rate_hz: excitation.rate.whole_hz(),
            level_dbfs: plan.level_dbfs,
            sha256: sha256.into(),
            says: says(plan),
            command: String::new(),
            band: Band { from_hz: plan.band_hz[0], to_hz: plan.band_hz[1] },
            layout: Layout {
                total_frames: excitation.samples.len(),
                starts: plan.starts.clone(),
                frames: plan.frames,
                mark_starts: plan.mark_starts.clone(),
                mark_frames: plan.mark_frames,
            },
            sweep: plan.sweep.map(|sweep| SweepTable {
                rate_constant_s: sweep.rate_constant_s,
                played_from_hz: sweep.played_hz[0],
                played_to_hz: sweep.played_hz[1],
            }),
            settings: toml::Table::new(),
        }
    }

    /// The plan it describes.
    pub fn plan(&self) -> Plan {
        Plan {
            kind: self.kind.into(),
            level_dbfs: self.level_dbfs,
            band_hz: [self.band.from_hz, self.band.to_hz],
            starts: self.layout.starts.clone(),
            frames: self.layout.frames,
            mark_starts: self.layout.mark_starts.clone(),
            mark_frames: self.layout.mark_frames,
            sweep: self.sweep.map(|sweep| SweepPlan {
                rate_constant_s: sweep.rate_constant_s,
                played_hz: [sweep.played_from_hz, sweep.played_to_hz],
            }),
        }
    }

    /// The text of the file.
    pub fn text(&self) -> String {
        toml::to_string(self).expect("text, numbers and tables can be written as TOML")
    }

    fn check(self, text: &str, path: &Path) -> Result<Self, FileError> {
        let refuse = |key: &str, found: String, needed: &str| Err(value(path, text, key, found, needed));
        if self.schema != SIGNAL_SCHEMA {
            return refuse("schema", format!("{:?}", self.schema), SIGNAL_SCHEMA);
        }
        if let Err(error) = SampleRate::new(self.rate_hz) {
            return refuse("rate_hz", self.rate_hz.to_string(), &format!("a sample rate ({error})"));
        }
        if self.level_dbfs > 0.0 {
            return refuse("level_dbfs", self.level_dbfs.to_string(), "no more than 0");
        }
        if !(self.band.from_hz >= 0.0 && self.band.from_hz <= self.band.to_hz) {
            return refuse("band.from_hz", self.band.from_hz.to_string(), "a frequency not above to_hz");
        }
        if (self.kind == SignalKind::Sweep) != self.sweep.is_some() {
            return refuse("kind", format!("{:?}", self.kind), "a table [sweep] for a sweep, and for nothing else");
        }
        if let Some(sweep) = self.sweep.filter(|sweep| !sweep.is_sound()) {
            let found = format!("{} s from {} Hz", sweep.rate_constant_s, sweep.played_from_hz);
            return refuse("sweep.rate_constant_s", found, "a time above zero, and frequencies that rise");
        }
        match self.layout.fault() {
            Some((key, found, needed)) => refuse(key, found, needed),
            None => Ok(self),
        }
    }
}

impl SweepTable {
    fn is_sound(&self) -> bool {
        self.rate_constant_s > 0.0 && self.played_from_hz > 0.0 && self.played_to_hz > self.played_from_hz
    }
}

impl Layout {
    /// The first key whose value does not fit with the others.
    fn fault(&self) -> Option<(&'static str, String, &'static str)> {
        let fits = |starts: &[usize], frames: usize| {
            let ends = starts.iter().map(|start| start.checked_add(frames));
            let next = starts.iter().skip(1).copied().chain([self.total_frames]);
            ends.zip(next).all(|(end, next)| end.is_some_and(|end| end <= next))
        };
        if self.starts.is_empty() || self.frames == 0 || !fits(&self.starts, self.frames) {
            return Some((
                "layout.starts",
                format!("{:?} of {} frames", self.starts, self.frames),
                "repeats one after another within total_frames",
            ));
        }
        let marks = self.mark_starts.len();
        let count_fits = if self.mark_frames == 0 { marks == 0 } else { marks == 2 };
        if !count_fits || !fits(&self.mark_starts, self.mark_frames) {
            return Some((
                "layout.mark_starts",
                format!("{:?} of {} frames", self.mark_starts, self.mark_frames),
                "no mark, or two within total_frames",
            ));
        }
        None
    }
}

/// What people should know of a signal before they play it.
fn says(plan: &Plan) -> String {
    let hz = super::frequency_text;
    match plan.sweep {
        Some(sweep) => {
            let [from_hz, to_hz] = sweep.played_hz;
            let marks = if plan.mark_frames > 0 { ", the time marks included" } else { "" };
            format!("nothing is played below {} or above {}{marks}", hz(from_hz), hz(to_hz))
        }
        None if plan.band_hz[0] == plan.band_hz[1] => format!("a tone of {}", hz(plan.band_hz[0])),
        None => format!("its energy lies between {} and {}", hz(plan.band_hz[0]), hz(plan.band_hz[1])),
    }
}

/// The description beside a signal's WAV.
///
/// # Errors
/// [`FileError::Document`], `UnknownName` or `Value` with the line at fault; `Io`, `NotText`, `TooLarge`.
pub fn read_signal_description(path: &Path) -> Result<SignalDescription, FileError> {
    let (description, text) = read_document::<SignalDescription>(path)?;
    description.check(&text, path)
}

/// The same from a text; `path` is only its name in messages.
///
/// # Errors
/// As [`read_signal_description`], but never `Io`.
pub fn signal_description_from(text: &str, path: &Path) -> Result<SignalDescription, FileError> {
    parse::<SignalDescription>(text, path)?.check(text, path)
}
