//! A row of the table: one damage of one size, and what became of the captures that had it.

use super::response_error::{Band, TOLERATED_DB};
use boxwright::math::median;
use boxwright::quantity::{Code, Finding};

/// What keeps a capture from telling a damage.
#[derive(Clone, Copy, PartialEq)]
pub enum Untold {
    /// Nothing does.
    Never,
    /// What moves with a single sweep without marks is a system like any other.
    WithoutMarks,
    /// A second path through air or file, a gain, a resistor or a filter are linear systems as a loudspeaker is one.
    Linear,
}

impl Untold {
    /// Whether nothing in a capture with or without marks and of so many sweeps tells it.
    pub fn holds(self, marks: usize, sweeps: usize) -> bool {
        match self {
            Self::Never => false,
            Self::WithoutMarks => marks == 0 && sweeps < 2,
            Self::Linear => true,
        }
    }
}

/// What is counted.
#[derive(Default)]
pub struct Row {
    captures: usize,
    named: usize,
    said: usize,
    refused: usize,
    silent: usize,
    /// The largest excess of each capture that gave a curve.
    excess_db: Vec<f64>,
}

impl Row {
    /// Counts a capture in that was refused with these words; `codes`: those that would name what is wrong, none where any will do.
    pub fn add_refused(&mut self, error: &str, codes: &[Code]) {
        self.captures += 1;
        self.refused += 1;
        self.said += 1;
        self.named += usize::from(codes.is_empty() || codes.iter().any(|code| error.contains(&code.to_string())));
    }

    /// Counts a capture in that gave a curve with these findings, of which some are `new`; words if it is off in silence.
    pub fn add(&mut self, findings: &[Finding], new: &[&Finding], codes: &[Code], bands: &[Band]) -> Option<String> {
        self.captures += 1;
        self.named += usize::from(findings.iter().any(|finding| codes.contains(&finding.code)));
        self.said += usize::from(!new.is_empty());
        self.excess_db.push(bands.iter().map(Band::excess_db).fold(0.0, f64::max));
        let worst = worst_in_silence(bands, new)?;
        self.silent += 1;
        Some(off_in_words(worst, findings))
    }

    /// The row as it is printed.
    pub fn line(&self, name: &str, size: f64, unit: &str) -> String {
        let percent = |count: usize| 100.0 * count as f64 / self.captures as f64;
        let most = self.excess_db.iter().copied().max_by(f64::total_cmp);
        let error = match (median(self.excess_db.clone()), most) {
            (Some(middle), Some(most)) => format!("{middle:16.2} {most:6.2}"),
            _ => "-".to_owned(),
        };
        format!(
            "{name:36} {size:>9.4} {unit:13} {:4} {:5.0}% {:4.0}% {:7.0}% {:6}  {error}",
            self.captures,
            percent(self.named),
            percent(self.said),
            percent(self.refused),
            self.silent,
        )
    }
}

/// What stands over the rows.
pub fn heading() -> &'static str {
    "\ndamage                                    size          captures  named  said  refused  silent   error dB: middle  most"
}

/// The band that is furthest off beyond what is tolerated, and of which no finding warns.
pub fn worst_in_silence<'a>(bands: &'a [Band], findings: &[&Finding]) -> Option<&'a Band> {
    let is_silent =
        |band: &&Band| band.excess_db() > TOLERATED_DB && !findings.iter().any(|finding| band.is_warned_of_by(finding));
    bands.iter().filter(is_silent).max_by(|a, b| a.excess_db().total_cmp(&b.excess_db()))
}

/// How far a band is off, and all that was said.
pub fn off_in_words(worst: &Band, findings: &[Finding]) -> String {
    let said: Vec<String> = findings.iter().map(name).collect();
    let (off_db, admitted_db, hz) = (worst.off_db, worst.admitted_db, worst.middle_hz());
    format!("{off_db:+.2} dB (admits {admitted_db:.2}) at {hz:.0} Hz; {}", said.join(", "))
}

/// So many silent ones are told in detail.
const MOST_TOLD: usize = 80;

/// The errors of which nothing was said: how many, and the words of those that a capture could have told.
pub fn say_silent(silent: &[(bool, String)], untold: &str) {
    let tellable: Vec<&String> = silent.iter().filter(|(untold, _)| !untold).map(|(_, words)| words).collect();
    println!(
        "\nsilent errors: {}, and {} that no capture of their kind can tell ({untold})",
        tellable.len(),
        silent.len() - tellable.len()
    );
    tellable.iter().take(MOST_TOLD).for_each(|words| println!("  {words}"));
}

/// Severity and code.
pub fn name(finding: &Finding) -> String {
    format!("{:?} {}", finding.severity, finding.code).to_lowercase()
}
