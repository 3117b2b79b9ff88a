//! The stages of building, each with its units, each with its captures and results.

use super::added::Additions;
use super::result::{Recounted, alone, recount};
use crate::files::{CaptureStanding, ResultStanding, StatusDocument};
use crate::job::Stage;
use crate::report::{Chapter, Entry};
use std::path::Path;

/// Where in the story a result stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// What was drawn.
    Designed,
    /// A stage of building; none for any that is not one of ours.
    Stage(Option<Stage>),
    /// Measured over expected.
    Compared,
    /// Units beside each other.
    Alike,
    /// Satellite and subwoofer.
    Blend,
}

impl Place {
    /// Where it comes in the story, and in it the stage.
    pub fn rank(self) -> (u8, Option<Stage>) {
        match self {
            Self::Designed => (0, None),
            Self::Stage(Some(stage)) => (1, Some(stage)),
            Self::Stage(None) => (2, None),
            Self::Compared => (3, None),
            Self::Alike => (4, None),
            Self::Blend => (5, None),
        }
    }
}

/// A result, told, with where it stands.
pub(super) struct Part<'a> {
    pub standing: &'a ResultStanding,
    pub place: Place,
    pub recounted: Recounted,
}

/// All results in the order in which they are told: by time of their capture, then those that come from several.
pub(super) fn parts<'a>(folder: &Path, status: &'a StatusDocument, additions: &Additions) -> Vec<Part<'a>> {
    let from = |result: &ResultStanding| status.captures.iter().position(|one| one.results.contains(&result.path));
    let mut results: Vec<&ResultStanding> = status.results.iter().collect();
    results.sort_by_key(|result| from(result).unwrap_or(usize::MAX));
    results
        .into_iter()
        .map(|standing| {
            let capture = from(standing).map(|at| &status.captures[at]);
            let recounted = recount(folder, standing, capture, additions.results.get(&standing.path));
            Part { standing, place: place(standing), recounted }
        })
        .collect()
}

fn place(standing: &ResultStanding) -> Place {
    let said = standing.stage.as_deref();
    let usual = match standing.kind.as_str() {
        "simulation" | "network" => return Place::Designed,
        "compare" => return Place::Compared,
        "match" => return Place::Alike,
        "blend" => return Place::Blend,
        "driver" => Some(Stage::OnTheBench),
        "box" => Some(Stage::InItsBox),
        _ => None,
    };
    Place::Stage(said.map_or(usual, Stage::named))
}

/// The chapters of a place that has no units: its results one after the other.
pub(super) fn chapter_of(parts: &[Part<'_>], place: Place, heading: &str, prose: &str) -> Option<Chapter> {
    let told: Vec<Chapter> =
        { parts.iter() }.filter(|part| part.place == place).map(|part| part.recounted.chapter.clone()).collect();
    let prose = if prose.is_empty() { Vec::new() } else { vec![prose.to_owned()] };
    (!told.is_empty()).then(|| Chapter { heading: heading.into(), prose, parts: told, ..Chapter::default() })
}

/// The chapter of a stage, if anything was captured or found there.
pub(super) fn stage_chapter(
    folder: &Path,
    status: &StatusDocument,
    parts: &[Part<'_>],
    stage: Option<Stage>,
) -> Option<Chapter> {
    let is_here = |said: Option<&str>| said.and_then(Stage::named) == stage;
    let captures: Vec<&CaptureStanding> =
        { status.captures.iter() }.filter(|capture| is_here(capture.stage.as_deref())).collect();
    let parts: Vec<&Part<'_>> = parts.iter().filter(|part| part.place == Place::Stage(stage)).collect();
    let mut units: Vec<Option<&str>> = Vec::new();
    let of_captures = captures.iter().map(|capture| capture.unit.as_deref());
    for unit in of_captures.chain(parts.iter().map(|part| part.standing.unit.as_deref())) {
        if !units.contains(&unit) {
            units.push(unit);
        }
    }
    units.sort_by_key(Option::is_none); // what belongs to no unit comes last
    let told: Vec<Chapter> = units.into_iter().map(|unit| unit_chapter(folder, unit, &captures, &parts)).collect();
    let heading = stage.map_or("Elsewhere", heading_of).to_owned();
    (!told.is_empty()).then(|| Chapter { heading, parts: told, ..Chapter::default() })
}

/// A stage's heading.
fn heading_of(stage: Stage) -> &'static str {
    match stage {
        Stage::OnTheBench => "On the bench",
        Stage::InItsBox => "In its box",
        Stage::OnTheStand => "On the stand",
        Stage::WithTheSubwoofer => "With the subwoofer",
    }
}

/// What was captured and found of a unit at a stage.
fn unit_chapter(folder: &Path, unit: Option<&str>, captures: &[&CaptureStanding], parts: &[&Part<'_>]) -> Chapter {
    let own: Vec<&&Part<'_>> = parts.iter().filter(|part| part.standing.unit.as_deref() == unit).collect();
    let mut told: Vec<Chapter> = own.iter().map(|part| part.recounted.chapter.clone()).collect();
    // Two of one heading are told apart by the folders they lie in.
    let headings: Vec<String> = told.iter().map(|chapter| chapter.heading.clone()).collect();
    for (chapter, part) in told.iter_mut().zip(&own) {
        if headings.iter().filter(|heading| **heading == chapter.heading).count() > 1 {
            let place = Path::new(&part.standing.path).parent().and_then(Path::file_name);
            let place = place.map_or_else(String::new, |place| format!(" ({})", place.to_string_lossy()));
            chapter.heading.push_str(&place);
        }
    }
    let alone: Vec<Entry> = { captures.iter() }
        .filter(|capture| capture.unit.as_deref() == unit && capture.results.is_empty())
        .map(|capture| alone(folder, capture))
        .collect();
    if !alone.is_empty() {
        told.push(Chapter {
            heading: "Captures without a result of their own".into(),
            numbers: alone,
            columns: Some(["Recording", "How"]),
            ..Chapter::default()
        });
    }
    Chapter { heading: unit.unwrap_or("Several units, or none named").into(), parts: told, ..Chapter::default() }
}
