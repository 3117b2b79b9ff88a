//! Of which loudspeaker, and of which stage of building, a result tells.
//!
//! No equation, a rule: what it came from first tells it (a joined curve: the far one, which is named last), through other
//! results down to a capture. Of several loudspeakers, as in a match, there is no one.

use super::found::{Found, FoundResult};
use std::collections::HashMap;
use std::path::Path;

/// What a result is about, as its capture says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Subject {
    /// The loudspeaker.
    pub unit: Option<String>,
    /// The stage of building.
    pub stage: Option<String>,
}

/// Results that tell of several loudspeakers.
const OF_SEVERAL: [&str; 3] = ["match", "average", "blend"];

/// The subject of every result, in the order of the record.
pub fn subjects(found: &Found) -> Vec<Subject> {
    let of_captures: HashMap<&Path, Subject> = { found.captures.iter() }
        .map(|capture| {
            let (unit, stage) = (capture.description.unit.clone(), capture.description.stage.clone());
            (capture.wav.as_path(), Subject { unit, stage })
        })
        .collect();
    let makers: HashMap<&Path, &FoundResult> = { found.results.iter() }
        .flat_map(|result| result.files.iter().map(move |path| (path.as_path(), result)))
        .collect();
    let of = |result: &FoundResult| {
        let subject = traced(result, &of_captures, &makers, 0);
        if OF_SEVERAL.contains(&result.kind.as_str()) { Subject { unit: None, ..subject } } else { subject }
    };
    found.results.iter().map(of).collect()
}

/// Results rest on results no more often than this.
const LONGEST_CHAIN: usize = 20;

fn traced(
    result: &FoundResult,
    captures: &HashMap<&Path, Subject>,
    makers: &HashMap<&Path, &FoundResult>,
    depth: usize,
) -> Subject {
    let leading = if result.kind == "join" { result.inputs.last() } else { result.inputs.first() };
    let Some((path, _)) = leading.filter(|_| depth < LONGEST_CHAIN) else { return Subject::default() };
    match (captures.get(path.as_path()), makers.get(path.as_path())) {
        (Some(subject), _) => subject.clone(),
        (None, Some(maker)) => traced(maker, captures, makers, depth + 1),
        (None, None) => Subject::default(),
    }
}
