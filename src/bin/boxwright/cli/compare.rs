//! `boxwright compare MEASURED EXPECTED`: how two curves differ, and why.

use super::{Failure, TellingArgs, ran, tell, typed};
use boxwright::explanation::Align;
use boxwright::files::{self, CompareDocument, frequency_text};
use boxwright::job::{CompareOrder, ExplainOrder, Pictures, compare, design_tables};
use boxwright::report::{Entry, Layout, findings_text, numbers_text};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Lay a measured curve over an expected one: how far they differ, and with --explain which causes in the job explain it
///
/// Both are responses, or both impedances: of this program, or any text table. Of two measurements, before and after a
/// change, what differs by more than their doubt is told with its band (`--align none` keeps a change of the level as a whole).
/// With a predicted sum of `boxwright blend` the capture of both playing tells which way delay, polarity and level are off.
/// Exit status 3 says that the difference is not within the limits.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct Args {
    /// What was measured
    measured: PathBuf,
    /// What was expected: a simulation, an earlier measurement, a curve from elsewhere
    expected: PathBuf,
    /// Where they are compared, in Hz [default: the job's band_hz, else wherever both have points]
    #[arg(long, value_name = "FROM:TO", value_parser = typed::band_hz)]
    band: Option<[f64; 2]>,
    /// What is made equal first: level, delay, level,delay or none
    #[arg(long, value_name = "WHAT", default_value = "level", value_parser = align)]
    align: Align,
    /// How far they may differ anywhere in the band, in dB, or FROM:TO [default: the job's against_design_db, else 3]
    #[arg(long, value_name = "DB", allow_hyphen_values = true, value_parser = typed::limits_db)]
    limits: Option<[f64; 2]>,
    /// Job folder whose design explains the difference
    #[arg(long, value_name = "JOB")]
    explain: Option<PathBuf>,
    /// Which of the job's loudspeakers it is [default: its only one]
    #[arg(long, value_name = "NAME", requires = "explain")]
    speaker: Option<String>,
    /// The other measurement of the same loudspeaker: its impedance beside a response, or the other way round
    #[arg(long, value_name = "CURVE", requires = "explain")]
    also: Option<PathBuf>,
    /// From the loudspeaker to the microphone, in m [default: the job's, else 1]
    #[arg(long, value_name = "M", requires = "explain", value_parser = typed::metres)]
    distance_m: Option<f64>,
    /// Folder for the results [default: beside the measured curve, named after it]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Draw no picture
    #[arg(long)]
    no_pictures: bool,
    #[command(flatten)]
    telling: TellingArgs,
}

/// Not within the limits.
const NOT_WITHIN: u8 = 3;
/// Common practice for a prototype against its simulation.
const USUAL_DB: f64 = 3.0;

/// Compares the curves and says how they differ.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let limits = job_limits(args.explain.as_deref())?;
    let usual_db = limits.against_design_db.unwrap_or(USUAL_DB);
    let mut looked_into = vec!["limits".to_owned()];
    if let Some(job) = &args.explain {
        looked_into.extend(design_tables(job, args.speaker.as_deref()));
        looked_into.push("bench".to_owned());
    }
    let order = CompareOrder {
        ran: ran(args.explain.as_deref(), &looked_into),
        measured: args.measured,
        expected: args.expected,
        band_hz: args.band.or(limits.band_hz),
        align: args.align,
        limits_db: args.limits.unwrap_or([-usual_db, usual_db]),
        explain: args.explain.map(|job| ExplainOrder {
            job,
            speaker: args.speaker,
            also: args.also,
            distance_m: args.distance_m,
        }),
        out: args.out,
        pictures: if args.no_pictures { Pictures::None } else { Pictures::Drawn },
    };
    let done = compare(&order).map_err(|error| Failure::input(&error, error.advice()))?;
    args.telling.result(&done.document, || summary(&done.document, &done.folder))?;
    Ok(if done.document.within { ExitCode::SUCCESS } else { ExitCode::from(NOT_WITHIN) })
}

/// The limits of the job that was named, or of the one here.
pub(super) fn job_limits(job: Option<&Path>) -> Result<files::JobLimits, Failure> {
    let folder = match job {
        Some(job) => job,
        None if Path::new("job.toml").is_file() => Path::new("."),
        None => return Ok(files::JobLimits::default()),
    };
    files::read_job(folder).map(|job| job.limits).map_err(|error| Failure::input(&error, error.advice()))
}

/// `level,delay`.
fn align(text: &str) -> Result<Align, String> {
    match text {
        "none" => Ok(Align { level: false, delay: false }),
        "level" => Ok(Align { level: true, delay: false }),
        "delay" => Ok(Align { level: false, delay: true }),
        "level,delay" | "delay,level" => Ok(Align { level: true, delay: true }),
        _ => Err(format!("{text:?} is none of level, delay, level,delay, none")),
    }
}

fn summary(document: &CompareDocument, folder: &Path) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let [from, to] = document.band_hz.map(frequency_text);
    let [lower, upper] = document.settings.limits_db;
    let verdict = if document.within { "within the limits" } else { "not within the limits" };
    let mut entries = vec![
        Entry::text("band", format!("{from} to {to}")),
        Entry::text("verdict", format!("{verdict}, {lower:+} to {upper:+} dB")),
    ];
    if document.settings.align.contains("level") {
        entries.push(Entry::text(
            "level",
            format!("{:+.2} dB measured over expected, taken off", document.aligned.level_db),
        ));
    }
    if let Some(delay_ms) = document.aligned.delay_ms {
        entries.push(Entry::text("delay", format!("{delay_ms:+.3} ms measured after expected, taken off")));
    }
    let worst = &document.worst;
    let doubt = worst.u_db.map_or(String::new(), |u| format!(" ± {:.2}", 2.0 * u));
    entries.push(Entry::text("difference", format!("{:.2} dB rms", document.rms_db)));
    entries.push(Entry::text("worst", format!("{:+.2}{doubt} dB at {}", worst.level_db, frequency_text(worst.at_hz))));
    if let Some(changes) = &document.changed {
        for change in changes {
            let [from, to] = change.band_hz.map(frequency_text);
            entries.push(Entry::text("changed", format!("{} from {from} to {to}", change.level)));
        }
        if changes.is_empty() {
            entries.push(Entry::text("changed", "nothing beyond the measurements' own doubt"));
        }
    }
    let mut text = numbers_text(&entries, layout);
    if let Some(causes) = &document.causes {
        let mut entries = Vec::new();
        for cause in causes {
            entries
                .push(Entry::text(&cause.cause, format!("{}; explains {:.0} %", cause.says, cause.explains_percent)));
            if let (false, Some(tell)) = (cause.or.is_empty(), &cause.tell_apart) {
                entries.push(Entry::text("", format!("or {}: {tell}", cause.or.join(", or "))));
            }
        }
        entries.extend(
            document
                .left
                .as_ref()
                .map(|left| Entry::text(if causes.is_empty() { "why" } else { "rest" }, left.says.clone())),
        );
        text.push_str(&format!("\nwhy\n{}", numbers_text(&entries, layout)));
    }
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text.push_str(&format!("\nwritten to {} ({} files); ± is 2u\n", folder.display(), document.files.len()));
    text
}
