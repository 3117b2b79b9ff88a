//! TOML that says where it is wrong.
//!
//! Every error has line and column; a name that is not known comes with the nearest that is. The format is that of
//! toml.io, by the crate `toml`. It allows infinite and undefined numbers; here they are refused before anything else.

use super::FileError;
use super::text::{decode, read_bounded};
use serde::de::DeserializeOwned;
use std::path::Path;

/// A document from the text of a file, unknown names refused, all numbers finite.
pub(super) fn read_document<T: DeserializeOwned>(path: &Path) -> Result<(T, String), FileError> {
    let text = decode(&read_bounded(path)?, path)?;
    parse(&text, path).map(|document| (document, text))
}

/// The same from a text.
pub(super) fn parse<T: DeserializeOwned>(text: &str, path: &Path) -> Result<T, FileError> {
    let table = syntax(text, path)?;
    if let Some((key, found)) = not_finite(&toml::Value::Table(table), "") {
        return Err(value(path, text, &key, found.to_string(), "a finite number"));
    }
    toml::from_str(text).map_err(|error| explain(&error, text, path))
}

/// Keys and values, whatever they mean.
pub(super) fn syntax(text: &str, path: &Path) -> Result<toml::Table, FileError> {
    toml::from_str(text).map_err(|error| explain(&error, text, path))
}

/// An error about the value under `key`, with the line it stands in.
pub(super) fn value(path: &Path, text: &str, key: &str, found: String, needed: &str) -> FileError {
    FileError::Value { path: path.into(), line: line_of(text, key), key: key.into(), found, needed: needed.into() }
}

/// The line, counted from 1, in which the last part of a dotted key is set, in the table of the part before it.
fn line_of(text: &str, key: &str) -> usize {
    let (table, name) = key.rsplit_once('.').unwrap_or(("", key));
    let mut at_table = table.is_empty();
    let mut fallback = 1;
    for (at, line) in text.lines().map(str::trim_start).enumerate() {
        if line.starts_with('[') {
            at_table = line.trim_start_matches('[').split(']').next().map(str::trim) == Some(table);
        }
        let is_set = line.strip_prefix(name).is_some_and(|rest| rest.trim_start().starts_with('='));
        if is_set && at_table {
            return at + 1;
        }
        if is_set && fallback == 1 {
            fallback = at + 1;
        }
    }
    fallback
}

fn not_finite(value: &toml::Value, at: &str) -> Option<(String, f64)> {
    let below = |key: &str| if at.is_empty() { key.to_owned() } else { format!("{at}.{key}") };
    match value {
        toml::Value::Float(number) if !number.is_finite() => Some((at.to_owned(), *number)),
        toml::Value::Table(table) => table.iter().find_map(|(key, value)| not_finite(value, &below(key))),
        toml::Value::Array(values) => values.iter().find_map(|value| not_finite(value, at)),
        _ => None,
    }
}

fn explain(error: &toml::de::Error, text: &str, path: &Path) -> FileError {
    let (line, column) = error.span().map_or((1, 1), |span| place(text, span.start));
    let says = error.message();
    match unknown_name(says) {
        Some((found, known)) => {
            let nearest = nearest(&found, &known);
            FileError::UnknownName { path: path.into(), line, column, found, nearest }
        }
        None => {
            let says = for_people(says);
            FileError::Document { path: path.into(), line, column, says }
        }
    }
}

/// A message without the names that only programmers know.
fn for_people(message: &str) -> String {
    let mut says = message.lines().collect::<Vec<_>>().join(", ");
    for (programmer, person) in
        [("usize", "a whole number"), ("u64", "a whole number"), ("u32", "a whole number"), ("f64", "a number")]
    {
        says = says.replace(&format!("expected {programmer}"), &format!("needed {person}"));
    }
    says
}

fn place(text: &str, byte: usize) -> (usize, usize) {
    let before = text.get(..byte.min(text.len())).unwrap_or("");
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
}

/// The name at fault and those that are known, from the message of `serde` about it.
fn unknown_name(message: &str) -> Option<(String, Vec<String>)> {
    let is_about_a_name = message.starts_with("unknown field") || message.starts_with("unknown variant");
    let mut names = message.split('`').skip(1).step_by(2).map(str::to_owned);
    let found = names.next().filter(|_| is_about_a_name)?;
    Some((found, names.collect()))
}

/// As similar as a slip of the finger makes it; a Jaro-Winkler similarity, 1 for equal names.
const LEAST_SIMILARITY: f64 = 0.7;

fn nearest(found: &str, known: &[String]) -> Option<String> {
    let similarity = |name: &&String| strsim::jaro_winkler(found, name);
    let best = known.iter().max_by(|a, b| similarity(a).total_cmp(&similarity(b)))?;
    (similarity(&best) >= LEAST_SIMILARITY).then(|| best.clone())
}
