//! TOML that says where it is wrong.
//!
//! Every error has line and column; a name that is not known comes with the nearest that is. The format is that of
//! toml.io, by the crate `toml`. It allows infinite and undefined numbers; here they are refused before anything else.

use super::FileError;
use super::text::{MOST_TYPED_BYTES, decode, read_bounded};
use crate::quantity::{SENTENCE, WORD, excerpt};
use serde::de::DeserializeOwned;
use std::path::Path;

/// A document from the text of a file, unknown names refused, all numbers finite.
pub(super) fn read_document<T: DeserializeOwned>(path: &Path) -> Result<(T, String), FileError> {
    let text = decode(&read_bounded(path, MOST_TYPED_BYTES)?, path)?;
    parse(&text, path).map(|document| (document, text))
}

/// The same from a text.
pub(super) fn parse<T: DeserializeOwned>(text: &str, path: &Path) -> Result<T, FileError> {
    let table = syntax(text, path)?;
    if let Some((key, found)) = beyond(&toml::Value::Table(table)) {
        let needed = if found.is_finite() { "a number of no more than 1e12" } else { "a finite number" };
        return Err(value(path, text, &key, number_text(found), needed));
    }
    toml::from_str(text).map_err(|error| explain(&error, text, path))
}

/// Keys and values, whatever they mean.
pub(super) fn syntax(text: &str, path: &Path) -> Result<toml::Table, FileError> {
    toml::from_str(text).map_err(|error| explain(&error, text, path))
}

/// An error about the value under `key`, with the line it stands in.
pub(super) fn value(path: &Path, text: &str, key: &str, found: String, needed: &str) -> FileError {
    let line = line_of(text, key);
    let (key, found) = (excerpt(key, WORD), excerpt(&found, WORD));
    FileError::Value { path: path.into(), line, key, found, needed: needed.into() }
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

/// Beyond this no number of a bench or a loudspeaker lies, whatever its unit; what follows from it would not stay finite.
const MOST: f64 = 1e12;
/// Less than this no size is.
const LEAST: f64 = 1e-9;

/// What is needed instead of a number that no size can be; none where one can.
pub(super) fn needed_of_size(number: f64) -> Option<&'static str> {
    match number {
        number if number >= LEAST => None,
        number if number > 0.0 => Some("1e-9 or more"),
        _ => Some("more than 0"),
    }
}

fn number_text(number: f64) -> String {
    if number.is_finite() { format!("{number:e}") } else { number.to_string() }
}

/// The first number beyond [`MOST`] with its dotted key.
fn beyond(value: &toml::Value) -> Option<(String, f64)> {
    match value {
        toml::Value::Float(number) if !number.is_finite() || number.abs() > MOST => Some((String::new(), *number)),
        toml::Value::Table(table) => table.iter().find_map(|(key, value)| {
            let (below, found) = beyond(value)?;
            Some((if below.is_empty() { key.clone() } else { format!("{key}.{below}") }, found))
        }),
        toml::Value::Array(values) => values.iter().find_map(beyond),
        _ => None,
    }
}

fn explain(error: &toml::de::Error, text: &str, path: &Path) -> FileError {
    let (line, column) = error.span().map_or((1, 1), |span| place(text, span.start));
    let says = error.message();
    match unknown_name(says) {
        Some((found, known)) => {
            let nearest = nearest(&found, &known);
            FileError::UnknownName { path: path.into(), line, column, found: excerpt(&found, WORD), nearest }
        }
        None => {
            let says = excerpt(&for_people(says), SENTENCE);
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
