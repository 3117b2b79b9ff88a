//! What comes next in a job, and needs a person: loudspeakers to measure, captures to look at, results to lay over each other.

use super::curves::{csv_of, plain_name, response_of, responses_of, simulation_of};
use super::found::{Found, FoundCapture, FoundResult};
use super::place::shown;
use super::stage::Stage;
use super::subject::Subject;
use crate::files::{CaptureKind, CommandToRun, Ended, Job};
use std::path::Path;

/// The record and its job, for proposals.
pub struct Outlook<'a> {
    /// What is there.
    pub found: &'a Found,
    /// Of what each result tells.
    pub subjects: &'a [Subject],
    /// The job.
    pub job: &'a Job,
}

/// Proposals, the nearest first.
pub fn next(outlook: &Outlook<'_>) -> Vec<CommandToRun> {
    let mut all = outlook.captures_to_analyse();
    all.extend(outlook.units_to_measure());
    all.extend(outlook.designs_to_simulate());
    all.extend(outlook.units_to_compare());
    all.extend(outlook.units_to_match());
    all
}

fn proposal(words: &[&str], says: String) -> CommandToRun {
    CommandToRun { command: words.iter().map(|word| (*word).to_owned()).collect(), run_in: ".".into(), says }
}

impl Outlook<'_> {
    fn captures_to_analyse(&self) -> Vec<CommandToRun> {
        let is_used =
            |wav: &Path| self.found.results.iter().any(|result| result.inputs.iter().any(|(path, _)| path == wav));
        let open = self.found.captures.iter().filter(|capture| is_whole(capture) && !is_used(&capture.wav));
        open.map(|capture| {
            let kind = match capture.description.kind {
                CaptureKind::Response => "response",
                CaptureKind::Impedance => "impedance",
            };
            let wav = shown(&capture.wav);
            let says = format!("{wav} has not been looked at");
            match self.as_others_were(capture.description.kind, &wav) {
                Some(words) => proposal(&words.iter().map(String::as_str).collect::<Vec<_>>(), says),
                None => proposal(&[kind, &wav], says),
            }
        })
        .collect()
    }

    /// The command by which another impedance was had, for this capture: what tells the jig is told once.
    fn as_others_were(&self, kind: CaptureKind, wav: &str) -> Option<Vec<String>> {
        let kind = Some("impedance").filter(|_| kind == CaptureKind::Impedance)?;
        let is_such =
            |result: &&FoundResult| result.kind == kind && result.run_in.as_deref().map(shown).as_deref() == Some(".");
        let command = &self.found.results.iter().rfind(is_such)?.provenance.command;
        let rest = command.get(2..)?;
        let own = rest.iter().position(|word| word == "--out").map_or(0..0, |at| at..(at + 2).min(rest.len()));
        let rest = rest.iter().enumerate().filter(|(at, _)| !own.contains(at)).map(|(_, word)| word.clone());
        Some([kind.to_owned(), wav.to_owned()].into_iter().chain(rest).collect())
    }

    fn units_to_measure(&self) -> Vec<CommandToRun> {
        let is_captured = |unit: &str| {
            let same =
                |capture: &&FoundCapture| capture.description.unit.as_deref().map(plain_name) == Some(plain_name(unit));
            self.found.captures.iter().filter(same).any(|capture| {
                is_whole(capture)
                    && capture.description.kind == CaptureKind::Response
                    && !matches!(
                        capture.description.stage.as_deref().and_then(Stage::named),
                        Some(Stage::OnTheBench | Stage::InItsBox)
                    )
            })
        };
        let stage = Stage::OnTheStand.name();
        let open = self.job.unit.keys().filter(|unit| !is_captured(unit));
        open.map(|unit| {
            let words = ["capture", "response", "--unit", unit, "--stage", stage];
            proposal(&words, format!("{unit} has not been measured {stage}"))
        })
        .collect()
    }

    fn designs_to_simulate(&self) -> Option<CommandToRun> {
        let is_simulated = self.found.results.iter().any(|result| result.kind == "simulation");
        (!self.job.speaker.is_empty() && !is_simulated)
            .then(|| proposal(&["simulate", "job.toml"], "the design has not been simulated".into()))
    }

    fn units_to_compare(&self) -> Vec<CommandToRun> {
        let open = self.job.unit.iter().filter_map(|(name, unit)| {
            let speaker = unit.speaker.as_deref()?;
            let measured = response_of(self.found, self.subjects, name)?;
            let curve = csv_of(measured)?;
            let expected = simulation_of(self.found, speaker)?;
            let is_compared =
                self.found.results.iter().any(|result| {
                    result.kind == "compare" && result.inputs.first().is_some_and(|(path, _)| path == curve)
                });
            let words = ["compare", &shown(curve), &shown(expected), "--explain", "job.toml", "--speaker", speaker];
            (!is_compared).then(|| proposal(&words, format!("{name} has not been laid over its simulation")))
        });
        open.collect()
    }

    fn units_to_match(&self) -> Vec<CommandToRun> {
        let mut all = Vec::new();
        for speaker in self.job.speaker.keys() {
            let units = self.job.unit.iter().filter(|(_, unit)| unit.speaker.as_ref() == Some(speaker));
            let units: Vec<&String> = units.map(|(name, _)| name).collect();
            let results = responses_of(self.found, self.subjects, &units);
            let curves: Vec<String> = results.iter().filter_map(|(_, result)| Some(shown(csv_of(result)?))).collect();
            let is_matched = self.found.results.iter().any(|result| {
                let has = |curve: &String| result.inputs.iter().any(|(path, _)| shown(path) == *curve);
                result.kind == "match" && curves.iter().all(has)
            });
            if curves.len() < 2 || is_matched {
                continue;
            }
            let out = format!("match-{speaker}");
            let mut words = vec!["match"];
            words.extend(curves.iter().map(String::as_str));
            words.extend(["--out", &out]);
            all.push(proposal(&words, format!("whether the units of {speaker} are alike has not been asked")));
        }
        all
    }
}

fn is_whole(capture: &FoundCapture) -> bool {
    capture.description.stream.ended == Ended::Complete
}
