//! A job judged against its own limits: each unit against its design, and the units of one design against each other.
//!
//! It rests on the record: the latest stage's responses, and the simulation. What is out of date is judged all the same, and said to be so.

use super::alike::{LevelCounts, MatchError, MatchOrder, match_units};
use super::record::{Anew, Ran, RecordedCurves, status};
use super::simulate::sums;
use crate::MADE_BY;
use crate::explanation::{Align, Difference, DifferenceError, difference};
use crate::files::{
    self, CHECK_SCHEMA, CheckDocument, CheckSettings, FileError, Job, StatusDocument, VerdictTable, WorstPlace,
    sampled_of,
};
use crate::quantity::{Code, Finding, POINTS_PER_OCTAVE, Severity};
use std::path::{Path, PathBuf};

/// Why a job can't be judged.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum CheckError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Match(#[from] MatchError),
    #[error("{}: {source}", path.display())]
    Difference { path: PathBuf, source: DifferenceError },
    #[error("{}: it has no limits to be judged by", path.display())]
    NoLimits { path: PathBuf },
    #[error("{}: it has no units to be judged", path.display())]
    NoUnits { path: PathBuf },
    #[error("nothing can be judged: {why}")]
    Nothing { why: String },
}

impl CheckError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Match(error) => error.advice(),
            Self::Difference { source, .. } => source.advice(),
            Self::NoLimits { .. } => "write [limits] with against_design_db or pair_db into it",
            Self::NoUnits { .. } => "write [unit.NAME] with speaker = \"…\" into it for each one that is built",
            Self::Nothing { .. } => "do what `boxwright status` proposes, then check again",
        }
    }
}

/// Judges the job in a folder.
///
/// # Errors
/// [`CheckError`] where there is nothing to judge, or nothing to judge it by.
pub fn check(folder: &Path) -> Result<CheckDocument, CheckError> {
    let job_path = files::job_path(folder);
    let job = files::read_job(&job_path)?;
    let limits = job.limits;
    if limits.against_design_db.or(limits.pair_db).is_none() {
        return Err(CheckError::NoLimits { path: job_path });
    }
    if job.unit.is_empty() {
        return Err(CheckError::NoUnits { path: job_path });
    }
    let standing = status(folder, Anew::OutOfDate)?;
    let home = PathBuf::from(&standing.folder);
    let judging = Judging { job: &job, curves: RecordedCurves::of(&home)?, home: &home };
    let mut verdicts = judging.against_design()?;
    verdicts.extend(judging.pairs()?);
    let judged: Vec<&VerdictTable> = verdicts.iter().filter(|one| one.says.is_none()).collect();
    if judged.is_empty() {
        let mut why: Vec<String> = verdicts.iter().filter_map(|one| one.says.clone()).collect();
        why.dedup();
        return Err(CheckError::Nothing { why: why.join("; ") });
    }
    let mut inputs = vec![job_path];
    inputs.extend(judged.iter().flat_map(|one| one.curves.iter().map(|curve| home.join(curve))));
    inputs.sort();
    inputs.dedup();
    Ok(CheckDocument {
        schema: CHECK_SCHEMA.into(),
        made_by: MADE_BY.into(),
        inputs: sums(&inputs)?,
        settings: CheckSettings {
            against_design_db: limits.against_design_db,
            pair_db: limits.pair_db,
            band_hz: limits.band_hz,
        },
        findings: findings(&verdicts, &standing),
        files: Vec::new(),
        within: verdicts.iter().all(|one| one.verdict != "outside"),
        verdicts,
    })
}

struct Judging<'a> {
    job: &'a Job,
    curves: RecordedCurves,
    home: &'a Path,
}

impl Judging<'_> {
    /// Each unit against the simulation of its loudspeaker, their mean levels made equal.
    fn against_design(&self) -> Result<Vec<VerdictTable>, CheckError> {
        let Some(limit_db) = self.job.limits.against_design_db else { return Ok(Vec::new()) };
        let mut verdicts = Vec::new();
        for (name, unit) in &self.job.unit {
            let open = |says: String| VerdictTable {
                of: name.clone(),
                against: "design".into(),
                verdict: "not judged".into(),
                limit_db,
                band_hz: None,
                worst: None,
                curves: Vec::new(),
                says: Some(says),
            };
            let Some(measured) = self.curves.response_of(name) else {
                verdicts.push(open(format!("{name} has not been measured")));
                continue;
            };
            let Some(expected) = unit.speaker.as_deref().and_then(|speaker| self.curves.simulation_of(speaker)) else {
                verdicts.push(open(format!("the design of {name} has not been simulated")));
                continue;
            };
            let found = self.difference(&measured, &expected)?;
            verdicts.push(VerdictTable {
                verdict: verdict(&found, limit_db).into(),
                band_hz: Some([found.hz[0], found.hz[found.hz.len() - 1]]),
                worst: Some(WorstPlace {
                    level_db: found.level_db[found.worst],
                    u_db: found.u_db.get(found.worst).copied(),
                    at_hz: found.hz[found.worst],
                }),
                curves: [&measured, &expected].map(|path| path.display().to_string()).to_vec(),
                says: None,
                ..open(String::new())
            });
        }
        Ok(verdicts)
    }

    fn difference(&self, measured: &Path, expected: &Path) -> Result<Difference, CheckError> {
        let [one, other] = [measured, expected].map(|path| files::read_curve(&self.home.join(path)));
        let band_hz = self.job.limits.band_hz.unwrap_or([0.0, f64::MAX]);
        let align = Align { level: true, delay: false };
        difference(&sampled_of(&one?), &sampled_of(&other?), band_hz, align, POINTS_PER_OCTAVE)
            .map_err(|source| CheckError::Difference { path: measured.to_owned(), source })
    }

    /// The units of each design, pair by pair.
    fn pairs(&self) -> Result<Vec<VerdictTable>, CheckError> {
        let Some(limit_db) = self.job.limits.pair_db else { return Ok(Vec::new()) };
        let mut verdicts = Vec::new();
        for speaker in self.job.speaker.keys() {
            let units = self.job.unit.iter().filter(|(_, unit)| unit.speaker.as_ref() == Some(speaker));
            let units: Vec<&String> = units.map(|(name, _)| name).collect();
            let measured = self.curves.responses_of(&units);
            if measured.len() < 2 {
                continue;
            }
            let document = match_units(&MatchOrder {
                ran: Ran::default(),
                curves: measured.iter().map(|(_, path)| self.home.join(path)).collect(),
                again: None,
                band_hz: self.job.limits.band_hz,
                limits_db: [-limit_db, limit_db],
                level: LevelCounts::Yes,
                out: None,
            })?;
            let place = |name: &str| document.units.iter().position(|unit| unit.name == name).unwrap_or_default();
            verdicts.extend(document.pairs.iter().map(|pair| {
                let [a, b] = [place(&pair.a), place(&pair.b)];
                VerdictTable {
                    of: measured[a].0.clone(),
                    against: measured[b].0.clone(),
                    verdict: pair.verdict.clone(),
                    limit_db,
                    band_hz: Some(pair.band_hz),
                    worst: Some(WorstPlace {
                        level_db: pair.worst.level_db,
                        u_db: pair.worst.u_db,
                        at_hz: pair.worst.at_hz,
                    }),
                    curves: [a, b].map(|unit| measured[unit].1.display().to_string()).to_vec(),
                    says: None,
                }
            }));
        }
        Ok(verdicts)
    }
}

/// Outside only beyond the doubt of the measurement, as in a match.
fn verdict(found: &Difference, limit_db: f64) -> &'static str {
    let u_db = |at: usize| found.u_db.get(at).copied().unwrap_or(0.0);
    let beyond =
        |doubts: f64| found.level_db.iter().enumerate().any(|(at, db)| db.abs() - doubts * u_db(at) > limit_db);
    match (beyond(2.0), beyond(0.0)) {
        (true, _) => "outside",
        (false, true) => "undecided",
        (false, false) => "within",
    }
}

/// Curves that are out of date or that carry a fault are judged, and named.
fn findings(verdicts: &[VerdictTable], standing: &StatusDocument) -> Vec<Finding> {
    let mut all = Vec::new();
    let mut curves: Vec<&String> = verdicts.iter().flat_map(|one| &one.curves).collect();
    curves.sort();
    curves.dedup();
    for curve in curves {
        let folder = Path::new(curve).parent();
        let Some(result) = standing.results.iter().find(|one| Path::new(&one.path).parent() == folder) else {
            continue;
        };
        if result.state != "current" {
            let says = format!("{curve} is out of date: {}", result.because.join("; "));
            all.push(Finding::new(
                Code::OutOfDate,
                Severity::Caution,
                says,
                "run `boxwright status --do`, then check again",
            ));
        }
        if result.findings.fault > 0 {
            let says = format!("{} has findings that say not to trust it", result.path);
            all.push(Finding::new(
                Code::Disturbed,
                Severity::Fault,
                says,
                "read them, measure again, then check again",
            ));
        }
    }
    let open: Vec<String> = verdicts.iter().filter_map(|one| one.says.clone()).collect();
    if !open.is_empty() {
        all.push(Finding::new(
            Code::Incomplete,
            Severity::Note,
            format!("not judged: {}", open.join("; ")),
            "do what `boxwright status` proposes, then check again",
        ));
    }
    all.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    all
}
