//! `job.toml` as it was written: every key and value, whether they mean something or not.
//!
//! No equation: TOML's values are JSON's; a date becomes its text, a number that JSON can't hold becomes nothing.

use super::document::syntax;
use super::text::{MOST_TYPED_BYTES, decode, read_bounded};
use super::{FileError, job_path};
use serde_json::{Map, Value};
use std::path::Path;

/// What the job in `path`, or in the `job.toml` of the folder `path`, says; none if there is no such file.
///
/// # Errors
/// [`FileError::Document`] with line and column where it is no TOML; `Io`, `NotText`, `TooLarge`.
pub fn written_job(path: &Path) -> Result<Option<Value>, FileError> {
    let path = job_path(path);
    if path.is_dir() || !path.exists() {
        return Ok(None);
    }
    let text = decode(&read_bounded(&path, MOST_TYPED_BYTES)?, &path)?;
    Ok(Some(json(toml::Value::Table(syntax(&text, &path)?))))
}

fn json(value: toml::Value) -> Value {
    match value {
        toml::Value::String(text) => text.into(),
        toml::Value::Integer(number) => number.into(),
        toml::Value::Float(number) => number.into(),
        toml::Value::Boolean(yes) => yes.into(),
        toml::Value::Datetime(when) => when.to_string().into(),
        toml::Value::Array(values) => values.into_iter().map(json).collect(),
        toml::Value::Table(table) => {
            Value::Object(table.into_iter().map(|(key, value)| (key, json(value))).collect::<Map<_, _>>())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn everything_that_stands_there_comes_back() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("job.toml");
        assert_eq!(written_job(folder.path()).unwrap(), None);
        std::fs::write(&path, "[job]\nname = \"rear\"\nsince = 2026-01-31\n[bench]\nreply = [1, 2.5, true]\n").unwrap();
        let expected =
            json!({ "job": { "name": "rear", "since": "2026-01-31" }, "bench": { "reply": [1, 2.5, true] } });
        assert_eq!(written_job(folder.path()).unwrap(), Some(expected.clone()));
        assert_eq!(written_job(&path).unwrap(), Some(expected));
        std::fs::write(&path, "[job]\nname = rear\n").unwrap();
        assert!(matches!(written_job(&path), Err(FileError::Document { line: 2, column: 8, .. })));
    }
}
