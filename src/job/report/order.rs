//! A report from start to finish: read the record, tell it, write the page, and the pictures alone if they are wanted.

use super::added::Additions;
use super::story::{Assembled, assemble};
use crate::MADE_BY;
use crate::files::{
    self, FileError, InputFile, Job, REPORT_SCHEMA, ReportDocument, ReportSettings, StatusDocument, WrittenFile,
};
use crate::job::{Anew, status};
use crate::report::{ReportError, page_font_css, page_html};
use std::path::{Path, PathBuf};

/// A report that is to be made.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ReportOrder {
    /// The job's folder.
    pub folder: PathBuf,
    /// The page; without it `report.html` in the job's folder.
    pub out: Option<PathBuf>,
    /// A folder for the pictures alone.
    pub pictures: Option<PathBuf>,
    /// What is told beside what the folder tells.
    pub additions: Additions,
}

/// A report that was made.
#[derive(Debug, Clone, PartialEq)]
pub struct Reported {
    /// The page.
    pub page: PathBuf,
    /// How large it is.
    pub bytes: usize,
    /// How many pictures were put into their own folder.
    pub pictures: usize,
    /// What there is to say.
    pub document: ReportDocument,
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum JobReportError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error("{}: no folder", folder.display())]
    NoFolder { folder: PathBuf },
    #[error("{}: neither a job.toml nor a capture or a result lies in it", folder.display())]
    Empty { folder: PathBuf },
    #[error("{}: a report is an HTML file", path.display())]
    NotHtml { path: PathBuf },
}

impl JobReportError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Report(error) => error.advice(),
            Self::NoFolder { .. } | Self::Empty { .. } => "name the folder of a job, or go there",
            Self::NotHtml { .. } => "give the file a name that ends in .html",
        }
    }
}

/// Makes the report of a job.
///
/// # Errors
/// [`JobReportError`]: no job there, a `job.toml` that is wrong, a page that can't be written.
pub fn report(order: &ReportOrder) -> Result<Reported, JobReportError> {
    let folder = if order.folder.as_os_str().is_empty() { Path::new(".") } else { order.folder.as_path() };
    let page = order.out.clone().unwrap_or_else(|| order.folder.join("report.html"));
    let standing = standing(folder, &page)?;
    let job_path = files::job_path(folder);
    let job = if job_path.is_file() { files::read_job(&job_path)? } else { Job::default() };
    let assembled = assemble(folder, &job, &standing, &order.additions)?;
    let html = page_html(&assembled.story);
    files::replace(&page, html.as_bytes())?;
    let mut written = vec![named(&page, "report")];
    if let Some(out) = &order.pictures {
        written.extend(copied(out, &assembled)?.iter().map(|path| named(path, "picture")));
    }
    let pictures = written.len() - 1;
    let document = ReportDocument {
        schema: REPORT_SCHEMA.into(),
        made_by: MADE_BY.into(),
        inputs: inputs(folder, &standing)?,
        settings: ReportSettings {
            job: folder.display().to_string(),
            pictures: order.pictures.as_ref().map(|out| out.display().to_string()),
        },
        findings: assembled.findings,
        files: written,
    };
    Ok(Reported { page, bytes: html.len(), pictures, document })
}

fn named(path: &Path, what: &str) -> WrittenFile {
    WrittenFile { path: path.display().to_string(), what: what.into() }
}

/// Where the job stands, if there is one to tell, and the page can be one.
fn standing(folder: &Path, page: &Path) -> Result<StatusDocument, JobReportError> {
    if !folder.is_dir() {
        return Err(JobReportError::NoFolder { folder: folder.to_owned() });
    }
    if !page.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("html")) {
        return Err(JobReportError::NotHtml { path: page.to_owned() });
    }
    let standing = status(folder, Anew::OutOfDate)?;
    let is_empty = standing.captures.is_empty() && standing.results.is_empty();
    match is_empty && !files::job_path(folder).is_file() {
        true => Err(JobReportError::Empty { folder: folder.to_owned() }),
        false => Ok(standing),
    }
}

/// The job's file and the documents that were told, with their checksums.
fn inputs(folder: &Path, standing: &StatusDocument) -> Result<Vec<InputFile>, FileError> {
    let results = standing.results.iter().map(|result| result.path.as_str());
    let paths = std::iter::once("job.toml").chain(results).map(|name| folder.join(name));
    let there = paths.filter(|path| path.is_file());
    there.map(|path| Ok(InputFile { path: path.display().to_string(), sha256: files::sha256_of(&path)? })).collect()
}

/// Puts the pictures into a folder of their own, under names that say what they show.
fn copied(out: &Path, assembled: &Assembled) -> Result<Vec<PathBuf>, JobReportError> {
    let io = |path: &Path, doing: &'static str| {
        let path = path.to_owned();
        move |source| FileError::Io { path, doing, source }
    };
    std::fs::create_dir_all(out).map_err(io(out, "make the folder"))?;
    let mut all = Vec::new();
    for (path, name) in &assembled.kept {
        for ending in ["svg", "png"] {
            let stem = path.file_name().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
            let from = path.with_file_name(format!("{stem}.{ending}"));
            if from.is_file() {
                let to = out.join(format!("{name}.{ending}"));
                let bytes = std::fs::read(&from).map_err(io(&from, "read it"))?;
                files::replace(&to, &bytes)?;
                all.push(to);
            }
        }
    }
    for (picture, name) in &assembled.drawn {
        let to = out.join(format!("{name}.svg"));
        // On its own it brings the font.
        let style = format!("</metadata>\n<style>{}</style>", page_font_css());
        files::replace(&to, picture.svg().replacen("</metadata>", &style, 1).as_bytes())?;
        all.push(to);
    }
    Ok(all)
}
