//! Where a job stands, as a document, `boxwright/status/1`. Paths are relative to the job's folder.

use super::{InputFile, WrittenFile};
use crate::quantity::Finding;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

/// Name and version of this kind of document.
pub const STATUS_SCHEMA: &str = "boxwright/status/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StatusDocument {
    /// [`STATUS_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// What was read: the job's file; what the results came from is in each of them.
    pub inputs: Vec<InputFile>,
    /// There are none.
    pub settings: Map<String, Value>,
    /// What there is to say about the record, the worst first.
    pub findings: Vec<Finding>,
    /// Nothing is written.
    pub files: Vec<WrittenFile>,
    /// What people call the job.
    pub name: String,
    /// The job's folder, as given.
    pub folder: String,
    /// The loudspeakers that are to be built, by the job, and others that were captured.
    pub units: Vec<UnitStanding>,
    /// What was captured, by time.
    pub captures: Vec<CaptureStanding>,
    /// Recordings that have not their names: still being recorded, or broken off.
    pub unfinished: Vec<UnfinishedStanding>,
    /// What was found, by path.
    pub results: Vec<ResultStanding>,
    /// Commands that bring everything up to date, in this order.
    pub todo: Vec<CommandToRun>,
    /// What comes next, and needs a person.
    pub next: Vec<CommandToRun>,
}

/// A loudspeaker that was or is to be built.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct UnitStanding {
    /// Its name.
    pub name: String,
    /// Which of the job's loudspeakers it is one of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speaker: Option<String>,
    /// Its captures.
    pub captures: Vec<String>,
    /// The results that come from them alone.
    pub results: Vec<String>,
}

/// A capture.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CaptureStanding {
    /// The recording.
    pub path: String,
    /// `response` or `impedance`.
    pub kind: String,
    /// When it began.
    pub when: String,
    /// Which loudspeaker.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// At which stage of building, as it was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stage: Option<String>,
    /// Anything else.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Whether it was recorded to its end.
    pub complete: bool,
    /// The results that were made straight from it.
    pub results: Vec<String>,
    /// Other results that needed it, as those of a jig need the capture of a known resistor.
    pub used_by: Vec<String>,
}

/// A recording that has not its name.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct UnfinishedStanding {
    /// The recording as it is now.
    pub path: String,
    /// The name it is to have.
    pub name: String,
    /// `being-recorded`, `broken-off`, `unnamed` where all of it is there, or `empty`.
    pub state: String,
    /// How long it is.
    pub duration_s: f64,
    /// How many of its sweeps are whole for certain.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub whole_sweeps: Option<usize>,
    /// How many were to be played.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sweeps: Option<usize>,
    /// `response` or `impedance`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    /// When it began.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub when: Option<String>,
    /// Which loudspeaker.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// At which stage of building, as it was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stage: Option<String>,
    /// Anything else.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// What there is to say of it.
    pub says: String,
    /// What to do.
    pub advice: String,
}

/// A result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ResultStanding {
    /// Its document.
    pub path: String,
    /// Which kind of document: `response`, `driver` …
    pub kind: String,
    /// The command that made it, word by word.
    pub command: Vec<String>,
    /// Where that ran.
    pub run_in: String,
    /// The one loudspeaker that it tells of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// The latest stage of building that it tells of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stage: Option<String>,
    /// `current`, `out-of-date`, or `unknown` where nothing says how it was made.
    pub state: String,
    /// Why it is not current.
    pub because: Vec<String>,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How many of its findings are of each severity.
    pub findings: FindingCounts,
}

/// How many findings are of each severity.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[allow(missing_docs)] // the severities
pub struct FindingCounts {
    pub note: usize,
    pub caution: usize,
    pub fault: usize,
}

/// A command, where it runs, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct CommandToRun {
    /// Word by word, without the program's name.
    pub command: Vec<String>,
    /// The folder in which it runs.
    pub run_in: String,
    /// Why.
    pub says: String,
}
