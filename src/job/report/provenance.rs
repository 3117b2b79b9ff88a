//! Where a result came from, as the folded part of its chapter: command, files with their checksums, settings, program, and
//! whether it still holds.

use super::facts::Facts;
use crate::files::ResultStanding;
use crate::report::{Entry, command_text};
use serde_json::Value;
use std::path::Path;

/// A line each; places in the job's folder are told as seen from there.
pub(super) fn provenance(folder: &Path, standing: &ResultStanding, facts: Facts<'_>) -> Vec<Entry> {
    let at_home = |text: &str| within(folder, text);
    let mut entries = vec![Entry::text("document", standing.path.clone())];
    entries.push(Entry::text("still holds", holds(standing)));
    if !standing.command.is_empty() {
        let place = if standing.run_in == "." { String::new() } else { format!(", in {}", at_home(&standing.run_in)) };
        entries.push(Entry::text("command", format!("{}{place}", at_home(&command_text(&standing.command)))));
    }
    entries.extend(facts.all("inputs").into_iter().filter_map(|input| {
        Some(Entry::text(&at_home(input.text("path")?), format!("SHA-256 {}", input.text("sha256")?)))
    }));
    entries.extend(facts.parts("settings").into_iter().map(|(key, value)| Entry::text(key, at_home(&plain(value.0)))));
    entries.extend(facts.text("made_by").map(|by| Entry::text("made by", by)));
    entries
}

fn holds(standing: &ResultStanding) -> String {
    let because = standing.because.join("; ");
    match (standing.state.as_str(), because.is_empty()) {
        ("current", _) => "yes".into(),
        ("out-of-date", false) => format!("no: {because}"),
        ("out-of-date", true) => "no".into(),
        (_, false) => format!("not known: {because}"),
        (_, true) => "not known".into(),
    }
}

/// A setting without quotation marks around words.
fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Array(all) => all.iter().map(plain).collect::<Vec<_>>().join(", "),
        Value::Object(table) => {
            table.iter().map(|(key, value)| format!("{key} {}", plain(value))).collect::<Vec<_>>().join(", ")
        }
        other => other.to_string(),
    }
}

/// The text, with places in the job's folder as seen from there.
fn within(folder: &Path, text: &str) -> String {
    let whole = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned()).display().to_string();
    if whole.len() < 2 { text.to_owned() } else { text.replace(&format!("{}/", whole.trim_end_matches('/')), "") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_in_the_job_are_told_from_there_and_settings_are_plain() {
        assert_eq!(within(Path::new("/home/a/job"), "/home/a/job/mic.txt and /home/b"), "mic.txt and /home/b");
        assert_eq!(plain(&serde_json::json!([1, "two", { "a": true }])), "1, two, a true");
    }
}
