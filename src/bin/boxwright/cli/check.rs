//! `boxwright check [JOB]`: a job against its own limits, for scripts.

use super::{Failure, TellingArgs, tell};
use boxwright::files::{CheckDocument, VerdictTable, frequency_text};
use boxwright::job::check;
use boxwright::report::{Entry, Layout, findings_text, numbers_text};
use std::path::PathBuf;
use std::process::ExitCode;

/// Judge a job against its own limits: each unit against its design, and the units of one design against each other
///
/// The limits are the job's ([limits] against_design_db, pair_db, band_hz), the curves those of its record. A unit is outside its limits only
/// where it is so beyond twice the doubt of the measurement. Exit status 3 says that something is outside; 1 that nothing can be judged.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Job folder
    #[arg(default_value = ".")]
    job: PathBuf,
    #[command(flatten)]
    telling: TellingArgs,
}

/// Not within the limits.
const NOT_WITHIN: u8 = 3;

/// Judges the job and says how.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let document = check(&args.job).map_err(|error| Failure::input(&error, error.advice()))?;
    args.telling.result(&document, || summary(&document))?;
    Ok(if document.within { ExitCode::SUCCESS } else { ExitCode::from(NOT_WITHIN) })
}

fn summary(document: &CheckDocument) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let entries: Vec<Entry> = document.verdicts.iter().map(|one| Entry::text(&subject(one), words(one))).collect();
    let mut text = numbers_text(&entries, layout);
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text
}

fn subject(verdict: &VerdictTable) -> String {
    match verdict.against.as_str() {
        "design" => format!("{}, its design", verdict.of),
        other => format!("{}, {other}", verdict.of),
    }
}

fn words(verdict: &VerdictTable) -> String {
    match (&verdict.worst, &verdict.says) {
        (_, Some(says)) => format!("not judged: {says}"),
        (Some(worst), _) => {
            let doubt = worst.u_db.map_or_else(String::new, |u_db| format!(" ± {:.2}", 2.0 * u_db));
            format!(
                "{}: {:+.2}{doubt} dB at {}, limit {} dB",
                verdict.verdict,
                worst.level_db,
                frequency_text(worst.at_hz),
                verdict.limit_db
            )
        }
        (None, None) => verdict.verdict.clone(),
    }
}
