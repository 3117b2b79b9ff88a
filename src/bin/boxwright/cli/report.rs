//! `boxwright report [JOB]`: one HTML file that tells the story of a job.

use super::{Failure, TellingArgs, tell};
use boxwright::job::{Additions, ReportOrder, Reported, report};
use boxwright::report::{Layout, findings_text};
use std::path::PathBuf;
use std::process::ExitCode;

/// Tell the story of a job in one HTML file
///
/// What was built, then stage by stage what was captured and found, with pictures, numbers, findings and where all of it comes from; then
/// what was compared, matched and blended, and what is open. The file needs no network and nothing beside it. Pictures show their values
/// under the pointer or the arrow keys, and curves are switched on and off in the legend. The same folder gives the same file.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Job folder
    #[arg(default_value = ".")]
    job: PathBuf,
    /// The file to write, .html [default: report.html in the job folder]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// The pictures alone too, into this folder, under names that say what they show
    #[arg(long, value_name = "DIR")]
    pictures: Option<PathBuf>,
    #[command(flatten)]
    telling: TellingArgs,
}

/// Makes the report and says where it is.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let order =
        ReportOrder { folder: args.job, out: args.out, pictures: args.pictures, additions: Additions::default() };
    let reported = report(&order).map_err(|error| Failure::input(&error, error.advice()))?;
    args.telling.result(&reported.document, || summary(&reported, &order))?;
    Ok(ExitCode::SUCCESS)
}

fn summary(reported: &Reported, order: &ReportOrder) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let size = format!("{:.1} MiB", reported.bytes as f64 / f64::from(1 << 20));
    let mut text = format!("{}: {size}, open it in a browser\n", reported.page.display());
    if let Some(out) = &order.pictures {
        text.push_str(&format!("{}: {} pictures\n", out.display(), reported.pictures));
    }
    text.push_str(&findings_text(&reported.document.findings, layout));
    text
}
