//! `job.toml`: what a job knows of its bench and its loudspeakers.
//!
//! All its tables, each number checked by itself; what refers to what is checked by who uses it (`job/design.rs`). Relative paths in it are relative to the job's folder.

use super::document::{parse, read_document, value};
use super::{FileError, JobBaffle, JobBox, JobDriver, JobNetwork, JobSpeaker, JobUnit};
use crate::quantity::SampleRate;
use schemars::JsonSchema;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A job as its file describes it.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Job {
    /// Its name and surroundings.
    pub job: JobTable,
    /// The chain it is measured with.
    pub bench: JobBench,
    /// The drivers by name.
    pub driver: BTreeMap<String, JobDriver>,
    /// The boxes by name.
    #[serde(rename = "box")]
    pub enclosure: BTreeMap<String, JobBox>,
    /// The fronts by name.
    pub baffle: BTreeMap<String, JobBaffle>,
    /// The networks by name.
    pub network: BTreeMap<String, JobNetwork>,
    /// The loudspeakers by name.
    pub speaker: BTreeMap<String, JobSpeaker>,
    /// The loudspeakers that were built, by name.
    pub unit: BTreeMap<String, JobUnit>,
    /// What counts as good enough.
    pub limits: JobLimits,
}

/// `[job]`.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct JobTable {
    /// What people call it.
    pub name: Option<String>,
    /// Of the air.
    pub temperature_c: Option<f64>,
}

/// `[bench]`: the chain; what is absent has to come from the command line or a default.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct JobBench {
    /// Device that plays.
    pub output: Option<String>,
    /// Device that records.
    pub input: Option<String>,
    /// Channels that play, counted from 1.
    pub output_channels: Option<Vec<usize>>,
    /// Channel from which the time marks sound, and only they, counted from 1.
    pub marks_output: Option<usize>,
    /// Channel with the reply, counted from 1.
    pub reply_channel: Option<usize>,
    /// Channel with the loopback, counted from 1.
    pub reference_channel: Option<usize>,
    /// Channel with the voltage before the sense resistor of the impedance jig, counted from 1.
    pub drive_channel: Option<usize>,
    /// Channel with the voltage across the load, counted from 1.
    pub load_channel: Option<usize>,
    /// Sense resistor of the impedance jig.
    pub sense_ohm: Option<f64>,
    /// How far the gains of the jig's two inputs may lie apart, dB.
    pub gain_limit_db: Option<f64>,
    /// Peak voltage at the inputs that a sample value of 1 stands for.
    pub input_full_scale_v: Option<f64>,
    /// The microphone's table.
    pub mic: Option<PathBuf>,
    /// What 94 dB SPL give in the recording.
    pub mic_sensitivity_dbfs_at_94db: Option<f64>,
    /// From loudspeaker to microphone.
    pub distance_m: Option<f64>,
    /// Frames a second.
    pub rate_hz: Option<u32>,
    /// Peak level of what is played.
    pub level_dbfs: Option<f64>,
}

/// `[limits]`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct JobLimits {
    /// How far two units may differ, dB.
    pub pair_db: Option<f64>,
    /// How far a unit may be from the design, dB.
    pub against_design_db: Option<f64>,
    /// Where limits hold.
    pub band_hz: Option<[f64; 2]>,
}

/// The file that `path` stands for: itself, or the `job.toml` of a folder.
pub fn job_path(path: &Path) -> PathBuf {
    if path.is_dir() { path.join("job.toml") } else { path.to_owned() }
}

/// The job in `path`, or in the `job.toml` of the folder `path`.
///
/// # Errors
/// [`FileError::Document`], `UnknownName` (with the nearest right name) or `Value`, with the line at fault; `Io`,
/// `NotText`, `TooLarge`.
pub fn read_job(path: &Path) -> Result<Job, FileError> {
    let path = job_path(path);
    let (job, text) = read_document::<Job>(&path)?;
    job.check(&text, &path)
}

/// The same from a text; `path` is only its name in messages.
///
/// # Errors
/// As [`read_job`], but never `Io`.
pub fn job_from(text: &str, path: &Path) -> Result<Job, FileError> {
    parse::<Job>(text, path)?.check(text, path)
}

/// Air that people can work in, generously.
const TEMPERATURES_C: std::ops::RangeInclusive<f64> = -40.0..=60.0;

impl Job {
    /// The first table with a value that can't be used: its name, and what is wrong.
    fn table_fault(&self) -> Option<(String, (&'static str, String, String))> {
        let named = |kind: &str, name: &String| format!("{kind}.{name}");
        let drivers = self.driver.iter().map(|(name, table)| (named("driver", name), table.fault()));
        let boxes = self.enclosure.iter().map(|(name, table)| (named("box", name), table.fault()));
        let baffles = self.baffle.iter().map(|(name, table)| (named("baffle", name), table.fault()));
        let networks = self.network.iter().map(|(name, table)| (named("network", name), table.fault()));
        let speakers = self.speaker.iter().map(|(name, table)| (named("speaker", name), table.fault()));
        let all = drivers.chain(boxes).chain(baffles).chain(networks).chain(speakers);
        all.into_iter().find_map(|(table, fault)| Some((table, fault?)))
    }

    fn check(self, text: &str, path: &Path) -> Result<Self, FileError> {
        if let Some(found) = self.job.temperature_c.filter(|found| !TEMPERATURES_C.contains(found)) {
            return Err(value(path, text, "job.temperature_c", found.to_string(), "-40 to 60"));
        }
        if let Some((table, (key, found, needed))) = self.table_fault() {
            return Err(value(path, text, &format!("{table}.{key}"), found, &needed));
        }
        match self.bench.fault().or_else(|| self.limits.fault()) {
            Some((key, found, needed)) => Err(value(path, text, key, found, &needed)),
            None => Ok(self),
        }
    }
}

impl JobLimits {
    /// The first key whose value can't be used.
    fn fault(&self) -> Option<(&'static str, String, String)> {
        let limits = [("limits.pair_db", self.pair_db), ("limits.against_design_db", self.against_design_db)];
        let not_above = limits.into_iter().find_map(|(key, limit)| Some((key, limit.filter(|db| *db <= 0.0)?)));
        if let Some((key, found)) = not_above {
            return Some((key, found.to_string(), "more than 0".into()));
        }
        let band = self.band_hz.filter(|[from_hz, to_hz]| !(0.0 <= *from_hz && from_hz < to_hz))?;
        Some(("limits.band_hz", format!("{band:?}"), "a band that rises".into()))
    }
}

impl JobBench {
    /// The first key whose value can't be used.
    fn fault(&self) -> Option<(&'static str, String, String)> {
        self.channel_fault().or_else(|| self.number_fault())
    }

    fn channel_fault(&self) -> Option<(&'static str, String, String)> {
        let from_1 = || "1 or more, channels count from 1".to_owned();
        if let Some(channels) = self.output_channels.as_ref().filter(|list| list.is_empty() || list.contains(&0)) {
            return Some(("bench.output_channels", format!("{channels:?}"), format!("a list of {}", from_1())));
        }
        if self.marks_output == Some(0) {
            return Some(("bench.marks_output", "0".into(), from_1()));
        }
        if self.reply_channel == Some(0) {
            return Some(("bench.reply_channel", "0".into(), from_1()));
        }
        if self.reference_channel == Some(0) {
            return Some(("bench.reference_channel", "0".into(), from_1()));
        }
        match (self.reply_channel, self.reference_channel) {
            (Some(reply), Some(reference)) if reply == reference => Some((
                "bench.reference_channel",
                reference.to_string(),
                "another channel than reply_channel; leave it out if there is no loopback".into(),
            )),
            _ => None,
        }
    }

    fn number_fault(&self) -> Option<(&'static str, String, String)> {
        let not_above_zero = |number: Option<f64>| number.filter(|&number| number <= 0.0);
        if let Some(found) = not_above_zero(self.sense_ohm) {
            return Some(("bench.sense_ohm", found.to_string(), "more than 0".into()));
        }
        if let Some(found) = self.gain_limit_db.filter(|&db| db < 0.0) {
            return Some(("bench.gain_limit_db", found.to_string(), "0 or more".into()));
        }
        if let Some(found) = not_above_zero(self.distance_m) {
            return Some(("bench.distance_m", found.to_string(), "more than 0".into()));
        }
        if let Some(found) = self.level_dbfs.filter(|&level_dbfs| level_dbfs > 0.0) {
            return Some(("bench.level_dbfs", found.to_string(), "no more than 0".into()));
        }
        let rate_error = self.rate_hz.and_then(|rate_hz| SampleRate::new(rate_hz).err().map(|_| rate_hz));
        rate_error.map(|found| ("bench.rate_hz", found.to_string(), "a rate that sound cards have".into()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(text: &str) -> String {
        job_from(text, Path::new("job.toml")).unwrap_err().to_string()
    }

    #[test]
    fn a_job_with_all_its_tables_is_read() {
        let text = r#"
            [job]
            name = "rear pair"
            temperature_c = 21
            [bench]
            output = "card, 1"
            reply_channel = 1
            reference_channel = 2
            output_channels = [1, 2]
            marks_output = 3
            sense_ohm = 10.0
            mic = "mic.txt"
            mic_sensitivity_dbfs_at_94db = -31.2
            distance_m = 0.5
            [driver.mid]
            re_ohm = 3.4
            [box.rear]
            kind = "closed"
            [limits]
            pair_db = 1.0
        "#;
        let job = job_from(text, Path::new("job.toml")).unwrap();
        assert_eq!(job.job, JobTable { name: Some("rear pair".into()), temperature_c: Some(21.0) });
        let expected = JobBench {
            output: Some("card, 1".into()),
            output_channels: Some(vec![1, 2]),
            marks_output: Some(3),
            reply_channel: Some(1),
            reference_channel: Some(2),
            sense_ohm: Some(10.0),
            mic: Some("mic.txt".into()),
            mic_sensitivity_dbfs_at_94db: Some(-31.2),
            distance_m: Some(0.5),
            ..JobBench::default()
        };
        assert_eq!(job.bench, expected);
        assert_eq!(job.driver["mid"].re_ohm, Some(3.4));
        assert_eq!(job.enclosure["rear"].kind.as_deref(), Some("closed"));
        assert!(job.limits.pair_db == Some(1.0) && job.speaker.is_empty());
    }

    #[test]
    fn what_is_wrong_in_a_job_is_shown_with_its_place_and_the_right_name() {
        for (text, expected) in [
            ("[job]\n[bnech]\n", "job.toml: line 2, column 2: \"bnech\" is not known here, did you mean \"bench\"?"),
            (
                "[bench]\n  replay_channel = 1\n",
                "job.toml: line 2, column 3: \"replay_channel\" is not known here, did you mean \"reply_channel\"?",
            ),
            ("[bench]\nzzz = 1\n", "job.toml: line 2, column 1: \"zzz\" is not known here"),
            (
                "[bench]\nreply_channel = 0\n",
                "job.toml: line 2: bench.reply_channel is 0, needed 1 or more, channels count from 1",
            ),
            (
                "[bench]\nmarks_output = 0\n",
                "job.toml: line 2: bench.marks_output is 0, needed 1 or more, channels count from 1",
            ),
            (
                "[job]\n\n[bench]\ndistance_m = nan\n",
                "job.toml: line 4: bench.distance_m is NaN, needed a finite number",
            ),
            ("[driver.a]\nfs_hz = inf\n", "job.toml: line 2: driver.a.fs_hz is inf, needed a finite number"),
            ("[bench]\nlevel_dbfs = 3\n", "job.toml: line 2: bench.level_dbfs is 3, needed no more than 0"),
            ("[bench]\nrate_hz = 5\n", "job.toml: line 2: bench.rate_hz is 5, needed a rate that sound cards have"),
            (
                "[box.a]\nvolume_l = 2\n[box.b]\nvolume_l = -2\n",
                "job.toml: line 4: box.b.volume_l is -2, needed more than 0",
            ),
            (
                "[box.a]\nvolum_l = 2\n",
                "job.toml: line 2, column 1: \"volum_l\" is not known here, did you mean \"volume_l\"?",
            ),
            (
                "[box.a]\nkind = \"shut\"\n",
                "job.toml: line 2: box.a.kind is \"shut\", needed one of closed, vented, passive-radiator, open-back",
            ),
            ("[driver.mid]\nre_ohm = 0\n", "job.toml: line 2: driver.mid.re_ohm is 0, needed more than 0"),
            ("[baffle.a]\nwidth_mm = 100\n", "job.toml: line 1: baffle.a.height_mm is absent, needed for a rectangle"),
            (
                "[speaker.a]\nways = [{ driver = \"mid\", polarity = \"plus\" }]\n",
                "job.toml: line 2: speaker.a.ways is polarity = \"plus\", needed \"+\" or \"-\"",
            ),
            ("[limits]\npair_db = -1\n", "job.toml: line 2: limits.pair_db is -1, needed more than 0"),
            (
                "[limits]\npairs_db = 1\n",
                "job.toml: line 2, column 1: \"pairs_db\" is not known here, did you mean \"pair_db\"?",
            ),
            (
                "[limits]\nband_hz = [200, 100]\n",
                "job.toml: line 2: limits.band_hz is [200.0, 100.0], needed a band that rises",
            ),
            ("[job]\ntemperature_c = 294\n", "job.toml: line 2: job.temperature_c is 294, needed -40 to 60"),
        ] {
            assert_eq!(refused(text), expected);
        }
        let error = refused("[bench]\nreply_channel = \"two\"\n");
        assert!(error.starts_with("job.toml: line 2, column 17: ") && error.contains("two"), "{error}");
        let error = refused("[bench\n");
        assert!(error.starts_with("job.toml: line 1, column "), "{error}");
    }
}
