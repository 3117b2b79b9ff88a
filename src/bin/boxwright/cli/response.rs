//! `boxwright response CAPTURE…`: a capture's impulse response, frequency response and distortion.

use super::placement::{self};
use super::{Failure, TellingArgs, ran, responses, tell, typed};
use boxwright::files::{self, CaptureKind, JobBench};
use boxwright::job::{
    Pictures, ReferenceChoice, Responded, ResponseOrder, SmoothingChoice, TableIs, bench_keys, respond,
};
use boxwright::math::median;
use boxwright::quantity::{Dimension, POINTS_PER_OCTAVE, Severity, number_as_typed};
use boxwright::report::{Entry, Layout, findings_text, numbers_text};
use boxwright::response::{GateChoice, TimeReference};
use clap::ValueEnum;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Turn a capture into impulse response, frequency response and distortion, each with its uncertainty
///
/// A capture of `boxwright capture` says itself what was played and which channel holds what. For any other WAV name
/// the WAV that was played with --excitation; the description that `boxwright signal` writes beside it is used where it
/// is there. Results go into a folder named after the capture. Values are shown with ± 2u.
///
/// Several captures, or a folder of them, are done on all cores, a line for each; one that can't be used does not stop the rest, and the exit status
/// is then 1. With --out each gets a folder of its own name there, and --json prints a list of documents.
///
/// With --room and no capture it says what can be measured in that room, and where to stand for it.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct Args {
    /// The capture; several, or a folder, for each of them
    #[arg(value_name = "WAV", required_unless_present = "room", num_args = 1..)]
    captures: Vec<PathBuf>,
    /// The WAV that was played
    #[arg(long, value_name = "WAV")]
    excitation: Option<PathBuf>,
    /// Channel with the reply [default: the capture's, else 1]
    #[arg(long, value_name = "N", value_parser = typed::channel)]
    reply: Option<usize>,
    /// Channel with the loopback of the output, to divide by, or `none` [default: the capture's, else none]
    #[arg(long, value_name = "N", value_parser = typed::channel_or_none)]
    reference: Option<usize>,
    /// Which part of the reply counts: a length after the arrival ("5 ms"), auto (up to the first reflection), none
    #[arg(long, value_name = "LENGTH", default_value = "auto", value_parser = gate)]
    gate: GateChoice,
    /// Smooth data and pictures over a fraction of an octave, or none [default: pictures 1/12, data none]
    #[arg(long, value_name = "1/N", value_parser = typed::smoothing)]
    smooth: Option<typed::SmoothedOver>,
    /// Points of the curve in each octave
    #[arg(long, value_name = "N", default_value_t = POINTS_PER_OCTAVE, value_parser = clap::value_parser!(u32).range(1..=384))]
    points_per_octave: u32,
    /// The microphone's table: frequency in Hz, dB, maybe degrees
    #[arg(long, value_name = "FILE")]
    mic: Option<PathBuf>,
    /// Whether the table holds the microphone's own response or the correction to be added
    #[arg(long, value_name = "WHAT", default_value = "response")]
    mic_table_is: MicTable,
    /// What 94 dB SPL give in the recording, in dBFS: levels become dB re 20 µPa
    #[arg(long, value_name = "DBFS", allow_hyphen_values = true, value_parser = typed::level_dbfs)]
    mic_sensitivity_dbfs: Option<f64>,
    /// From loudspeaker to microphone, in m [default: the capture's, else the job's; for --room else 0.5]
    #[arg(long, value_name = "LENGTH", value_parser = typed::metres)]
    distance: Option<f64>,
    /// Voltage (rms) at the loudspeaker for a sine of the excitation's level: with sensitivity and distance, levels
    /// become dB re 20 µPa at 2.83 V, 1 m
    #[arg(long, value_name = "V", value_parser = typed::volts)]
    drive_v: Option<f64>,
    /// Folder for the results [default: beside the capture, named after it]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Job folder whose job.toml gives defaults [default: this folder, where it has one]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Draw no pictures
    #[arg(long)]
    no_pictures: bool,
    #[command(flatten)]
    pub(super) telling: TellingArgs,
    #[command(flatten)]
    room: placement::RoomArgs,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum MicTable {
    Response,
    Correction,
}

fn gate(text: &str) -> Result<GateChoice, String> {
    match text {
        "auto" => Ok(GateChoice::Auto),
        "none" => Ok(GateChoice::None),
        length => number_as_typed(length, Dimension::Milliseconds)
            .map(|after_ms| GateChoice::Length { after_s: 1e-3 * after_ms })
            .map_err(|error| format!("{error}; {}", error.advice())),
    }
}

/// Analyses the capture and says what was found.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let telling = args.telling;
    if args.captures.is_empty() {
        return advise(&args);
    }
    let captures = responses::captures(&args.captures)?;
    if captures.len() > 1 {
        return responses::run(&args, &captures);
    }
    let order = args.order_of(&captures[0], 1, args.bench()?);
    let responded = respond(&order).map_err(|error| Failure::input(&error, error.advice()))?;
    telling.result(&responded.document, || summary(&responded))?;
    Ok(ExitCode::SUCCESS)
}

/// Without a capture: what can be measured in the room.
fn advise(args: &Args) -> Result<ExitCode, Failure> {
    let room = args.room.order().ok_or_else(|| Failure::usage("no capture was given", "name one, or a --room"))?;
    let distance_m = match args.distance {
        Some(distance_m) => Some(distance_m),
        None => args.bench()?.distance_m,
    };
    placement::advise(&room, distance_m, args.telling)
}

impl Args {
    /// The bench of the job that was named.
    pub(super) fn bench(&self) -> Result<JobBench, Failure> {
        bench(self.job.as_deref())
    }

    /// What is to be had from the capture.
    pub fn order(self) -> Result<ResponseOrder, Failure> {
        match responses::captures(&self.captures)?.as_slice() {
            [wav] => Ok(self.order_of(wav, 1, self.bench()?)),
            [] => Err(Failure::usage("no capture was given", "name one")),
            _ => Err(Failure::usage("one capture at a time is looked at here", "name one")),
        }
    }

    /// What is to be had from one of so many captures, with the job's bench.
    pub(super) fn order_of(&self, wav: &Path, of: usize, bench: JobBench) -> ResponseOrder {
        let mut ran = ran(self.job.as_deref(), &bench_keys(wav, CaptureKind::Response));
        let mut out = self.out.clone();
        if of > 1 {
            out = out.map(|folder| folder.join(wav.file_stem().unwrap_or_default()));
        }
        if of > 1 || self.captures.iter().all(|named| named != wav) {
            ran.command = responses::alone(&ran.command, &self.captures, wav, out.as_deref());
        }
        ResponseOrder {
            ran,
            wav: wav.to_owned(),
            excitation: self.excitation.clone(),
            reply: self.reply,
            reference: self.reference.map(|channel| match channel {
                0 => ReferenceChoice::None,
                channel => ReferenceChoice::Channel(channel),
            }),
            gate: self.gate,
            smoothing: match self.smooth {
                None => SmoothingChoice::PicturesOnly,
                Some(typed::SmoothedOver(None)) => SmoothingChoice::Nothing,
                Some(typed::SmoothedOver(Some(fraction))) => SmoothingChoice::Both(fraction),
            },
            points_per_octave: self.points_per_octave,
            microphone: self.mic.clone(),
            table_is: match self.mic_table_is {
                MicTable::Response => TableIs::Response,
                MicTable::Correction => TableIs::Correction,
            },
            sensitivity_dbfs_at_94db: self.mic_sensitivity_dbfs,
            distance_m: self.distance,
            room: self.room.order(),
            drive_v: self.drive_v,
            out,
            bench,
            pictures: if self.no_pictures { Pictures::None } else { Pictures::Drawn },
        }
    }
}

/// The bench of the job that was named, or of the job in this folder.
pub(super) fn bench(job: Option<&Path>) -> Result<JobBench, Failure> {
    let folder = match job {
        Some(folder) => folder.to_owned(),
        None if Path::new("job.toml").is_file() => PathBuf::from("."),
        None => return Ok(JobBench::default()),
    };
    let mut bench = files::read_job(&folder).map_err(|error| Failure::input(&error, error.advice()))?.bench;
    bench.mic = bench.mic.map(|mic| folder.join(mic));
    Ok(bench)
}

/// A response in a line: band, level's doubt, signal over noise, findings.
pub(super) fn one_line(document: &files::ResponseDocument) -> String {
    let [from_hz, to_hz] = document.valid_hz;
    let mut words = vec![format!("{} to {}", files::frequency_text(from_hz), files::frequency_text(to_hz))];
    words.extend(median(document.curve.u_db.clone()).map(|doubt| format!("± {} dB", two_digits(2.0 * doubt))));
    words.extend(document.snr_db.map(|snr| format!("signal/noise {snr:.0} dB")));
    let worth = document.findings.iter().filter(|finding| finding.severity != Severity::Note);
    let codes: Vec<String> = worth.map(|finding| finding.code.to_string()).collect();
    words.push(if codes.is_empty() { "nothing to say".to_owned() } else { codes.join(", ") });
    words.join("; ")
}

fn summary(responded: &Responded) -> String {
    let document = &responded.document;
    let [from_hz, to_hz] = document.valid_hz;
    let mut entries = vec![
        Entry::text("arrival", arrival_words(responded)),
        Entry::text(
            "gate",
            format!("{:.2} ms after the arrival ({})", document.gate.length_ms, document.settings.gate),
        ),
        Entry::text("valid", format!("{} to {}", files::frequency_text(from_hz), files::frequency_text(to_hz))),
        Entry::text(
            "level",
            format!("{}, {} points", document.level_reference.replace("uPa", "µPa"), document.curve.frequency_hz.len()),
        ),
    ];
    if let Some(doubt) = median(document.curve.u_db.clone()) {
        entries.push(Entry::text("doubt", format!("± {} dB at half of the points or better", two_digits(2.0 * doubt))));
    }
    if let Some(found) = document.reflection {
        entries.push(Entry::text(
            "reflection",
            format!("{:.2} ms after the arrival, {:.1} dB re the direct sound", found.peak_ms, found.level_db),
        ));
    }
    entries.extend(document.settings.room.as_ref().map(|room| Entry::text("room", placement::due_words(room))));
    entries.extend(document.clock_drift.map(|drift| Entry::quantity("clock drift", drift)));
    let snr = document.snr_db.map_or("not known".to_owned(), |snr| format!("{snr:.1} dB"));
    entries.push(Entry::text("signal/noise", snr));
    entries.push(Entry::text("reply's peak", format!("{:.1} dBFS", document.peak_dbfs)));
    for found in &document.ringing {
        let words = format!(
            "{}, Q {}, {} for 60 dB, {:.0} dB re all at its frequency",
            found.frequency, found.q, found.decay, found.level_db
        );
        entries.push(Entry::text("rings", words));
    }
    entries.extend(thd_words(responded).map(|words| Entry::text("distortion", words)));
    let layout = Layout { width: 100, paint: tell::paint() };
    let mut text = format!("{}\n{}", responded.document.inputs[0].path, numbers_text(&entries, layout));
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text.push_str(&format!("\nwritten to {} ({} files); ± is 2u\n", responded.folder.display(), document.files.len()));
    text
}

fn arrival_words(responded: &Responded) -> String {
    let since = match responded.analysis.time_reference {
        TimeReference::Loopback => "after the loopback",
        TimeReference::Mark => "after that of the time marks",
        TimeReference::Recording => "into the recording, latency of the devices included",
    };
    format!("{} {since}", responded.document.arrival)
}

/// THD at 1 kHz, or in the middle of what was excited.
fn thd_words(responded: &Responded) -> Option<String> {
    let table = responded.document.distortion.as_ref()?;
    let near = |hz: f64| (hz / 1000.0).ln().abs();
    let measured = table.frequency_hz.iter().zip(&table.thd_percent).filter_map(|(&hz, thd)| Some((hz, (*thd)?)));
    let (hz, percent) = measured.min_by(|a, b| near(a.0).total_cmp(&near(b.0)))?;
    Some(format!("THD {percent:.3} % at {}", files::frequency_text(hz)))
}

/// A small positive number with two digits that count.
pub(super) fn two_digits(value: f64) -> String {
    let decimals = if value > 0.0 { (1.0 - value.log10().floor()).clamp(0.0, 9.0) } else { 0.0 };
    format!("{value:.0$}", decimals as usize)
}
