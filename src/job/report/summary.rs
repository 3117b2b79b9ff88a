//! The answer in a few sentences: how much there is, what is worst, what was decided, what is open.

use super::result::moment;
use super::stages::Part;
use crate::files::StatusDocument;
use crate::quantity::{Code, Severity};

/// No more kinds of findings than these are named at the top.
const MOST_NAMED: usize = 4;

/// How much there is, and what is open.
pub(super) fn summary(status: &StatusDocument) -> String {
    format!("{} {}", extent(status), open(status))
}

/// What the results decide, in the order of the story, and then what is worst.
pub(super) fn answers(parts: &[Part<'_>]) -> Vec<String> {
    let worst = [worst(parts, Severity::Fault, "Faults"), worst(parts, Severity::Caution, "Cautions")];
    let mut parts: Vec<&Part<'_>> = parts.iter().collect();
    parts.sort_by_key(|part| part.place.rank());
    { parts.iter() }
        .flat_map(|part| &part.recounted.verdicts)
        .map(|verdict| begun(verdict))
        .chain(worst.into_iter().flatten())
        .collect()
}

/// With a capital, as sentences begin.
fn begun(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
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

/// The findings of a severity by kind: what the first one says, and where else there are such.
fn worst(parts: &[Part<'_>], severity: Severity, lead: &str) -> Option<String> {
    let mut kinds: Vec<(Code, String, Vec<&str>)> = Vec::new();
    for part in parts {
        let of = part.standing.unit.as_deref().unwrap_or(&part.recounted.chapter.heading);
        for finding in part.recounted.chapter.findings.iter().filter(|finding| finding.severity == severity) {
            match kinds.iter_mut().find(|(code, ..)| *code == finding.code) {
                Some((_, _, also)) if !also.contains(&of) => also.push(of),
                Some(_) => {}
                None => {
                    let says = format!("{of}, {}: {}", finding.code, finding.says.trim_end_matches('.'));
                    kinds.push((finding.code, says, vec![of]));
                }
            }
        }
    }
    let more = kinds.len().saturating_sub(MOST_NAMED);
    let named = kinds.iter().take(MOST_NAMED).map(|(_, says, of)| match &of[1..] {
        [] => says.clone(),
        also => format!("{says} (also {})", also.join(", ")),
    });
    let named: Vec<String> = named.collect();
    let rest = if more == 0 { String::new() } else { format!("; and {more} more") };
    (!named.is_empty()).then(|| format!("{lead}: {}{rest}.", named.join("; ")))
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
