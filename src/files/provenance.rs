//! How a result was made: the command, where it ran, and what it found in the job. A part of every result document.
//!
//! Paths in the document (inputs, files, command) are relative to the folder in which the command ran. That folder is named relative to
//! the document's own, so that a job can be moved as a whole.

use super::FileError;
use super::document::parse;
use super::text::{MOST_TYPED_BYTES, decode, read_bounded};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use std::path::Path;

/// How a result was made; empty for one that no command made.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Provenance {
    /// The command, word by word, without the program's name and without options that only say how it is told.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub command: Vec<String>,
    /// From the document's folder to the one in which the command ran.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run_in: Option<String>,
    /// What the command found in the job, as far as it looks there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from_job: Option<FromJob>,
}

/// The tables of a job that a command looks into.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FromJob {
    /// The job's file.
    pub path: String,
    /// Its tables as they were, by dotted name: `bench`, `box.rear`.
    pub tables: Map<String, Value>,
}

/// Some tables of a job's file by dotted names, as they stand there; those that are not there are left out.
///
/// # Errors
/// [`FileError`] where the file can't be read, or is no TOML with finite numbers.
pub fn job_tables(path: &Path, names: &[String]) -> Result<Map<String, Value>, FileError> {
    let table: toml::Table = parse(&decode(&read_bounded(path, MOST_TYPED_BYTES)?, path)?, path)?;
    let json = |value: &toml::Value| serde_json::to_value(value).expect("TOML with finite numbers is JSON");
    let found = |name: &String| {
        let mut parts = name.splitn(2, '.');
        let outer = table.get(parts.next()?)?;
        let inner = parts.next().map_or(Some(outer), |part| outer.get(part))?;
        Some((name.clone(), json(inner)))
    };
    Ok(names.iter().filter_map(found).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tables_that_are_asked_for_come_as_they_stand() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("job.toml");
        std::fs::write(&path, "[job]\nname = \"pair\"\n[bench]\ndistance_m = 0.5\n[driver.mid]\nfs_hz = 98\n").unwrap();
        let tables = job_tables(&path, &["bench", "driver.mid", "driver.treble", "limits"].map(String::from)).unwrap();
        let expected = serde_json::json!({ "bench": { "distance_m": 0.5 }, "driver.mid": { "fs_hz": 98 } });
        assert_eq!(Value::Object(tables), expected);
    }
}
