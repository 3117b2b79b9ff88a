//! One result as a part of the story: how it came about, its pictures, numbers, findings, origin.

use super::added::Added;
use super::facts::Facts;
use super::provenance::provenance;
use super::told::{Shown, Told, told};
use crate::files::{self, CaptureStanding, ResultStanding, read_capture_description};
use crate::quantity::{Code, Finding, Severity};
use crate::report::{Chapter, Entry, Figure, PagePicture, command_text};
use serde_json::Value;
use std::path::{Path, PathBuf};

/// A result that is told.
#[derive(Debug, Clone, Default)]
pub(super) struct Recounted {
    /// Its part of the story.
    pub chapter: Chapter,
    /// Its answers, a sentence each.
    pub verdicts: Vec<String>,
    /// The files of its pictures, without their endings.
    pub pictures: Vec<PathBuf>,
    /// What was noticed while the report was made.
    pub trouble: Vec<Finding>,
}

/// Tells a result of the job in `folder`; `capture` is what it came straight from.
pub(super) fn recount(
    folder: &Path,
    standing: &ResultStanding,
    capture: Option<&CaptureStanding>,
    added: Option<&Added>,
) -> Recounted {
    let path = folder.join(&standing.path);
    let (document, unreadable) = match document(&path) {
        Ok(document) => (document, None),
        Err(says) => (Value::Null, Some(format!("The document can't be read: {says}."))),
    };
    let facts = Facts(&document);
    let Told { heading, prose, mut numbers, pictures, verdicts } = told(&standing.kind, facts);
    let beside = Path::new(&standing.path).parent().unwrap_or(Path::new(""));
    let mut shown = Figures::default();
    pictures.iter().for_each(|picture| shown.take(folder, beside, picture));
    let missing = (!pictures.is_empty() && shown.paths.is_empty()).then(|| undrawn(standing));
    numbers.extend(added.iter().flat_map(|added| added.numbers.clone()));
    shown.figures.extend(added.iter().flat_map(|added| added.figures.clone()));
    let own_words = added.iter().flat_map(|added| added.prose.clone());
    let captured = capture.map(|capture| captured(folder, capture));
    let chapter = Chapter {
        heading: added.and_then(|added| added.heading.clone()).unwrap_or(heading),
        warnings: unreadable.into_iter().chain(outdated(standing)).collect(),
        prose: own_words.chain(prose).chain(captured).chain(missing).collect(),
        figures: shown.figures,
        more_figures: shown.folded,
        numbers,
        columns: None,
        findings: facts.findings(),
        settings: provenance(folder, standing, facts),
        parts: Vec::new(),
    };
    Recounted { chapter, verdicts, pictures: shown.paths, trouble: shown.trouble }
}

/// The document, or why there is none.
fn document(path: &Path) -> Result<Value, String> {
    let text = files::read_result_text(path).map_err(|error| error.to_string())?;
    serde_json::from_str(&text).map_err(|error| error.to_string())
}

/// The pictures beside a result.
#[derive(Debug, Clone, Default)]
struct Figures {
    figures: Vec<Figure>,
    folded: Vec<Figure>,
    paths: Vec<PathBuf>,
    trouble: Vec<Finding>,
}

impl Figures {
    /// Takes a picture from its file `beside` a result of the job in `folder`, if there is one that is ours.
    fn take(&mut self, folder: &Path, beside: &Path, shown: &Shown) {
        let place = beside.join(format!("{}.svg", shown.stem));
        let file = folder.join(&place);
        if shown.stem.contains(['/', '\\']) || !file.is_file() {
            return;
        }
        let read = files::read_text(&file).map_err(|error| error.to_string());
        match read.and_then(|text| PagePicture::read(&text).map_err(|error| error.to_string())) {
            Ok(picture) => {
                let figure = Figure { picture, caption: shown.caption.clone() };
                if shown.at_once {
                    self.figures.push(figure)
                } else {
                    self.folded.push(figure)
                }
                self.paths.push(folder.join(beside).join(&shown.stem));
            }
            Err(says) => self.trouble.push(Finding::new(
                Code::Incomplete,
                Severity::Note,
                format!("{} is left out: {says}", place.display()),
                "run the command that made the result again: it draws its pictures anew",
            )),
        }
    }
}

/// How pictures come about that are not there.
fn undrawn(standing: &ResultStanding) -> String {
    if standing.command.is_empty() {
        return "No pictures of this lie beside the result.".into();
    }
    let without = |word: &&String| !matches!(word.as_str(), "--no-pictures");
    let words: Vec<String> = standing.command.iter().filter(without).cloned().collect();
    format!("No pictures of this lie beside the result; `{}` draws them.", command_text(&words))
}

fn outdated(standing: &ResultStanding) -> Option<String> {
    if standing.state != "out-of-date" {
        return None;
    }
    let why = if standing.because.is_empty() { String::new() } else { format!(": {}", standing.because.join("; ")) };
    let how = match standing.command.is_empty() {
        true => String::new(),
        false => format!(" `{}` brings it up to date.", command_text(&standing.command)),
    };
    Some(format!("Out of date{why}.{how}"))
}

/// When, what and how loud it was captured, and the note that was made.
pub(super) fn captured(folder: &Path, capture: &CaptureStanding) -> String {
    let description = read_capture_description(&folder.join(&capture.path).with_extension("toml")).ok();
    let level = description.and_then(|description| description.bench.level_dbfs);
    let level = level.map_or(String::new(), |dbfs| format!(", at {dbfs} dBFS").replace('-', "−"));
    let cut = if capture.complete { "" } else { ", not to its end" };
    let note = capture.note.as_ref().map_or(String::new(), |note| format!(": {note}"));
    format!("Captured {} as {}{level}{cut}{note}.", moment(&capture.when), capture.path)
}

/// `2026-11-27 20:15` of RFC 3339; any other text as it is.
pub(super) fn moment(when: &str) -> String {
    match (when.get(..10), when.get(10..11), when.get(11..16)) {
        (Some(day), Some("T"), Some(time)) => format!("{day} {time}"),
        _ => when.to_owned(),
    }
}

/// The numbers of a capture that has no result of its own.
pub(super) fn alone(folder: &Path, capture: &CaptureStanding) -> Entry {
    Entry::text(&capture.path, captured(folder, capture))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_told_to_the_minute_and_another_text_as_it_is() {
        assert_eq!(moment("2026-11-27T02:47:23+00:00"), "2026-11-27 02:47");
        assert_eq!(moment("last summer, in the yard"), "last summer, in the yard");
        assert_eq!(moment("äöü"), "äöü");
    }
}
