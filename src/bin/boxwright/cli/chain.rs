//! Options that say through what a run plays and records; every command that plays shares them.

use super::{Failure, typed};
use boxwright::audio::{AudioError, SimulatedSettings, SoundCard, connect};
use boxwright::files::{self, Job, JobBench};
use boxwright::job::{Chain, ChainError, Inputs, Loudness};
use boxwright::quantity::SampleRate;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

#[derive(Debug, clap::Args)]
pub struct CardArgs {
    /// Device that plays, as `boxwright devices` names it, or a part of its name; `simulated` needs no sound card
    /// [default: the job's, else the system's]
    #[arg(long, value_name = "NAME", help_heading = "Sound card")]
    output: Option<String>,
    /// Device that records
    #[arg(long, value_name = "NAME", help_heading = "Sound card")]
    input: Option<String>,
    /// Sample rate [default: the job's, else 48 kHz]
    #[arg(long, value_name = "HZ", value_parser = typed::rate, help_heading = "Sound card")]
    rate: Option<SampleRate>,
    /// Outputs that play, such as 1,2 [default: the job's, else 1, and 2 as well where a loopback is used]
    #[arg(
        long, value_name = "N,…", value_delimiter = ',', value_parser = typed::channel, help_heading = "Sound card"
    )]
    output_channels: Option<Vec<usize>>,
    /// Allow levels above -10 dBFS
    #[arg(long)]
    loud: bool,
    /// Folder whose job.toml supplies what is not said here [default: this folder, if it has one]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
}

/// A level, or none at all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level(pub Option<f64>);

/// A run's chain, and the job it belongs to.
pub struct Setting {
    pub chain: Chain,
    pub job: Job,
    /// Where the job is; empty for this folder.
    pub folder: PathBuf,
    pub card: Box<dyn SoundCard>,
    /// The simulated bench for documents, if that is the card.
    simulated: Option<Value>,
}

/// A simulated bench that waits to be chosen, and how documents show it.
pub struct Stand {
    pub settings: SimulatedSettings,
    pub document: Value,
}

impl CardArgs {
    /// What was said of the chain.
    pub fn said(&self, level_dbfs: Option<f64>) -> JobBench {
        JobBench {
            output: self.output.clone(),
            input: self.input.clone(),
            output_channels: self.output_channels.clone(),
            rate_hz: self.rate.map(SampleRate::whole_hz),
            level_dbfs,
            ..JobBench::default()
        }
    }

    pub fn loudness(&self) -> Loudness {
        if self.loud { Loudness::Meant } else { Loudness::Usual }
    }

    /// Finds the devices of a chain.
    pub fn setting(
        &self,
        chain: Result<Chain, ChainError>,
        (job, folder): (Job, PathBuf),
        stand: Stand,
    ) -> Result<Setting, Failure> {
        let mut chain = chain.map_err(|error| Failure::usage(&error, error.advice()))?;
        // Half a choice of the simulated bench is a whole one, also against a job that names the other device.
        if [&self.output, &self.input].iter().any(|name| name.as_deref().is_some_and(is_simulated)) {
            chain.output = self.output.clone().unwrap_or_default();
            chain.input = self.input.clone().unwrap_or_default();
        }
        let card = connect(&chain.output, &chain.input, &stand.settings).map_err(audio_failure)?;
        let is_simulated = card.describe().output.id == boxwright::audio::SIMULATED;
        Ok(Setting { chain, job, folder, card, simulated: is_simulated.then_some(stand.document) })
    }

    /// The job that supplies what is not said, and its folder.
    pub fn job(&self) -> Result<(Job, PathBuf), Failure> {
        let failure = |error: files::FileError| Failure::input(&error, error.advice());
        match &self.job {
            Some(folder) => Ok((files::read_job(folder).map_err(failure)?, folder.clone())),
            None if Path::new("job.toml").is_file() => {
                Ok((files::read_job(Path::new("job.toml")).map_err(failure)?, PathBuf::new()))
            }
            None => Ok((Job::default(), PathBuf::new())),
        }
    }
}

fn is_simulated(name: &str) -> bool {
    name.trim().eq_ignore_ascii_case(boxwright::audio::SIMULATED)
}

/// Another one for each run; 48 bits, so that every reader of JSON holds them exactly.
pub fn seed(when: &str) -> u64 {
    let hash = files::sha256_of_bytes(format!("{when} {}", std::process::id()).as_bytes());
    u64::from_str_radix(&hash[..12], 16).unwrap_or(1)
}

impl Setting {
    /// Whether the card is the simulated bench.
    pub fn is_simulated(&self) -> bool {
        self.simulated.is_some()
    }

    /// The settings that belong to the chain, for documents.
    pub fn document(&self) -> Value {
        let facts = self.card.describe();
        let mut document = json!({
            "output": facts.output.id,
            "input": facts.input.id,
            "rate_hz": self.chain.rate.whole_hz(),
            "output_channels": self.chain.output_channels,
        });
        for (role, channel) in self.chain.inputs.roles() {
            document[format!("{role}_channel")] = json!(channel);
        }
        if let Inputs::Response { reference_channel: None, .. } = self.chain.inputs {
            document["reference_channel"] = json!("none");
        }
        document["level_dbfs"] = json!(self.chain.level_dbfs);
        if let Some(simulated) = &self.simulated {
            document["simulated"] = simulated.clone();
        }
        document
    }

    /// `outputs 1 and 2 of Card`.
    pub fn outputs_text(&self) -> String {
        let numbers: Vec<String> = self.chain.output_channels.iter().map(ToString::to_string).collect();
        let word = if numbers.len() == 1 { "output" } else { "outputs" };
        format!("{word} {} of {}", numbers.join(" and "), self.card.describe().output.name)
    }
}

/// Nothing could be played: what it lacks is not the command line's fault, what it asks for is.
pub fn audio_failure(error: AudioError) -> Failure {
    match error {
        AudioError::Signal(_)
        | AudioError::OverTheLimit { .. }
        | AudioError::ToneLength { .. }
        | AudioError::HalfSimulated { .. }
        | AudioError::ChannelTwice { .. }
        | AudioError::Bench(_) => Failure::usage(&error, error.advice()),
        _ => Failure::input(&error, error.advice()),
    }
}
