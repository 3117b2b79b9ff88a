//! The answer in a few sentences: how much there is, what is worst, what was decided, what is open.

use super::result::moment;
use super::stages::Part;
use crate::files::StatusDocument;
use crate::quantity::{Finding, Severity};

/// No more findings than these are named at the top.
const MOST_NAMED: usize = 4;

/// The paragraphs.
pub(super) fn summary(status: &StatusDocument, parts: &[Part<'_>]) -> Vec<String> {
    let mut paragraphs = vec![extent(status)];
    let verdicts: Vec<&str> = { parts.iter() }.flat_map(|part| &part.recounted.verdicts).map(String::as_str).collect();
    paragraphs.extend((!verdicts.is_empty()).then(|| verdicts.join(" ")));
    paragraphs.extend(worst(parts, Severity::Fault, "Not to be trusted"));
    paragraphs.extend(worst(parts, Severity::Caution, "To be used with care"));
    paragraphs.push(open(status));
    paragraphs
}

fn counted(count: usize, one: &str, more: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {more}") }
}

fn extent(status: &StatusDocument) -> String {
    let days: Vec<String> = status.captures.iter().map(|capture| moment(&capture.when)).collect();
    let day = |moment: &String| moment.get(..10).unwrap_or(moment).to_owned();
    let span = match (days.iter().min().map(day), days.iter().max().map(day)) {
        (Some(first), Some(last)) if first == last => format!(", of {first}"),
        (Some(first), Some(last)) => format!(", from {first} to {last}"),
        _ => String::new(),
    };
    let captures = counted(status.captures.len(), "capture", "captures");
    format!("{captures} and {}{span}.", counted(status.results.len(), "result", "results"))
}

/// The findings of a severity, the first ones by name.
fn worst(parts: &[Part<'_>], severity: Severity, lead: &str) -> Option<String> {
    let mut named: Vec<String> = Vec::new();
    for part in parts {
        let of = part.standing.unit.as_deref().unwrap_or(&part.recounted.chapter.heading);
        for finding in part.recounted.chapter.findings.iter().filter(|finding| finding.severity == severity) {
            let says = one(of, finding);
            if !named.contains(&says) {
                named.push(says);
            }
        }
    }
    let more = named.len().saturating_sub(MOST_NAMED);
    named.truncate(MOST_NAMED);
    let rest = if more == 0 { String::new() } else { format!("; and {more} more") };
    (!named.is_empty()).then(|| format!("{lead}: {}{rest}.", named.join("; ")))
}

fn one(of: &str, finding: &Finding) -> String {
    format!("{of}, {}: {}", finding.code, finding.says.trim_end_matches('.'))
}

fn open(status: &StatusDocument) -> String {
    let stale = status.results.iter().filter(|result| result.state == "out-of-date").count();
    let stale = match stale {
        0 => "Nothing is out of date".to_owned(),
        stale => format!("{} out of date", counted(stale, "result is", "results are")),
    };
    let next = status.next.first().map_or(String::new(), |next| format!("; next: {}", next.says));
    format!("{stale}{next}.")
}
