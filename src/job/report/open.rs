//! What is open: what brings everything up to date, what needs a person, what the record itself lacks.

use crate::files::{CommandToRun, StatusDocument};
use crate::quantity::Finding;
use crate::report::{Chapter, Entry, command_text};

/// The chapter, unless nothing is open; `trouble` is what was noticed while the report was made.
pub(super) fn open(status: &StatusDocument, trouble: &[Finding]) -> Option<Chapter> {
    let line = |one: &CommandToRun| Entry::text(&command_text(&one.command), one.says.clone());
    let todo: Vec<Entry> = status.todo.iter().map(line).collect();
    let next: Vec<Entry> = status.next.iter().map(line).collect();
    let findings: Vec<Finding> = status.findings.iter().chain(trouble).cloned().collect();
    let part = |heading: &str, prose: &str, numbers: Vec<Entry>| {
        let told = Chapter {
            heading: heading.into(),
            prose: vec![prose.into()],
            numbers,
            columns: Some(["Command", "Why"]),
            ..Chapter::default()
        };
        (!told.numbers.is_empty()).then_some(told)
    };
    let parts: Vec<Chapter> = [
        part(
            "To bring everything up to date",
            "In this order, in the job's folder; or all at once: boxwright status --do",
            todo,
        ),
        part("What comes next", "This needs a person.", next),
    ]
    .into_iter()
    .flatten()
    .collect();
    let is_open = !parts.is_empty() || !findings.is_empty();
    is_open.then(|| Chapter { heading: "What is open".into(), findings, parts, ..Chapter::default() })
}
