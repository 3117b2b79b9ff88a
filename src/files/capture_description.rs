//! What lies beside the WAV of a capture: what was played, when, through what, and how the recording went.
//!
//! `NAME.toml` beside `NAME.wav`. What is not known is left out. Channels count from 1.

use super::FileError;
use super::document::{parse, read_document, value};
use crate::quantity::SampleRate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// Name and version of this kind of document.
pub const CAPTURE_SCHEMA: &str = "boxwright/capture/1";

/// The description of a capture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CaptureDescription {
    /// [`CAPTURE_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// What it was made for.
    pub kind: CaptureKind,
    /// When it began, as RFC 3339 writes it.
    pub when: String,
    /// Which loudspeaker.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub unit: Option<String>,
    /// At which stage of building.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub stage: Option<String>,
    /// Anything else.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
    /// What a simulated bench knows of itself: a file, relative to this one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub truth: Option<PathBuf>,
    /// What was played.
    pub excitation: Played,
    /// Through what.
    #[serde(default)]
    pub bench: BenchUsed,
    /// How the recording went.
    pub stream: Stream,
}

/// What a capture is made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CaptureKind {
    /// Sound pressure.
    Response,
    /// Voltage before and after a sense resistor.
    Impedance,
}

/// The file that was played.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Played {
    /// Relative to the capture.
    pub path: PathBuf,
    /// Its SHA-256.
    pub sha256: String,
}

/// The chain a capture went through.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct BenchUsed {
    /// Device that played.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub output: Option<String>,
    /// Device that recorded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub input: Option<String>,
    /// Frames a second.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate_hz: Option<u32>,
    /// Channels that played.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub output_channels: Vec<usize>,
    /// Channel that played the time marks, and only it; absent where they sounded from the same ones as the rest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub marks_output: Option<usize>,
    /// Channel of the recording that holds the reply.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reply_channel: Option<usize>,
    /// Channel of the recording that holds the loopback.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference_channel: Option<usize>,
    /// Peak level of what was played.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_dbfs: Option<f64>,
    /// The microphone's table, relative to this file where it lies in the job's folder.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mic: Option<PathBuf>,
    /// What 94 dB SPL give in the recording.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mic_sensitivity_dbfs_at_94db: Option<f64>,
    /// From loudspeaker to microphone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance_m: Option<f64>,
    /// Channel of the recording with the voltage before the sense resistor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drive_channel: Option<usize>,
    /// Channel of the recording with the voltage across the load.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub load_channel: Option<usize>,
    /// Sense resistor of the impedance jig.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sense_ohm: Option<f64>,
    /// How far the gains of the jig's two inputs may lie apart, dB.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gain_limit_db: Option<f64>,
    /// Peak voltage at the inputs that a sample value of 1 stands for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub input_full_scale_v: Option<f64>,
}

/// How the recording went.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Stream {
    /// Frames recorded; 0 where it broke off before they were counted, and the WAV alone knows.
    pub frames: u64,
    /// How long it took by the computer's clock.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub wall_clock_s: Option<f64>,
    /// Times the output ran dry or the device said it lost samples.
    #[serde(default)]
    pub dropouts: u64,
    /// Times the disk did not keep up.
    #[serde(default)]
    pub overruns: u64,
    /// Other errors the device reported.
    #[serde(default)]
    pub other_errors: u64,
    /// How it came to its end.
    pub ended: Ended,
    /// What else the sound card's side said of it.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub remarks: Vec<String>,
}

/// How a recording came to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Ended {
    /// Everything was played and recorded.
    Complete,
    /// Somebody stopped it.
    Stopped,
    /// The device vanished.
    DeviceLost,
    /// The program was ended, or the disk took no more, before the recording was whole. This is written before the first sound, and
    /// stays where nothing replaces it.
    BrokenOff,
}

impl CaptureDescription {
    /// The text of the file that will be at `path`.
    ///
    /// # Errors
    /// [`FileError::NotWritable`] when a path in it is no Unicode text, or a count beyond 2⁶³.
    pub fn text(&self, path: &Path) -> Result<String, FileError> {
        toml::to_string(self).map_err(|error| FileError::NotWritable { path: path.into(), says: error.to_string() })
    }

    fn check(self, text: &str, path: &Path) -> Result<Self, FileError> {
        let refuse = |key: &str, found: String, needed: &str| Err(value(path, text, key, found, needed));
        if self.schema != CAPTURE_SCHEMA {
            return refuse("schema", format!("{:?}", self.schema), CAPTURE_SCHEMA);
        }
        if self.when.parse::<jiff::Timestamp>().is_err() {
            return refuse("when", format!("{:?}", self.when), "a time such as 2026-01-31T18:05:00+01:00");
        }
        let bench = &self.bench;
        if let Some(Err(error)) = bench.rate_hz.map(SampleRate::new) {
            return refuse("bench.rate_hz", error.to_string(), "a sample rate");
        }
        let mut channels = bench.output_channels.iter().copied().map(|channel| ("bench.output_channels", channel));
        let others = [
            ("bench.marks_output", bench.marks_output),
            ("bench.reply_channel", bench.reply_channel),
            ("bench.reference_channel", bench.reference_channel),
            ("bench.drive_channel", bench.drive_channel),
            ("bench.load_channel", bench.load_channel),
        ];
        let mut others = others.into_iter().filter_map(|(key, channel)| Some((key, channel?)));
        if let Some((key, _)) = channels.find(|(_, channel)| *channel == 0).or_else(|| others.find(|(_, c)| *c == 0)) {
            return refuse(key, "0".into(), "1 or more, channels count from 1");
        }
        if let Some(level_dbfs) = bench.level_dbfs.filter(|&level_dbfs| level_dbfs > 0.0) {
            return refuse("bench.level_dbfs", level_dbfs.to_string(), "no more than 0");
        }
        let sizes = [
            ("bench.distance_m", bench.distance_m),
            ("bench.sense_ohm", bench.sense_ohm),
            ("bench.input_full_scale_v", bench.input_full_scale_v),
        ];
        if let Some((key, found)) =
            sizes.into_iter().find_map(|(key, size)| Some((key, size.filter(|&size| size <= 0.0)?)))
        {
            return refuse(key, found.to_string(), "more than 0");
        }
        if let Some(db) = bench.gain_limit_db.filter(|&db| db < 0.0) {
            return refuse("bench.gain_limit_db", db.to_string(), "0 or more");
        }
        if let Some(time_s) = self.stream.wall_clock_s.filter(|&time_s| time_s < 0.0) {
            return refuse("stream.wall_clock_s", time_s.to_string(), "no time before 0");
        }
        Ok(self)
    }
}

/// The description beside a capture's WAV.
///
/// # Errors
/// [`FileError::Document`], `UnknownName` or `Value` with the line at fault; `Io`, `NotText`, `TooLarge`.
pub fn read_capture_description(path: &Path) -> Result<CaptureDescription, FileError> {
    let (description, text) = read_document::<CaptureDescription>(path)?;
    description.check(&text, path)
}

/// The same from a text; `path` is only its name in messages.
///
/// # Errors
/// As [`read_capture_description`], but never `Io`.
pub fn capture_description_from(text: &str, path: &Path) -> Result<CaptureDescription, FileError> {
    parse::<CaptureDescription>(text, path)?.check(text, path)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(bench: &str) -> Result<CaptureDescription, FileError> {
        let text = format!(
            "schema = \"{CAPTURE_SCHEMA}\"\nmade_by = \"x\"\nkind = \"impedance\"\nwhen = \"2026-01-31T18:05:00+01:00\"\n\
             [excitation]\npath = \"a.wav\"\nsha256 = \"0\"\n[bench]\n{bench}\n[stream]\nframes = 1\nended = \"complete\"\n"
        );
        capture_description_from(&text, Path::new("a.toml"))
    }

    #[test]
    fn a_jig_without_sense_is_refused_by_key() {
        let good = read("drive_channel = 1\nload_channel = 2\nsense_ohm = 10.0\ninput_full_scale_v = 5.0").unwrap();
        assert_eq!((good.bench.load_channel, good.bench.sense_ohm), (Some(2), Some(10.0)));
        for wrong in [
            "marks_output = 0",
            "drive_channel = 0",
            "load_channel = 0",
            "sense_ohm = 0.0",
            "input_full_scale_v = -1.0",
        ] {
            let key = wrong.split(' ').next().unwrap();
            let says = read(wrong).unwrap_err().to_string();
            assert!(says.contains(&format!("bench.{key}")), "{says}");
        }
    }
}
