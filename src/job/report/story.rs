//! The story as a whole, in the order in which it is read.

use super::added::Additions;
use super::built::built;
use super::open::open;
use super::overview::overview;
use super::stages::{Part, Place, chapter_of, parts, stage_chapter};
use super::summary::{answers, summary};
use crate::MADE_BY;
use crate::files::{Job, StatusDocument};
use crate::job::Stage;
use crate::quantity::Finding;
use crate::report::{CAUTIONS, Chapter, LOCAL_CODES_FIRST, PagePicture, ReportError, Story};
use std::path::{Path, PathBuf};

/// A story that can be made into a page.
pub(super) struct Assembled {
    pub story: Story,
    /// The pictures that lie beside results, without their endings, each with a name that says what it shows.
    pub kept: Vec<(PathBuf, String)>,
    /// Pictures that were drawn for the report alone, with names.
    pub drawn: Vec<(PagePicture, String)>,
    pub findings: Vec<Finding>,
}

/// Tells the job in `folder`.
///
/// # Errors
/// [`ReportError`] if a picture can't be drawn.
pub(super) fn assemble(
    folder: &Path,
    job: &Job,
    status: &StatusDocument,
    additions: &Additions,
) -> Result<Assembled, ReportError> {
    let parts = parts(folder, status, additions);
    let trouble: Vec<Finding> = parts.iter().flat_map(|part| part.recounted.trouble.clone()).collect();
    let overview = overview(folder, status)?;
    let drawn = overview
        .iter()
        .flat_map(|chapter| &chapter.figures)
        .map(|figure| (figure.picture.clone(), readable(&[figure.picture.title()])));
    let drawn: Vec<(PagePicture, String)> = drawn.collect();
    let mut chapters: Vec<Chapter> = Vec::new();
    chapters.extend(built(folder, job));
    chapters.extend(chapter_of(&parts, Place::Designed, "As designed", ""));
    chapters.extend(overview);
    let stages = Stage::ALL.into_iter().map(Some).chain([None]);
    chapters.extend(stages.filter_map(|stage| stage_chapter(folder, status, &parts, stage)));
    chapters.extend(chapter_of(&parts, Place::Compared, "Measured over expected", ""));
    chapters.extend(chapter_of(&parts, Place::Alike, "Are the units alike?", ""));
    chapters.extend(chapter_of(&parts, Place::Blend, "Satellite and subwoofer", ""));
    chapters.extend(open(status, &trouble));
    chapters.extend(additions.closing.iter().cloned());
    let story = Story {
        title: additions.title.clone().unwrap_or_else(|| status.name.clone()),
        summary: additions.summary.iter().cloned().chain([summary(status)]).collect(),
        answers: answers(&parts),
        chapters,
        cautions: CAUTIONS.to_vec(),
        made_by: MADE_BY.into(),
        footer: footer(status, additions),
    };
    let findings = status.findings.iter().cloned().chain(trouble).collect();
    Ok(Assembled { story, kept: kept(&parts), drawn, findings })
}

fn footer(status: &StatusDocument, additions: &Additions) -> Vec<String> {
    let job = status.inputs.first().map(|input| format!("job.toml: SHA-256 {}", input.sha256));
    additions.footer.iter().cloned().chain(job).chain([LOCAL_CODES_FIRST.to_owned()]).collect()
}

/// The pictures beside the results, named by stage, unit and what they show; of two that would be called alike the later
/// one has a number.
fn kept(parts: &[Part<'_>]) -> Vec<(PathBuf, String)> {
    let mut all: Vec<(PathBuf, String)> = Vec::new();
    for part in parts {
        let stage = part.standing.stage.as_deref().unwrap_or_default();
        let unit = part.standing.unit.as_deref().unwrap_or_default();
        for path in &part.recounted.pictures {
            let stem = path.file_name().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
            let kind = if stem == part.standing.kind { "" } else { part.standing.kind.as_str() };
            let name = readable(&[stage, unit, kind, &stem]);
            let before =
                all.iter().filter(|(_, taken)| taken == &name || taken.starts_with(&format!("{name}-no-"))).count();
            let name = if before == 0 { name } else { format!("{name}-no-{}", before + 1) };
            all.push((path.clone(), name));
        }
    }
    all
}

/// A file's name from words, with letters, digits and hyphens alone.
fn readable(words: &[&str]) -> String {
    let plain = |word: &&str| -> String {
        let letters = word.chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { ' ' });
        letters.collect::<String>().split_whitespace().collect::<Vec<_>>().join("-")
    };
    let words: Vec<String> = words.iter().map(plain).filter(|word| !word.is_empty()).collect();
    if words.is_empty() { "picture".into() } else { words.join("-") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_readable_name_leads_nowhere_else() {
        assert_eq!(readable(&["on the stand", "../rear/left", "", "response"]), "on-the-stand-rear-left-response");
        assert_eq!(readable(&["..", "/"]), "picture");
    }
}
