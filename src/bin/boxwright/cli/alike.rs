//! `boxwright match CURVE…`: whether units are alike.

use super::compare::job_limits;
use super::{Failure, TellingArgs, ran, tell, typed};
use boxwright::driver::MOST_DIFFERENT_DB;
use boxwright::files::{self, MatchDocument, WorstTable};
use boxwright::job::{LevelCounts, MatchOrder, match_units};
use boxwright::report::{Entry, Layout, findings_text, numbers_text};
use clap::ValueEnum;
use std::path::PathBuf;
use std::process::ExitCode;

/// Compare units by their curves: is the replaced or dented one still the same driver?
///
/// Give the curves of two or more units: frequency responses, impedances (then their drivers' numbers are compared as well), or both, the
/// units in one order. A difference is called one only where it is larger than the measurements' own doubt, with a chance of 1 %
/// that it is none. Exit status 3 says that some pair is not within the limits.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct Args {
    /// The units' curves
    #[arg(required = true, num_args = 1..)]
    curves: Vec<PathBuf>,
    /// The first unit measured once more after it was set up anew: what setting up alone changes does not count
    #[arg(long, value_name = "CURVE")]
    again: Option<PathBuf>,
    /// How far two units may differ anywhere in the band, in dB, or FROM:TO [default: the job's pair_db, else 1]
    #[arg(long, value_name = "DB", allow_hyphen_values = true, value_parser = typed::limits_db)]
    limits: Option<[f64; 2]>,
    /// Where they are compared, in Hz [default: the job's band_hz, else wherever all have points]
    #[arg(long, value_name = "FROM:TO", value_parser = typed::band_hz)]
    band: Option<[f64; 2]>,
    /// What is made equal before the comparison
    #[arg(long, value_name = "WHAT", default_value = "none")]
    align: Align,
    /// Folder for the document [default: it is not written]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Job folder whose job.toml gives the limits [default: this folder, where it has one]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    #[command(flatten)]
    telling: TellingArgs,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Align {
    /// Nothing: a difference in level counts
    None,
    /// The mean level in the band
    Level,
}

/// Not within the limits.
const NOT_ALIKE: u8 = 3;

/// Compares the units and says what differs.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    if args.curves.len() < 2 {
        return Err(Failure::usage("one curve can't be compared", "name the curves of two or more units"));
    }
    let of_job = job_limits(args.job.as_deref())?;
    let pair_db = of_job.pair_db.unwrap_or(MOST_DIFFERENT_DB);
    let order = MatchOrder {
        ran: ran(args.job.as_deref(), &["limits"]),
        curves: args.curves,
        again: args.again,
        band_hz: args.band.or(of_job.band_hz),
        limits_db: args.limits.unwrap_or([-pair_db, pair_db]),
        level: match args.align {
            Align::None => LevelCounts::Yes,
            Align::Level => LevelCounts::No,
        },
        out: args.out,
    };
    let document = match_units(&order).map_err(|error| Failure::input(&error, error.advice()))?;
    args.telling.result(&document, || summary(&document))?;
    Ok(if document.within { ExitCode::SUCCESS } else { ExitCode::from(NOT_ALIKE) })
}

fn summary(document: &MatchDocument) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let mut text = String::new();
    for unit in &document.units {
        let numbers = [("R_e", unit.re), ("f_s", unit.fs), ("Q_ts", unit.qts)];
        let numbers: Vec<String> =
            numbers.iter().filter_map(|(name, quantity)| Some(format!("{name} {}", (*quantity)?))).collect();
        text.push_str(&numbers_text(&[Entry::text(&unit.name, numbers.join(", "))], layout));
    }
    let [from_hz, to_hz] = document.band_hz;
    let [lower_db, upper_db] = document.settings.limits_db;
    text.push_str(&format!(
        "\n{} to {}, limits {lower_db:+} to {upper_db:+} dB\n",
        files::frequency_text(from_hz),
        files::frequency_text(to_hz)
    ));
    let mut entries = Vec::new();
    for pair in &document.pairs {
        let verdict = match pair.verdict.as_str() {
            "within" => "alike",
            "undecided" => "can't be told",
            _ => "not alike",
        };
        let says = format!(
            "{verdict}: {}level {:+.2}{} dB, shape {:.2} dB rms, worst {} at {}",
            if document.of.contains("and") { format!("{}: ", pair.of) } else { String::new() },
            pair.level_db,
            pair.level_u_db.map_or(String::new(), |u_db| format!(" ± {:.2}", 2.0 * u_db)),
            pair.shape_db,
            worst_text(&pair.worst),
            files::frequency_text(pair.worst.at_hz)
        );
        entries.push(Entry::text(&format!("{} against {}", pair.a, pair.b), says));
        if pair.level_u_db.is_some() {
            let words = if pair.differs.is_empty() {
                "no difference beyond the measurements' own doubt".to_owned()
            } else {
                format!("more than doubt: {}", pair.differs.join(" and "))
            };
            entries.push(Entry::text("", words));
        }
        entries.extend(pair.says.iter().map(|words| Entry::text("", words.clone())));
    }
    text.push_str(&numbers_text(&entries, layout));
    if let Some(odd) = &document.odd_one_out {
        text.push_str(&format!("\nthe odd one out is {odd}\n"));
    }
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text.push_str("\n± is 2u\n");
    text
}

/// The greatest difference with its doubt, as far as the curves tell it.
fn worst_text(worst: &WorstTable) -> String {
    let level = format!("{:+.2}", worst.level_db);
    match (worst.u_db, worst.u_one_jig_db) {
        (Some(u_db), Some(one_jig_db)) => {
            format!("{level} ± {:.2} dB (± {:.2} dB if measured on one jig)", 2.0 * u_db, 2.0 * one_jig_db)
        }
        (Some(u_db), None) => format!("{level} ± {:.2} dB", 2.0 * u_db),
        (None, _) => format!("{level} dB"),
    }
}
