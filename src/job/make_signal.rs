//! From the settings of a signal to the two files that hold it: the WAV, and beside it the description.

use crate::files::{self, FileError, SignalDescription};
use crate::quantity::{Code, Finding, SampleRate, Severity, Whereabouts};
use crate::signal::{
    BurstSettings, Excitation, Marks, PinkSettings, Recording, SampleFormat, Sequence, SignalError, ToneSettings,
};
use std::path::{Path, PathBuf};

/// What a signal is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SignalSettings {
    /// Exponential sine sweep.
    Sweep(Sequence),
    /// Pink noise.
    Pink(PinkSettings),
    /// Steady sine.
    Tone(ToneSettings),
    /// Shaped sine burst.
    Burst(BurstSettings),
}

/// A signal to be made, and where to.
#[derive(Debug, Clone, PartialEq)]
pub struct SignalOrder {
    /// What it is made from.
    pub settings: SignalSettings,
    /// How the WAV holds it.
    pub format: SampleFormat,
    /// A folder, which then gets `KIND.wav`, or a file whose name ends in `.wav`.
    pub out: PathBuf,
    /// What to do with files that exist.
    pub existing: Existing,
}

/// What to do with files that exist.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing {
    /// Refuse to touch them.
    Keep,
    /// Put the new ones in their place.
    Replace,
}

/// A signal that was made.
#[derive(Debug, Clone, PartialEq)]
pub struct MadeSignal {
    /// Its samples and their plan.
    pub excitation: Excitation,
    /// Its WAV.
    pub wav: PathBuf,
    /// Its description.
    pub toml: PathBuf,
    /// What the description says.
    pub description: SignalDescription,
    /// What is good to know about it.
    pub findings: Vec<Finding>,
}

/// Why a signal could not be made.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum MakeSignalError {
    #[error(transparent)]
    Signal(#[from] SignalError),
    #[error(transparent)]
    File(#[from] FileError),
    #[error("{}: neither a folder nor a name that ends in .wav", path.display())]
    Out { path: PathBuf },
}

impl MakeSignalError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Signal(error) => error.advice(),
            Self::File(FileError::Exists { .. }) => "give --replace to put the new one in its place, or another --out",
            Self::File(error) => error.advice(),
            Self::Out { .. } => "make the folder first, or give --out a name such as woofer.wav",
        }
    }
}

impl SignalSettings {
    /// The samples and their plan.
    ///
    /// # Errors
    /// [`SignalError`] for settings that make no signal.
    pub fn excitation(&self) -> Result<Excitation, SignalError> {
        match self {
            Self::Sweep(sequence) => sequence.excitation(),
            Self::Pink(settings) => crate::signal::pink(*settings),
            Self::Tone(settings) => crate::signal::tone(*settings),
            Self::Burst(settings) => crate::signal::burst(*settings),
        }
    }

    /// The word for its kind, as the command line and the files have it.
    pub fn kind_name(&self) -> &'static str {
        match self {
            Self::Sweep(_) => "sweep",
            Self::Pink(_) => "pink",
            Self::Tone(_) => "tone",
            Self::Burst(_) => "burst",
        }
    }

    fn rate(&self) -> SampleRate {
        match self {
            Self::Sweep(sequence) => sequence.sweep.rate,
            Self::Pink(settings) => settings.rate,
            Self::Tone(settings) => settings.rate,
            Self::Burst(settings) => settings.rate,
        }
    }

    /// Every setting under the name of its option, for documents.
    pub fn table(&self) -> toml::Table {
        let mut table = toml::Table::new();
        let mut set = |key: &str, value: toml::Value| drop(table.insert(key.into(), value));
        set("rate_hz", i64::from(self.rate().whole_hz()).into());
        match self {
            Self::Sweep(sequence) => {
                set("from_hz", sequence.sweep.from_hz.into());
                set("to_hz", sequence.sweep.to_hz.into());
                if let Some(lowest_hz) = sequence.sweep.lowest_hz {
                    set("lowest_hz", lowest_hz.into());
                }
                set("seconds", sequence.sweep.duration_s.into());
                set("level_dbfs", sequence.level_dbfs.into());
                set("repeats", i64::from(sequence.repeats).into());
                set("pause_s", sequence.pause_s.into());
                set("marks", (sequence.marks == Marks::BeforeAndAfter).into());
            }
            Self::Pink(settings) => {
                set("from_hz", settings.band_hz[0].into());
                set("to_hz", settings.band_hz[1].into());
                set("seconds", settings.duration_s.into());
                set("level_dbfs", settings.level_dbfs.into());
                // TOML counts to 2⁶³ only; a seed has 64 bits.
                set("seed", settings.seed.to_string().into());
            }
            Self::Tone(settings) => {
                set("at_hz", settings.at_hz.into());
                set("seconds", settings.duration_s.into());
                set("level_dbfs", settings.level_dbfs.into());
            }
            Self::Burst(settings) => {
                set("at_hz", settings.at_hz.into());
                set("cycles", settings.cycles.into());
                set("level_dbfs", settings.level_dbfs.into());
            }
        }
        table
    }
}

impl SignalSettings {
    /// The command that makes the same samples again, every setting spelled out; where to is not part of it.
    pub fn command(&self, format: SampleFormat) -> String {
        let mut words = vec!["boxwright signal".to_owned(), self.kind_name().to_owned()];
        for (key, value) in self.table() {
            let option = key.trim_end_matches("_hz").trim_end_matches("_s").replace('_', "-");
            match value {
                toml::Value::Boolean(true) => words.push(format!("--{option}")),
                toml::Value::Boolean(false) => {}
                toml::Value::String(text) => words.push(format!("--{option} {text}")),
                toml::Value::Float(number) => words.push(format!("--{option} {number}")),
                other => words.push(format!("--{option} {other}")),
            }
        }
        words.push(format!("--format {}", format_name(format)));
        words.join(" ")
    }
}

/// Makes a signal and writes its WAV and its description.
///
/// # Errors
/// [`MakeSignalError`]; nothing is written when the settings make no signal, or when one of the files exists and is
/// to be kept.
pub fn make_signal(order: &SignalOrder) -> Result<MadeSignal, MakeSignalError> {
    let excitation = order.settings.excitation()?;
    let wav = wav_path(order)?;
    let toml = wav.with_extension("toml");
    let recording =
        Recording { rate: excitation.rate, channels: vec![excitation.samples.clone()], format: order.format };
    let (bytes, _) = files::wav_bytes(&wav, &recording)?;
    let mut description = SignalDescription::of(&excitation, &files::sha256_of_bytes(&bytes));
    description.command = order.settings.command(order.format);
    description.settings = order.settings.table();
    description.settings.insert("format".into(), format_name(order.format).into());
    match order.existing {
        Existing::Replace => {
            files::replace(&wav, &bytes)?;
            files::replace(&toml, description.text().as_bytes())?;
        }
        Existing::Keep => {
            if let Some(path) = [&wav, &toml].into_iter().find(|path| path.symlink_metadata().is_ok()) {
                return Err(FileError::Exists { path: path.clone() }.into());
            }
            files::create_new(&wav, &bytes)?;
            files::create_new(&toml, description.text().as_bytes())?;
        }
    }
    let findings = findings(&order.settings, &excitation);
    Ok(MadeSignal { excitation, wav, toml, description, findings })
}

fn wav_path(order: &SignalOrder) -> Result<PathBuf, MakeSignalError> {
    let out = &order.out;
    let is_wav = |path: &Path| path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("wav"));
    if out.is_dir() {
        Ok(out.join(order.settings.kind_name()).with_extension("wav"))
    } else if is_wav(out) {
        Ok(out.clone())
    } else {
        Err(MakeSignalError::Out { path: out.clone() })
    }
}

/// The name of a format, as the command line has it.
fn format_name(format: SampleFormat) -> &'static str {
    match format {
        SampleFormat::Pcm16 => "16",
        SampleFormat::Pcm24 => "24",
        SampleFormat::Pcm32 => "32",
        SampleFormat::Float32 => "float",
        SampleFormat::Float64 => "double",
    }
}

/// What a limit that protects the driver takes away from the band that was asked for.
fn findings(settings: &SignalSettings, excitation: &Excitation) -> Vec<Finding> {
    let SignalSettings::Sweep(sequence) = settings else { return Vec::new() };
    let (asked_hz, full_hz) = (sequence.sweep.from_hz, excitation.plan.band_hz[0]);
    if full_hz <= asked_hz {
        return Vec::new();
    }
    let hz = files::frequency_text;
    vec![Finding {
        code: Code::OutOfBand,
        severity: Severity::Note,
        says: format!(
            "the sweep has its full level from {}, not from {}, because nothing is played below {}",
            hz(full_hz),
            hz(asked_hz),
            hz(excitation.plan.sweep.map_or(asked_hz, |sweep| sweep.played_hz[0]))
        ),
        advice: "lower --lowest if the driver stands it".into(),
        at: Whereabouts { band_hz: Some([asked_hz.min(full_hz), full_hz]), ..Whereabouts::default() },
    }]
}
