//! What of a simulation's document is read again: a loudspeaker's response and how far its cone goes.

use super::FileError;
use crate::quantity::{SENTENCE, excerpt};
use schemars::JsonSchema;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::Path;

/// A loudspeaker as a simulation promises it; columns of one length.
#[derive(Debug, Clone, PartialEq)]
pub struct PromisedLoudness {
    /// Hz.
    pub hz: Vec<f64>,
    /// Response, dB re 20 µPa at 2.83 V and 1 m.
    pub level_db: Vec<f64>,
    /// The loudest that the excursion allows there, dB re 20 µPa.
    pub by_excursion_db: Vec<f64>,
}

#[derive(Deserialize, JsonSchema)]
struct Document {
    schema: String,
    speakers: BTreeMap<String, Speaker>,
}

#[derive(Deserialize, JsonSchema)]
struct Speaker {
    response: Level,
    max_level: Option<Most>,
}

#[derive(Deserialize, JsonSchema)]
struct Level {
    frequency_hz: Vec<f64>,
    level_db: Vec<f64>,
}

#[derive(Deserialize, JsonSchema)]
struct Most {
    frequency_hz: Vec<f64>,
    by_excursion_db: Option<Vec<f64>>,
}

/// What a simulation says of a loudspeaker's loudness; of its only one where none is named.
///
/// # Errors
/// [`FileError::Document`] with line and column, or naming what is missing; `Io`, `TooLarge`, `NotText`.
pub fn read_promised_loudness(path: &Path, speaker: Option<&str>) -> Result<PromisedLoudness, FileError> {
    promised_loudness_from(&super::read_text(path)?, path, speaker)
}

/// The same from a text; `path` is only its name in messages.
///
/// # Errors
/// As [`read_promised_loudness`], but never `Io`.
pub fn promised_loudness_from(text: &str, path: &Path, speaker: Option<&str>) -> Result<PromisedLoudness, FileError> {
    let refuse = |line, column, says| FileError::Document { path: path.into(), line, column, says };
    let missing = |says: String| refuse(1, 1, excerpt(&says, SENTENCE));
    let document: Document = serde_json::from_str(text)
        .map_err(|error| refuse(error.line(), error.column(), excerpt(&error.to_string(), SENTENCE)))?;
    if document.schema != super::SIMULATION_SCHEMA {
        return Err(missing(format!("{:?} is no simulation", document.schema)));
    }
    let names = || document.speakers.keys().cloned().collect::<Vec<_>>().join(", ");
    let found = match speaker {
        Some(name) => document.speakers.get(name).ok_or_else(|| missing(format!("no {name:?} among {}", names())))?,
        None if document.speakers.len() == 1 => {
            document.speakers.values().next().ok_or_else(|| missing("no loudspeaker".into()))?
        }
        None => return Err(missing(format!("several loudspeakers, name one of {}", names()))),
    };
    let most = found.max_level.as_ref().and_then(|most| Some((&most.frequency_hz, most.by_excursion_db.as_ref()?)));
    let (hz, by_excursion_db) =
        most.ok_or_else(|| missing("it does not say how far the cone goes (the job's drivers lack xmax_mm)".into()))?;
    let response = &found.response;
    // A point without a value is left out of its own curve only.
    let both = hz.iter().zip(by_excursion_db).filter_map(|(hz, most_db)| {
        let at = response.frequency_hz.iter().position(|other| other == hz)?;
        Some((*hz, *response.level_db.get(at)?, *most_db))
    });
    let mut promised = PromisedLoudness { hz: Vec::new(), level_db: Vec::new(), by_excursion_db: Vec::new() };
    for (hz, level_db, most_db) in both {
        promised.hz.push(hz);
        promised.level_db.push(level_db);
        promised.by_excursion_db.push(most_db);
    }
    if promised.hz.is_empty() {
        Err(missing("response and loudest level have no frequency in common".into()))
    } else {
        Ok(promised)
    }
}
