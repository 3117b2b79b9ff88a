//! Options that say through what a run plays and records; `level` and `capture` share them.

use super::{Failure, typed};
use boxwright::audio::{AudioError, SoundCard, connect};
use boxwright::bench::{BenchSettings, Room, Surroundings};
use boxwright::files::{self, Job, JobBench};
use boxwright::job::{self, Chain, Loudness};
use boxwright::quantity::SampleRate;
use clap::ValueEnum;
use serde_json::json;
use std::path::{Path, PathBuf};

#[derive(Debug, clap::Args)]
pub struct ChainArgs {
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
    /// Input with the microphone; inputs count from 1 [default: the job's, else 1]
    #[arg(long, value_name = "N", value_parser = typed::channel, help_heading = "Sound card")]
    reply: Option<usize>,
    /// Input with the loopback of the output, or `none` [default: the job's, else none]
    #[arg(long, value_name = "N", value_parser = typed::channel_or_none, help_heading = "Sound card")]
    reference: Option<usize>,
    /// Outputs that play, such as 1,2 [default: the job's, else 1, and 2 as well with --reference]
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
    /// What surrounds the simulated loudspeaker
    #[arg(long, value_enum, value_name = "ROOM", default_value = "small", help_heading = "Simulated bench")]
    simulated_room: SimulatedRoom,
    /// How fast the simulated recorder's clock runs
    #[arg(
        long, value_name = "PPM", default_value = "12", allow_hyphen_values = true, value_parser = typed::ppm,
        help_heading = "Simulated bench"
    )]
    simulated_drift_ppm: f64,
    /// Noise on the simulated microphone, or `none`
    #[arg(
        long, value_name = "DBFS", default_value = "-88", allow_hyphen_values = true,
        value_parser = typed::level_or_none, help_heading = "Simulated bench"
    )]
    simulated_noise_dbfs: Level,
    /// Where the simulated bench's chance starts: the same number gives the same noise [default: another one each time]
    #[arg(long, value_name = "N", help_heading = "Simulated bench")]
    simulated_seed: Option<u64>,
}

/// A level, or none at all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level(pub Option<f64>);

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum SimulatedRoom {
    None,
    Small,
}

/// A run's chain, and the job it belongs to.
pub struct Setting {
    pub chain: Chain,
    pub job: Job,
    /// Where the job is; empty for this folder.
    pub folder: PathBuf,
    pub card: Box<dyn SoundCard>,
    bench: Option<BenchSettings>,
}

impl ChainArgs {
    /// Makes every choice and finds the devices.
    ///
    /// `when` makes the simulated bench's chance another one each time, where no seed was given.
    pub fn setting(&self, level_dbfs: Option<f64>, distance_m: Option<f64>, when: &str) -> Result<Setting, Failure> {
        let (job, folder) = self.job()?;
        let said = JobBench {
            output: self.output.clone(),
            input: self.input.clone(),
            output_channels: self.output_channels.clone(),
            reply_channel: self.reply,
            reference_channel: self.reference,
            rate_hz: self.rate.map(SampleRate::whole_hz),
            level_dbfs,
            ..JobBench::default()
        };
        let loudness = if self.loud { Loudness::Meant } else { Loudness::Usual };
        let mut chain =
            job::chain(&said, &job.bench, loudness).map_err(|error| Failure::usage(&error, error.advice()))?;
        // Half a choice of the simulated bench is a whole one, also against a job that names the other device.
        if [&self.output, &self.input].iter().any(|name| name.as_deref().is_some_and(is_simulated)) {
            chain.output = self.output.clone().unwrap_or_default();
            chain.input = self.input.clone().unwrap_or_default();
        }
        let bench = self.bench(distance_m.or(job.bench.distance_m), when);
        let card = connect(&chain.output, &chain.input, &bench).map_err(audio_failure)?;
        let is_simulated = card.describe().output.id == boxwright::audio::SIMULATED;
        Ok(Setting { chain, job, folder, card, bench: is_simulated.then_some(bench) })
    }

    fn job(&self) -> Result<(Job, PathBuf), Failure> {
        let failure = |error: files::FileError| Failure::input(&error, error.advice());
        match &self.job {
            Some(folder) => Ok((files::read_job(folder).map_err(failure)?, folder.clone())),
            None if Path::new("job.toml").is_file() => {
                Ok((files::read_job(Path::new("job.toml")).map_err(failure)?, PathBuf::new()))
            }
            None => Ok((Job::default(), PathBuf::new())),
        }
    }

    fn bench(&self, distance_m: Option<f64>, when: &str) -> BenchSettings {
        let mut bench =
            BenchSettings { seed: self.simulated_seed.unwrap_or_else(|| seed(when)), ..BenchSettings::default() };
        bench.distance_m = distance_m.unwrap_or(bench.distance_m);
        bench.interface.drift_ppm = self.simulated_drift_ppm;
        bench.microphone.noise_dbfs = self.simulated_noise_dbfs.0;
        bench.surroundings = match self.simulated_room {
            SimulatedRoom::None => Surroundings::Anechoic,
            SimulatedRoom::Small => Surroundings::Room(Room::default()),
        };
        bench
    }
}

fn is_simulated(name: &str) -> bool {
    name.trim().eq_ignore_ascii_case(boxwright::audio::SIMULATED)
}

/// Another one for each run; 48 bits, so that every reader of JSON holds them exactly.
fn seed(when: &str) -> u64 {
    let hash = files::sha256_of_bytes(format!("{when} {}", std::process::id()).as_bytes());
    u64::from_str_radix(&hash[..12], 16).unwrap_or(1)
}

impl Setting {
    /// The settings that belong to the chain, for documents.
    pub fn document(&self) -> serde_json::Value {
        let facts = self.card.describe();
        let mut document = json!({
            "output": facts.output.id,
            "input": facts.input.id,
            "rate_hz": self.chain.rate.whole_hz(),
            "output_channels": self.chain.output_channels,
            "reply_channel": self.chain.reply_channel,
            "reference_channel": self.chain.reference_channel.map_or(json!("none"), |channel| json!(channel)),
            "level_dbfs": self.chain.level_dbfs,
        });
        if let Some(bench) = &self.bench {
            document["simulated"] = json!({
                "room": if bench.surroundings == Surroundings::Anechoic { "none" } else { "small" },
                "drift_ppm": bench.interface.drift_ppm,
                "noise_dbfs": bench.microphone.noise_dbfs.map_or(json!("none"), |level_dbfs| json!(level_dbfs)),
                "seed": bench.seed,
                "distance_m": bench.distance_m,
            });
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
