//! Faults that go along with a result: a table says them in its header, a document among its findings.
//!
//! ```text
//! # fault: clipped, channel 1 is clipped: 812 samples at full scale between 2.10 s and 2.31 s
//! ```
//!
//! Whoever reads the table or the document says them again, so that no comparison looks better than what it rests on.

use super::curve::header_line;
use super::{FileError, InputFile};
use crate::quantity::{Code, Finding, Severity};
use serde::Deserialize;
use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

/// The key of a header's lines.
const KEY: &str = "fault";
/// No head of ours is longer.
const MOST_HEAD_BYTES: u64 = 1 << 16;
const ADVICE: &str = "mend that and measure again before you trust what rests on it";

/// The lines of a table's header for what is not to be trusted among these findings.
pub fn fault_lines(findings: &[Finding]) -> Vec<(String, String)> {
    let faults = findings.iter().filter(|finding| finding.severity == Severity::Fault);
    faults.map(|fault| (KEY.to_owned(), format!("{}, {}", fault.code, fault.says))).collect()
}

/// What a curve's table, or a JSON document, says of itself that makes whatever rests on it doubtful. A file that is neither says nothing.
pub fn faults_of(path: &Path) -> Vec<Finding> {
    let is_document = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("json"));
    let faults = if is_document { of_document(path).unwrap_or_default() } else { of_table(path) };
    faults.into_iter().map(|fault| said_again(path, fault)).collect()
}

/// The same of every input of a result.
pub fn faults_of_inputs(inputs: &[InputFile]) -> Vec<Finding> {
    inputs.iter().flat_map(|input| faults_of(Path::new(&input.path))).collect()
}

/// The head is read and no more: whoever uses the curve has read the rest.
fn of_table(path: &Path) -> Vec<Finding> {
    let Ok(file) = File::open(path) else { return Vec::new() };
    let lines = BufReader::new(file.take(MOST_HEAD_BYTES)).lines().map_while(Result::ok);
    // Comments of Touchstone files begin with an exclamation mark.
    let of_comment = |line: String| match line.strip_prefix('!') {
        Some(comment) => header_line(&format!("#{comment}")),
        None => header_line(&line),
    };
    let head = lines.take_while(|line| line.starts_with(['#', '!'])).filter_map(of_comment);
    let fault = |(_, line): (String, String)| {
        let (word, says) = line.split_once(", ")?;
        let code: Code = serde_json::from_value(word.into()).ok()?;
        Some(Finding::new(code, Severity::Fault, says, ADVICE))
    };
    head.filter(|(key, _)| key == KEY).filter_map(fault).collect()
}

fn of_document(path: &Path) -> Result<Vec<Finding>, FileError> {
    #[derive(Deserialize)]
    struct Findings {
        findings: Vec<Finding>,
    }
    let told: Option<Findings> = serde_json::from_str(&super::read_text(path)?).ok();
    let findings = told.map_or_else(Vec::new, |told| told.findings);
    Ok(findings.into_iter().filter(|finding| finding.severity == Severity::Fault).collect())
}

fn said_again(path: &Path, fault: Finding) -> Finding {
    Finding { says: format!("{}: {}", path.display(), fault.says), advice: ADVICE.into(), ..fault }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::{Curve, Measure, replace_curve, touchstone_text};
    use crate::impedance::Impedance;
    use crate::quantity::FrequencyGrid;

    fn findings() -> Vec<Finding> {
        let of = |code, severity, says: &str| Finding::new(code, severity, says, "measure again");
        vec![
            of(Code::Clipped, Severity::Fault, "channel 1 is clipped, and\nhow"),
            of(Code::Noisy, Severity::Caution, "the reply stands 12 dB above the noise"),
        ]
    }

    #[test]
    fn a_table_hands_its_faults_on_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        let curve = Curve {
            measure: Measure::LevelDb,
            frequency_hz: vec![20.0, 40.0],
            values: vec![80.0, 81.0],
            phase_deg: None,
            u: None,
            u_noise: None,
            header: fault_lines(&findings()),
            notes: Vec::new(),
        };
        replace_curve(&path, &curve).unwrap();
        let [fault] = &faults_of(&path)[..] else { panic!("one fault") };
        assert_eq!((fault.code, fault.severity), (Code::Clipped, Severity::Fault));
        assert_eq!(fault.says, format!("{}: channel 1 is clipped, and how", path.display()));
        let path = folder.path().join("a.s1p");
        let impedance =
            Impedance::new(FrequencyGrid::new(vec![20.0, 40.0]).unwrap(), vec![8.0.into(), 9.0.into()]).unwrap();
        std::fs::write(&path, touchstone_text(&impedance, &fault_lines(&findings()))).unwrap();
        assert_eq!(faults_of(&path).iter().map(|fault| fault.code).collect::<Vec<_>>(), [Code::Clipped]);
    }

    #[test]
    fn a_document_hands_its_faults_on_and_other_files_have_none() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("driver.json");
        let text = serde_json::to_string(&serde_json::json!({ "findings": findings() })).unwrap();
        std::fs::write(&path, text).unwrap();
        assert_eq!(faults_of(&path).len(), 1);
        for (name, content) in [("a.wav", "RIFF"), ("b.json", "{}"), ("c.toml", "[job]")] {
            let path = folder.path().join(name);
            std::fs::write(&path, content).unwrap();
            assert_eq!(faults_of(&path), [], "{name}");
        }
        assert_eq!(faults_of(&folder.path().join("missing.csv")), []);
    }
}
