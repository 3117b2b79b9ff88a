//! Where a job stands: the record as a document.

use super::curves::plain_name;
use super::found::{Found, FoundResult, find};
use super::next::{Outlook, next};
use super::place::shown;
use super::standing::{Standing, standings};
use super::subject::{Subject, subjects};
use super::todo::{Anew, lost, todo};
use super::unfinished::{PartState, Unfinished};
use crate::MADE_BY;
use crate::files::{
    self, CaptureKind, CaptureStanding, Ended, FileError, FindingCounts, InputFile, Job, ResultStanding, STATUS_SCHEMA,
    StatusDocument, UnfinishedStanding, UnitStanding,
};
use crate::quantity::{Code, Finding, Severity};
use std::path::Path;

/// Where the job in a folder stands; a folder without a `job.toml` is one without a design.
///
/// # Errors
/// [`FileError`] where the folder can't be looked into, or its `job.toml` is wrong.
pub fn status(folder: &Path, anew: Anew) -> Result<StatusDocument, FileError> {
    let job_path = files::job_path(folder);
    if !folder.is_dir() && !job_path.is_file() {
        let source = std::io::ErrorKind::NotFound.into();
        return Err(FileError::Io { path: folder.to_owned(), doing: "look into the folder", source });
    }
    let folder = if folder.is_dir() { folder } else { folder.parent().unwrap_or(Path::new("")) };
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let (job, inputs) = match job_path.is_file() {
        true => {
            let path = job_path.display().to_string();
            (files::read_job(&job_path)?, vec![InputFile { path, sha256: files::sha256_of(&job_path)? }])
        }
        false => (Job::default(), Vec::new()),
    };
    let found = find(folder)?;
    let standings = standings(folder, &found);
    let subjects = subjects(&found);
    let outlook = Outlook { found: &found, subjects: &subjects, job: &job };
    let next = next(&outlook);
    let whole = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
    let own_name = || whole.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    Ok(StatusDocument {
        schema: STATUS_SCHEMA.into(),
        made_by: MADE_BY.into(),
        inputs,
        settings: serde_json::Map::new(),
        findings: findings(&found, &standings, &job),
        files: Vec::new(),
        name: job.job.name.clone().unwrap_or_else(own_name),
        folder: folder.display().to_string(),
        units: units(&outlook),
        captures: captures(&found),
        unfinished: found.unfinished.iter().map(standing_of).collect(),
        results: results(&found, &standings, &subjects),
        todo: todo(&found, &standings, anew),
        next,
    })
}

fn captures(found: &Found) -> Vec<CaptureStanding> {
    let one = |capture: &super::found::FoundCapture| {
        let is_from = |result: &&FoundResult| result.inputs.first().is_some_and(|(path, _)| *path == capture.wav);
        let is_used = |result: &&FoundResult| result.inputs.iter().skip(1).any(|(path, _)| *path == capture.wav);
        let description = &capture.description;
        CaptureStanding {
            path: shown(&capture.wav),
            kind: kind_name(description.kind).into(),
            when: description.when.clone(),
            unit: description.unit.clone(),
            stage: description.stage.clone(),
            note: description.note.clone(),
            complete: description.stream.ended == Ended::Complete,
            results: found.results.iter().filter(is_from).map(|result| shown(&result.path)).collect(),
            used_by: found.results.iter().filter(is_used).map(|result| shown(&result.path)).collect(),
        }
    };
    found.captures.iter().map(one).collect()
}

fn standing_of(part: &Unfinished) -> UnfinishedStanding {
    let told = part.description.as_ref();
    UnfinishedStanding {
        path: shown(&part.part),
        name: shown(&part.wav),
        state: part.state.name().into(),
        duration_s: part.duration_s,
        whole_sweeps: part.sweeps.map(|[whole, _]| whole),
        sweeps: part.sweeps.map(|[_, all]| all),
        kind: told.map(|told| kind_name(told.kind).into()),
        when: told.map(|told| told.when.clone()),
        unit: told.and_then(|told| told.unit.clone()),
        stage: told.and_then(|told| told.stage.clone()),
        note: told.and_then(|told| told.note.clone()),
        says: part.says(),
        advice: part.advice(),
    }
}

fn kind_name(kind: CaptureKind) -> &'static str {
    match kind {
        CaptureKind::Response => "response",
        CaptureKind::Impedance => "impedance",
    }
}

fn results(found: &Found, standings: &[Standing], subjects: &[Subject]) -> Vec<ResultStanding> {
    let one = |((result, standing), subject): ((&FoundResult, &Standing), &Subject)| {
        let count = |severity| result.severities.iter().filter(|one| **one == severity).count();
        ResultStanding {
            path: shown(&result.path),
            kind: result.kind.clone(),
            command: result.provenance.command.clone(),
            run_in: shown(result.run_in.as_deref().unwrap_or(Path::new(""))),
            unit: subject.unit.clone(),
            stage: subject.stage.clone(),
            state: standing.state.name().into(),
            because: standing.because.clone(),
            made_by: result.made_by.clone(),
            findings: FindingCounts {
                note: count(Severity::Note),
                caution: count(Severity::Caution),
                fault: count(Severity::Fault),
            },
        }
    };
    found.results.iter().zip(standings).zip(subjects).map(one).collect()
}

/// The job's units, then the others that were captured.
fn units(outlook: &Outlook<'_>) -> Vec<UnitStanding> {
    let mut all: Vec<UnitStanding> = { outlook.job.unit.iter() }
        .map(|(name, unit)| UnitStanding {
            name: name.clone(),
            speaker: unit.speaker.clone(),
            ..UnitStanding::default()
        })
        .collect();
    let mut place = |unit: &str| match all.iter().position(|one| plain_name(&one.name) == plain_name(unit)) {
        Some(at) => at,
        None => {
            all.push(UnitStanding { name: unit.to_owned(), ..UnitStanding::default() });
            all.len() - 1
        }
    };
    let captures: Vec<(usize, String)> = { outlook.found.captures.iter() }
        .filter_map(|capture| Some((place(capture.description.unit.as_deref()?), shown(&capture.wav))))
        .collect();
    let results: Vec<(usize, String)> = { outlook.found.results.iter().zip(outlook.subjects) }
        .filter_map(|(result, subject)| Some((place(subject.unit.as_deref()?), shown(&result.path))))
        .collect();
    captures.into_iter().for_each(|(at, path)| all[at].captures.push(path));
    results.into_iter().for_each(|(at, path)| all[at].results.push(path));
    all
}

/// What there is to say about the record itself.
fn findings(found: &Found, standings: &[Standing], job: &Job) -> Vec<Finding> {
    let mut all = found.findings.clone();
    let strays = job.unit.iter().filter_map(|(name, unit)| {
        Some((name, unit.speaker.as_ref().filter(|speaker| !job.speaker.contains_key(*speaker))?))
    });
    all.extend(strays.map(|(name, speaker)| {
        Finding::new(
            Code::Incomplete,
            Severity::Caution,
            format!("[unit.{name}] in job.toml is one of {speaker:?}, and there is no [speaker.{speaker}]"),
            "correct the name, or describe that loudspeaker",
        )
    }));
    let gone = lost(standings);
    all.extend(gone.iter().map(|path| {
        Finding::new(
            Code::MissingFile,
            Severity::Caution,
            format!("{} is not there, and results rest on it", shown(path)),
            "make it again by the command that made it, or put it back from a copy",
        )
    }));
    let unknown: Vec<String> =
        { found.results.iter() }.filter(|result| result.run_in.is_none()).map(|result| shown(&result.path)).collect();
    if !unknown.is_empty() {
        let says = format!("nothing says by which command {} was made", unknown.join(", "));
        all.push(Finding::new(
            Code::Incomplete,
            Severity::Note,
            says,
            "run the command again, then the record knows it",
        ));
    }
    let older: Vec<&str> =
        found.results.iter().map(|result| result.made_by.as_str()).filter(|by| *by != MADE_BY).collect();
    if let Some(by) = older.first() {
        let says = format!("{} of the results were made by {by}, this is {MADE_BY}", older.len());
        let advice =
            "look into CHANGELOG.md whether numbers changed; `boxwright status --do --all` makes all results anew";
        all.push(Finding::new(Code::OlderProgram, Severity::Note, says, advice));
    }
    let cut = found.captures.iter().filter(|capture| capture.description.stream.ended != Ended::Complete);
    all.extend(cut.map(|capture| {
        Finding::new(
            Code::Truncated,
            Severity::Note,
            format!("{} was not recorded to its end", shown(&capture.wav)),
            "take it again, or use the sweeps that are whole: the analysis takes these alone",
        )
    }));
    all.extend(found.unfinished.iter().map(|part| {
        let severity = match part.state {
            PartState::BeingRecorded | PartState::Empty => Severity::Note,
            PartState::BrokenOff | PartState::Unnamed => Severity::Caution,
        };
        Finding::new(Code::Truncated, severity, part.says(), part.advice())
    }));
    all.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    all
}
