//! The tables of a job on which a loudspeaker's design rests.

use crate::files::{Job, JobSpeaker, read_job};
use std::path::Path;

/// All tables that describe designs.
const ALL: [&str; 6] = ["job", "driver", "box", "baffle", "network", "speaker"];

/// The tables of a job into which its `speaker`'s design reaches, by dotted names; those of all where none is named, or the job can't be read.
pub fn design_tables(job: &Path, speaker: Option<&str>) -> Vec<String> {
    let all = || ALL.map(String::from).to_vec();
    let Ok(job) = read_job(job) else { return all() };
    let name = speaker.map(str::to_owned).or_else(|| only_one(&job));
    let speaker = name.as_ref().and_then(|name| Some((name, job.speaker.get(name)?)));
    speaker.map_or_else(all, |(name, speaker)| tables_of(name, speaker))
}

fn only_one(job: &Job) -> Option<String> {
    let mut names = job.speaker.keys();
    names.next().filter(|_| names.next().is_none()).cloned()
}

fn tables_of(name: &str, speaker: &JobSpeaker) -> Vec<String> {
    let of = |kind: &str, name: &String| format!("{kind}.{name}");
    let parts = [
        speaker.enclosure.as_ref().map(|name| of("box", name)),
        speaker.baffle.as_ref().map(|name| of("baffle", name)),
        speaker.network.as_ref().map(|name| of("network", name)),
    ];
    let drivers = speaker.ways.iter().map(|way| of("driver", &way.driver));
    ["job".to_owned(), of("speaker", &name.to_owned())]
        .into_iter()
        .chain(parts.into_iter().flatten())
        .chain(drivers)
        .collect()
}
