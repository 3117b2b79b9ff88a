//! `boxwright capture KIND`: plays sweeps, records the reply, leaves both on the disk.

use super::chain::{ChainArgs, Setting};
use super::sound::{LiveLine, Shown, Treble, before_sound, stop_on_ctrl_c};
use super::{Failure, chain, tell, typed};
use boxwright::audio::{Ended, Lost};
use boxwright::files::{self, frequency_text};
use boxwright::job::{self, CaptureError, CaptureOrder, Captured, Known, SignalSettings};
use boxwright::report::{self, Paint};
use boxwright::signal::{Marks, SampleFormat, Sequence, Sweep, SweepSettings};
use clap::{Subcommand, ValueEnum};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Play sweeps and record the reply: a WAV with its description, and beside it what was played
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    kind: KindArgs,
}

#[derive(Debug, Subcommand)]
enum KindArgs {
    Response(Box<ResponseArgs>),
}

/// Sound pressure through a microphone
///
/// Start with the amplifier turned down; `boxwright level` proposes a level. The recording is NAME.wav, its description
/// NAME.toml; NAME.excitation.wav and .toml are what was played. Nothing that exists is overwritten. Ctrl-C fades out and
/// keeps what was recorded; so does a device that goes away; both end with exit status 1.
///
/// With `--output simulated` no sound card is needed: input 1 is then a simulated microphone before a small loudspeaker on
/// output 1, input 2 a cable from output 2, and NAME.truth.json tells what an analysis should find.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
struct ResponseArgs {
    /// Lowest frequency to be reported [default: 20 Hz]
    #[arg(long, value_name = "HZ", value_parser = typed::frequency_hz, help_heading = "Sweep")]
    from: Option<f64>,
    /// Highest frequency to be reported
    #[arg(long, value_name = "HZ", default_value = "20k", value_parser = typed::frequency_hz, help_heading = "Sweep")]
    to: f64,
    /// Play nothing below this, for the driver's sake [default: an octave below --from, or --from itself above 100 Hz]
    #[arg(long, value_name = "HZ", value_parser = typed::frequency_hz, help_heading = "Sweep")]
    lowest: Option<f64>,
    /// A treble driver is connected without its crossover: demands its lower limit (--lowest or --from)
    #[arg(long, help_heading = "Sweep")]
    treble: bool,
    /// Duration of one sweep
    #[arg(long, value_name = "S", default_value = "5", value_parser = typed::seconds, help_heading = "Sweep")]
    seconds: f64,
    /// How many sweeps, one after another; their spread tells how certain the result is
    #[arg(long, value_name = "N", default_value_t = 1, help_heading = "Sweep")]
    repeats: u32,
    /// Silence after each sweep, at least 0.5 s; longer than the room rings
    #[arg(long, value_name = "S", default_value = "1", value_parser = typed::pause_s, help_heading = "Sweep")]
    pause: f64,
    /// Peak level, 0 is full scale; nothing louder is played [default: the job's, else -20]
    #[arg(
        long, value_name = "DBFS", allow_hyphen_values = true, value_parser = typed::level_dbfs, help_heading = "Sweep"
    )]
    level_dbfs: Option<f64>,
    #[command(flatten)]
    chain: ChainArgs,
    /// Which loudspeaker this is; also names the files
    #[arg(long, value_name = "NAME", help_heading = "For the record")]
    unit: Option<String>,
    /// At which stage of building
    #[arg(long, value_name = "TEXT", help_heading = "For the record")]
    stage: Option<String>,
    /// Anything else worth knowing later
    #[arg(long, value_name = "TEXT", help_heading = "For the record")]
    note: Option<String>,
    /// The microphone's table: frequency, dB [default: the job's]
    #[arg(long, value_name = "FILE", help_heading = "For the record")]
    mic: Option<PathBuf>,
    /// From loudspeaker to microphone; a bare number is in metres [default: the job's]
    #[arg(long, value_name = "M", value_parser = typed::metres, help_heading = "For the record")]
    distance: Option<f64>,
    /// How the recording is stored
    #[arg(long, value_enum, default_value = "float")]
    format: Format,
    /// A folder, or a name that ends in .wav [default: `captures` in this folder or the job's]
    #[arg(long, value_name = "PATH")]
    out: Option<PathBuf>,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    /// Print nothing but the recording's path (or the JSON document), the level, and warnings
    #[arg(long, short)]
    quiet: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    #[value(name = "24")]
    Pcm24,
    Float,
}

/// Captures and says what was captured.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let KindArgs::Response(args) = args.kind;
    let when = now();
    let usage = |error: boxwright::signal::SignalError| Failure::usage(&error, error.advice());
    let limits_hz = args.limits_hz()?;
    let mut setting = args.chain.setting(args.level_dbfs, args.distance, &when)?;
    let order = args.order(limits_hz, &setting, when);
    let played_hz = Sweep::new(order.sequence.sweep).map_err(usage)?.played_hz();
    let excitation = order.sequence.excitation().map_err(usage)?;
    let duration_s = excitation.rate.seconds(excitation.samples.len());
    let about = format!(
        "Playing at {} dBFS on {}: nothing below {}, up to {}, {duration_s:.1} s.",
        order.sequence.level_dbfs,
        setting.outputs_text(),
        frequency_text(played_hz[0]),
        frequency_text(played_hz[1]),
    );
    job::can_begin(setting.card.as_ref(), &order).map_err(failure)?;
    let stop = stop_on_ctrl_c()?;
    let treble = if args.treble { Treble::Yes } else { Treble::No };
    before_sound(&about, treble, "fades out and keeps what was recorded", args.quiet);
    // The recording holds every input up to the highest one used.
    let inputs = setting.chain.used_inputs().into_iter().map(|channel| Shown { channel, place: channel - 1 });
    let live = LiveLine::new(inputs.collect(), args.quiet);
    let captured = job::capture(setting.card.as_mut(), &order, &stop, &mut |news| live.show(news));
    live.done();
    let captured = captured.map_err(failure)?;
    args.tell(&captured, &order, &setting)?;
    outcome(&captured, duration_s)
}

fn now() -> String {
    let now = jiff::Zoned::now();
    format!("{:.3}", now.timestamp().display_with_offset(now.offset()))
}

fn failure(error: CaptureError) -> Failure {
    match error {
        CaptureError::Signal(_) => Failure::usage(&error, error.advice()),
        CaptureError::Audio(error) => chain::audio_failure(error),
        _ => Failure::input(&error, error.advice()),
    }
}

/// What a person means who gives no --from.
const USUAL_FROM_HZ: f64 = 20.0;

impl ResponseArgs {
    /// The lowest frequency to be reported and the one below which nothing is played, as far as they were said.
    fn limits_hz(&self) -> Result<[Option<f64>; 2], Failure> {
        if !self.treble {
            return Ok([self.from, self.lowest]);
        }
        let limit_hz =
            job::treble_limit_hz(self.lowest, self.from).map_err(|error| Failure::usage(error, error.advice()))?;
        Ok([Some(self.from.unwrap_or(limit_hz)), Some(limit_hz)])
    }

    fn order(&self, [from_hz, lowest_hz]: [Option<f64>; 2], setting: &Setting, when: String) -> CaptureOrder {
        let (chain, job) = (&setting.chain, &setting.job.bench);
        CaptureOrder {
            sequence: Sequence {
                sweep: SweepSettings {
                    rate: chain.rate,
                    from_hz: from_hz.unwrap_or(USUAL_FROM_HZ),
                    to_hz: self.to,
                    lowest_hz,
                    duration_s: self.seconds,
                },
                level_dbfs: chain.level_dbfs,
                repeats: self.repeats,
                marks: Marks::BeforeAndAfter,
                pause_s: self.pause,
            },
            chain: chain.clone(),
            format: self.format(),
            out: self.out.clone().unwrap_or_else(|| setting.folder.join("captures")),
            when,
            known: Known {
                unit: self.unit.clone(),
                stage: self.stage.clone(),
                note: self.note.clone(),
                mic: self.mic.clone().or_else(|| job.mic.as_ref().map(|mic| setting.folder.join(mic))),
                mic_sensitivity_dbfs_at_94db: job.mic_sensitivity_dbfs_at_94db,
                distance_m: self.distance.or(job.distance_m),
            },
        }
    }

    fn format(&self) -> SampleFormat {
        match self.format {
            Format::Pcm24 => SampleFormat::Pcm24,
            Format::Float => SampleFormat::Float32,
        }
    }

    fn tell(&self, captured: &Captured, order: &CaptureOrder, setting: &Setting) -> Result<(), Failure> {
        if self.json {
            tell::json(&self.document(captured, order, setting)?)?;
        } else if self.quiet {
            tell::result(&format!("{}\n", captured.wav.display()))?;
        } else {
            tell::result(&summary(captured, order))?;
        }
        if !captured.findings.is_empty() && !self.json {
            let layout = report::Layout { width: 100, paint: Paint::Plain };
            tell::hint(report::findings_text(&captured.findings, layout).trim_end());
        }
        Ok(())
    }

    fn document(&self, captured: &Captured, order: &CaptureOrder, setting: &Setting) -> Result<Value, Failure> {
        let own = |error: serde_json::Error| Failure::input(error, "report this, it is a fault of the program");
        let mut document = serde_json::to_value(&captured.description).map_err(own)?;
        let mut settings = serde_json::to_value(SignalSettings::Sweep(order.sequence).table()).map_err(own)?;
        if let (Value::Object(settings), Value::Object(chain)) = (&mut settings, setting.document()) {
            settings.extend(chain);
        }
        settings["format"] = json!(if order.format == SampleFormat::Pcm24 { "24" } else { "float" });
        settings["treble"] = json!(self.treble);
        document["inputs"] = json!([]);
        document["settings"] = settings;
        document["findings"] = serde_json::to_value(&captured.findings).map_err(own)?;
        let used = order.chain.used_inputs();
        let facts = used.iter().filter_map(|channel| Some((channel, captured.take.channels.get(channel - 1)?)));
        let facts = facts.map(|(channel, facts)| {
            let mut one = json!({ "channel": channel });
            for (key, level) in [("peak_dbfs", facts.meter.peak_dbfs()), ("rms_dbfs", facts.meter.rms_dbfs())] {
                level.into_iter().for_each(|level| one[key] = json!(level));
            }
            one
        });
        document["channels"] = facts.collect();
        document["files"] = files_written(captured);
        Ok(document)
    }
}

fn files_written(captured: &Captured) -> Value {
    let mut files = vec![
        (&captured.wav, "capture"),
        (&captured.toml, "description"),
        (&captured.excitation_wav, "excitation"),
        (&captured.excitation_toml, "description of the excitation"),
    ];
    files.extend(captured.truth.as_ref().map(|truth| (truth, "truth")));
    files.iter().map(|(path, what)| json!({ "path": path.display().to_string(), "what": what })).collect()
}

fn summary(captured: &Captured, order: &CaptureOrder) -> String {
    let rate = order.sequence.sweep.rate;
    let mut text = format!("{}\n", captured.wav.display());
    let word = match captured.description.stream.ended {
        files::Ended::Complete => "complete",
        files::Ended::Stopped => "stopped before its end",
        files::Ended::DeviceLost => "cut off, the device went away",
    };
    let (duration_s, rate_text) = (rate.seconds(captured.take.frames), frequency_text(rate.hz()));
    text.push_str(&format!("  {duration_s:.2} s at {rate_text}, {word}\n"));
    let mut roles = vec![("reply", order.chain.reply_channel)];
    roles.extend(order.chain.reference_channel.map(|channel| ("reference", channel)));
    for (role, channel) in roles {
        let peak = captured.take.channels.get(channel - 1).and_then(|facts| facts.meter.peak_dbfs());
        let peak = peak.map_or("silent".to_owned(), |peak_dbfs| format!("peak {peak_dbfs:.1} dBFS"));
        text.push_str(&format!("  {role} on input {channel}: {peak}\n"));
    }
    let name = |path: &Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let beside = [Some(&captured.toml), Some(&captured.excitation_wav), captured.truth.as_ref()];
    let beside: Vec<String> = beside.into_iter().flatten().map(|path| name(path)).collect();
    text.push_str(&format!("  beside it: {}\n", beside.join(", ")));
    text
}

/// Exit status: a capture that is not whole can be looked at, but the command has not done what it should.
fn outcome(captured: &Captured, whole_s: f64) -> Result<ExitCode, Failure> {
    let stream = &captured.description.stream;
    let done_s = stream.frames as f64 / f64::from(captured.description.bench.rate_hz.unwrap_or(1).max(1));
    let advice = format!("what was recorded is in {}; take it again for a whole one", captured.wav.display());
    match captured.take.ended {
        Ended::Complete => Ok(ExitCode::SUCCESS),
        Ended::Stopped => Err(Failure::input(
            format!("stopped: {done_s:.1} s were recorded, the whole takes {whole_s:.1} s or more"),
            &advice,
        )),
        Ended::DeviceLost { side, how } => {
            let how = match how {
                Lost::Reported => "the sound system said so",
                Lost::Replaced => "the sound system put another one in its place",
                Lost::OnlyErrors => "nothing but errors came any more",
                Lost::WentQuiet => "nothing came any more",
            };
            let says = format!("the {side} device went away after {done_s:.1} s ({how}), the capture is truncated");
            Err(Failure::input(says, &format!("check cables and power; {advice}")))
        }
    }
}
