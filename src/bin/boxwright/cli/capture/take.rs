//! A capture as it is made: what is said of it before and in the end.

use super::chain::Setting;
use super::sound::{Announcement, Shown, Sounded, Sounding, Told, Treble};
use super::{Failure, failure};
use boxwright::audio::{Ended, Lost, Tell};
use boxwright::files::{self, frequency_text};
use boxwright::job::{self, CaptureOrder, Captured, Known, SignalSettings};
use boxwright::report::{self, Moment, Paint};
use boxwright::signal::{SampleFormat, Sweep};
use clap::ValueEnum;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::AtomicBool;

/// What is written down of a capture, where to, and how it is told.
#[derive(Debug, clap::Args)]
pub struct RecordArgs {
    /// Which loudspeaker this is; also names the files
    #[arg(long, value_name = "NAME", help_heading = "For the record")]
    unit: Option<String>,
    /// At which stage of building
    #[arg(long, value_name = "TEXT", help_heading = "For the record")]
    stage: Option<String>,
    /// Anything else worth knowing later
    #[arg(long, value_name = "TEXT", help_heading = "For the record")]
    note: Option<String>,
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

/// A capture that is ready to be made.
pub struct Ready {
    setting: Setting,
    order: CaptureOrder,
    treble: Treble,
    announcement: Announcement,
    /// How long the sweeps last.
    whole_s: f64,
    json: bool,
    /// Said when all went well.
    last_hint: Option<&'static str>,
}

/// What decides on a capture beside its order.
pub struct Beside<'a> {
    pub record: &'a RecordArgs,
    pub treble: Treble,
    /// What else there is to take care of, beside what sounds.
    pub moments: &'a [Moment],
    /// Said when all went well, unless it is to be quiet.
    pub last_hint: Option<&'static str>,
}

impl RecordArgs {
    pub fn format(&self) -> SampleFormat {
        match self.format {
            Format::Pcm24 => SampleFormat::Pcm24,
            Format::Float => SampleFormat::Float32,
        }
    }

    pub fn out(&self, setting: &Setting) -> PathBuf {
        self.out.clone().unwrap_or_else(|| setting.folder.join("captures"))
    }

    /// What the person says of any capture.
    pub fn known(&self) -> Known {
        Known { unit: self.unit.clone(), stage: self.stage.clone(), note: self.note.clone(), ..Known::default() }
    }
}

impl Ready {
    /// A capture on a chain; what can't begin is refused before anybody is told that something sounds.
    pub fn new(setting: Setting, order: CaptureOrder, beside: &Beside<'_>) -> Result<Self, Failure> {
        let usage = |error: boxwright::signal::SignalError| Failure::usage(&error, error.advice());
        let played_hz = Sweep::new(order.sequence.sweep).map_err(usage)?.played_hz();
        let excitation = order.sequence.excitation().map_err(usage)?;
        let whole_s = excitation.rate.seconds(excitation.samples.len());
        let marks = order
            .chain
            .marks_output
            .map_or_else(String::new, |output| format!(", time marks on output {output} alone"));
        let about = format!(
            "Playing at {} dBFS on {}{marks}: nothing below {}, up to {}, {whole_s:.1} s.",
            order.sequence.level_dbfs,
            setting.outputs_text(),
            frequency_text(played_hz[0]),
            frequency_text(played_hz[1]),
        );
        job::can_begin(setting.card.as_ref(), &order).map_err(failure)?;
        // The recording holds every input up to the highest one used.
        let inputs = setting.chain.used_inputs().into_iter().map(|channel| Shown { channel, place: channel - 1 });
        let announcement = Announcement {
            about,
            moments: [beside.treble.moments(), beside.moments].concat(),
            when_stopped: "fades out and keeps what was recorded",
            inputs: inputs.collect(),
            quiet: beside.record.quiet,
            is_simulated: setting.is_simulated(),
        };
        let last_hint = beside.last_hint.filter(|_| !beside.record.quiet);
        let (treble, json) = (beside.treble, beside.record.json);
        Ok(Self { setting, order, treble, announcement, whole_s, json, last_hint })
    }

    fn told(&self, captured: &Captured) -> Result<Told, Failure> {
        Ok(if self.json {
            Told::Document(self.document(captured)?)
        } else if self.announcement.quiet {
            Told::Words(format!("{}\n", captured.wav.display()))
        } else {
            Told::Words(summary(captured, &self.order))
        })
    }

    fn hints(&self, captured: &Captured) -> Vec<String> {
        if captured.findings.is_empty() || self.json {
            return Vec::new();
        }
        let layout = report::Layout { width: 100, paint: Paint::Plain };
        vec![report::findings_text(&captured.findings, layout).trim_end().to_owned()]
    }

    fn document(&self, captured: &Captured) -> Result<Value, Failure> {
        let order = &self.order;
        let own = |error: serde_json::Error| Failure::input(error, "report this, it is a fault of the program");
        let mut document = serde_json::to_value(&captured.description).map_err(own)?;
        let mut settings = serde_json::to_value(SignalSettings::Sweep(order.sequence).table()).map_err(own)?;
        if let (Value::Object(settings), Value::Object(chain)) = (&mut settings, self.setting.document()) {
            settings.extend(chain);
        }
        if let Some(output) = order.chain.marks_output {
            settings["marks_output"] = json!(output);
        }
        settings["format"] = json!(if order.format == SampleFormat::Pcm24 { "24" } else { "float" });
        settings["treble"] = json!(self.treble == Treble::Yes);
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

impl Sounding for Ready {
    fn announcement(&self) -> &Announcement {
        &self.announcement
    }

    fn sound(&mut self, stop: &AtomicBool, tell: &mut Tell<'_>) -> Result<Sounded, Failure> {
        let captured = job::capture(self.setting.card.as_mut(), &self.order, stop, tell).map_err(failure)?;
        let (result, mut hints) = (self.told(&captured)?, self.hints(&captured));
        let outcome = outcome(&captured, self.whole_s);
        hints.extend(self.last_hint.filter(|_| outcome.is_ok()).map(str::to_owned));
        Ok(Sounded { result, hints, outcome })
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
        files::Ended::BrokenOff => "broken off",
    };
    let (duration_s, rate_text) = (rate.seconds(captured.take.frames), frequency_text(rate.hz()));
    text.push_str(&format!("  {duration_s:.2} s at {rate_text}, {word}\n"));
    for (role, channel) in order.chain.inputs.roles() {
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
