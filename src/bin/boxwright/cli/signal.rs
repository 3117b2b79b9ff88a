//! `boxwright signal KIND`: an excitation as WAV, with its description beside it.

use super::{Failure, tell, typed};
use boxwright::files::frequency_text;
use boxwright::job::{Existing, MadeSignal, MakeSignalError, SignalOrder, SignalSettings, make_signal};
use boxwright::quantity::SampleRate;
use boxwright::signal::{
    BurstSettings, Kind, Marks, PinkSettings, SampleFormat, Sequence, SweepSettings, ToneSettings,
};
use clap::{Subcommand, ValueEnum};
use serde_json::json;
use std::path::PathBuf;
use std::process::ExitCode;

/// Write an excitation: a WAV to play, and NAME.toml beside it that says what lies where
///
/// Start with the amplifier turned down. A treble driver needs the lower limit of its sweep (--lowest, or --from
/// above 100 Hz): nothing is played below it. Frequencies take Hz or kHz, times s or ms; a bare number is in Hz or s.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    kind: KindArgs,
}

#[derive(Debug, Subcommand)]
enum KindArgs {
    Sweep(SweepArgs),
    Pink(PinkArgs),
    Tone(ToneArgs),
    Burst(BurstArgs),
}

/// Exponential sine sweep, for responses and distortion
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
struct SweepArgs {
    /// Lowest frequency to be reported
    #[arg(long, value_name = "HZ", default_value = "20", value_parser = typed::frequency_hz)]
    from: f64,
    /// Highest frequency to be reported
    #[arg(long, value_name = "HZ", default_value = "20k", value_parser = typed::frequency_hz)]
    to: f64,
    /// Play nothing below this, for the driver's sake [default: an octave below --from, or --from itself above 100 Hz]
    #[arg(long, value_name = "HZ", value_parser = typed::frequency_hz)]
    lowest: Option<f64>,
    /// Duration of one sweep
    #[arg(long, value_name = "S", default_value = "5", value_parser = typed::seconds)]
    seconds: f64,
    /// How many sweeps, one after another
    #[arg(long, value_name = "N", default_value_t = 1)]
    repeats: u32,
    /// Silence after each sweep, at least 0.5 s
    #[arg(long, value_name = "S", default_value = "1", value_parser = typed::pause_s)]
    pause: f64,
    /// Add a short chirp before and after, by which clock errors are found
    #[arg(long)]
    marks: bool,
    #[command(flatten)]
    common: CommonArgs,
}

/// Pink noise, for setting levels and listening
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
struct PinkArgs {
    /// Lowest frequency
    #[arg(long, value_name = "HZ", default_value = "20", value_parser = typed::frequency_hz)]
    from: f64,
    /// Highest frequency
    #[arg(long, value_name = "HZ", default_value = "20k", value_parser = typed::frequency_hz)]
    to: f64,
    /// Duration
    #[arg(long, value_name = "S", default_value = "10", value_parser = typed::seconds)]
    seconds: f64,
    /// The same seed gives the same noise
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    common: CommonArgs,
}

/// Steady sine, for levels and for finding rattles
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
struct ToneArgs {
    /// Frequency
    #[arg(long, value_name = "HZ", default_value = "1k", value_parser = typed::frequency_hz)]
    at: f64,
    /// Duration
    #[arg(long, value_name = "S", default_value = "5", value_parser = typed::seconds)]
    seconds: f64,
    #[command(flatten)]
    common: CommonArgs,
}

/// Shaped sine burst, for the decay in one narrow band
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
struct BurstArgs {
    /// Frequency
    #[arg(long, value_name = "HZ", default_value = "1k", value_parser = typed::frequency_hz)]
    at: f64,
    /// Periods in the burst
    #[arg(long, value_name = "N", default_value = "6.5", value_parser = typed::pure)]
    cycles: f64,
    #[command(flatten)]
    common: CommonArgs,
}

#[derive(Debug, clap::Args)]
struct CommonArgs {
    /// Sample rate
    #[arg(long, value_name = "HZ", default_value = "48k", value_parser = typed::rate)]
    rate: SampleRate,
    /// Peak level, 0 is full scale
    #[arg(
        long, value_name = "DBFS", default_value = "-20", allow_hyphen_values = true, value_parser = typed::level_dbfs
    )]
    level_dbfs: f64,
    /// How the WAV holds its samples
    #[arg(long, default_value = "24")]
    format: Format,
    /// A folder, or a name that ends in .wav
    #[arg(long, value_name = "PATH", default_value = ".")]
    out: PathBuf,
    /// Put the new files in the place of old ones
    #[arg(long)]
    replace: bool,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    /// Print nothing but errors (and the JSON document)
    #[arg(long, short)]
    quiet: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    #[value(name = "16")]
    Pcm16,
    #[value(name = "24")]
    Pcm24,
    Float,
}

impl KindArgs {
    fn settings(&self) -> (SignalSettings, &CommonArgs) {
        match self {
            Self::Sweep(args) => (SignalSettings::Sweep(args.sequence()), &args.common),
            Self::Pink(PinkArgs { from, to, seconds, seed, common }) => {
                let CommonArgs { rate, level_dbfs, .. } = *common;
                let settings =
                    PinkSettings { rate, band_hz: [*from, *to], duration_s: *seconds, level_dbfs, seed: *seed };
                (SignalSettings::Pink(settings), common)
            }
            Self::Tone(ToneArgs { at, seconds, common }) => {
                let CommonArgs { rate, level_dbfs, .. } = *common;
                (SignalSettings::Tone(ToneSettings { rate, at_hz: *at, duration_s: *seconds, level_dbfs }), common)
            }
            Self::Burst(BurstArgs { at, cycles, common }) => {
                let CommonArgs { rate, level_dbfs, .. } = *common;
                (SignalSettings::Burst(BurstSettings { rate, at_hz: *at, cycles: *cycles, level_dbfs }), common)
            }
        }
    }
}

impl SweepArgs {
    fn sequence(&self) -> Sequence {
        Sequence {
            sweep: SweepSettings {
                rate: self.common.rate,
                from_hz: self.from,
                to_hz: self.to,
                lowest_hz: self.lowest,
                duration_s: self.seconds,
            },
            level_dbfs: self.common.level_dbfs,
            repeats: self.repeats,
            marks: if self.marks { Marks::BeforeAndAfter } else { Marks::None },
            pause_s: self.pause,
        }
    }
}

/// Makes the signal and says what was made.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let (settings, common) = args.kind.settings();
    let order = SignalOrder {
        settings,
        format: match common.format {
            Format::Pcm16 => SampleFormat::Pcm16,
            Format::Pcm24 => SampleFormat::Pcm24,
            Format::Float => SampleFormat::Float32,
        },
        out: common.out.clone(),
        existing: if common.replace { Existing::Replace } else { Existing::Keep },
    };
    let made = make_signal(&order).map_err(|error| match &error {
        MakeSignalError::Signal(_) => Failure::usage(&error, error.advice()),
        _ => Failure::input(&error, error.advice()),
    })?;
    if common.json {
        tell::json(&document(&made)?)?;
    } else if !common.quiet {
        tell::result(&summary(&made, order.format))?;
        made.findings.iter().for_each(|finding| tell::hint(&format!("note: {}; {}", finding.says, finding.advice)));
        tell::hint("turn the amplifier down before you play this for the first time");
    }
    Ok(ExitCode::SUCCESS)
}

fn document(made: &MadeSignal) -> Result<serde_json::Value, Failure> {
    let own = |error: serde_json::Error| Failure::input(error, "report this, it is a fault of the program");
    let mut document = serde_json::to_value(&made.description).map_err(own)?;
    document["inputs"] = json!([]);
    document["findings"] = serde_json::to_value(&made.findings).map_err(own)?;
    document["files"] = json!([
        { "path": made.wav.display().to_string(), "what": "signal" },
        { "path": made.toml.display().to_string(), "what": "description" },
    ]);
    Ok(document)
}

fn kind_text(made: &MadeSignal) -> &'static str {
    match made.excitation.plan.kind {
        Kind::Sweep => "sweep",
        Kind::Pink => "pink noise",
        Kind::Tone => "tone",
        Kind::Burst => "burst",
        Kind::Other => "signal",
    }
}

fn summary(made: &MadeSignal, format: SampleFormat) -> String {
    let (rate, plan) = (made.excitation.rate, &made.excitation.plan);
    let [from_hz, to_hz] = plan.band_hz;
    let band = if from_hz == to_hz {
        frequency_text(from_hz)
    } else {
        format!("{} to {}", frequency_text(from_hz), frequency_text(to_hz))
    };
    let times = if plan.starts.len() == 1 { String::new() } else { format!(", {} times", plan.starts.len()) };
    let marks = if plan.mark_starts.is_empty() { "" } else { ", marks before and after" };
    let kind = if format == SampleFormat::Float32 { "float" } else { "bits" };
    format!(
        "{}: {}, {band}, {:.3} s{times}{marks}, peak {} dBFS\n  {}, {} {kind}, {:.2} s with its silences\n  {}\n{}: its description\n",
        made.wav.display(),
        kind_text(made),
        rate.seconds(plan.frames),
        plan.level_dbfs,
        frequency_text(rate.hz()),
        format.bits(),
        rate.seconds(made.excitation.samples.len()),
        made.description.says,
        made.toml.display(),
    )
}
