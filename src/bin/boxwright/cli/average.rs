//! `boxwright average CURVE…`: the mean over microphone places or directions.

use super::{Failure, TellingArgs, ran, ran::NO_TABLES, tell, typed};
use boxwright::files::{AverageDocument, frequency_text};
use boxwright::job::{AverageOrder, Pictures, average_curves};
use boxwright::math::median;
use boxwright::quantity::POINTS_PER_OCTAVE;
use boxwright::report::{Entry, Layout, findings_text, numbers_text};
use boxwright::response::{AverageBy, Direction};
use clap::ValueEnum;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Average responses over microphone places or over angles, with the spread among them
///
/// Curves are responses in dB: response.csv of this program, or any text table. Their levels must refer to the same thing.
/// Without --angles they count as places of one region: their scatter is the doubt of the average. With --angles they are
/// the directions that are meant, and only the curves' own doubts count.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct Args {
    /// The curves, two or more
    #[arg(required = true, num_args = 1..)]
    curves: Vec<PathBuf>,
    /// What is averaged
    #[arg(long, value_name = "WHAT", default_value = "power")]
    by: By,
    /// How much each curve counts, one number each [default: all alike]
    #[arg(long, value_name = "1,2,…", value_delimiter = ',', allow_hyphen_values = true, value_parser = typed::above_zero)]
    weights: Option<Vec<f64>>,
    /// Direction of each curve in degrees off the axis: 10 horizontal, v10 vertical [default: places, not directions]
    #[arg(long, value_name = "0,10,v-10,…", value_delimiter = ',', allow_hyphen_values = true, value_parser = typed::direction)]
    angles: Option<Vec<Direction>>,
    /// Points of the average in each octave
    #[arg(long, value_name = "N", default_value_t = POINTS_PER_OCTAVE, value_parser = clap::value_parser!(u32).range(1..=384))]
    points_per_octave: u32,
    /// Folder for the results [default: averaged, beside the first curve]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Draw no picture
    #[arg(long)]
    no_pictures: bool,
    #[command(flatten)]
    telling: TellingArgs,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum By {
    /// The mean of |H|²; phases play no part
    Power,
    /// The mean of H, each with its phase referred to its own arrival, as response.csv has it
    Complex,
}

/// Averages the curves and says what came out.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let order = AverageOrder {
        ran: ran(None, NO_TABLES),
        curves: args.curves,
        by: match args.by {
            By::Power => AverageBy::Power,
            By::Complex => AverageBy::Complex,
        },
        weights: args.weights,
        directions: args.angles,
        points_per_octave: args.points_per_octave,
        out: args.out,
        pictures: if args.no_pictures { Pictures::None } else { Pictures::Drawn },
    };
    let done = average_curves(&order).map_err(|error| match error.is_usage() {
        true => Failure::usage(&error, error.advice()),
        false => Failure::input(&error, error.advice()),
    })?;
    args.telling.result(&done.document, || summary(&done.document, &done.folder))?;
    Ok(ExitCode::SUCCESS)
}

fn summary(document: &AverageDocument, folder: &Path) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let [from, to] = document.band_hz.map(frequency_text);
    let reference = document.level_reference.as_deref().unwrap_or("relative").replace("uPa", "µPa");
    let mut entries = vec![
        Entry::text("what", format!("{}, by {}, of {} curves", document.what, document.settings.by, document.of)),
        Entry::text("band", format!("{from} to {to}, {} points", document.curve.frequency_hz.len())),
        Entry::text("level", reference),
    ];
    if let Some(spread_db) = median(document.spread.level_db.clone()) {
        entries.push(Entry::text(
            "spread",
            format!("{spread_db:.2} dB among the curves (median of their standard deviation)"),
        ));
    }
    if let Some(u_db) = document.curve.u_db.clone().and_then(median) {
        entries.push(Entry::text("doubt", format!("± {:.2} dB at half of the points or better", 2.0 * u_db)));
        entries.push(Entry::text("", format!("from {}", document.settings.u_from)));
    }
    if let Some(phase) = &document.settings.phase_reference {
        entries.push(Entry::text("phase", format!("referred to {phase}")));
    }
    let mut text = numbers_text(&entries, layout);
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text.push_str(&format!("\nwritten to {} ({} files); ± is 2u\n", folder.display(), document.files.len()));
    text
}
