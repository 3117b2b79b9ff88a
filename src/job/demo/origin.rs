//! Where a result came from, as the folded part of a chapter: its files with their checksums, and every setting.

use crate::files::InputFile;
use crate::report::Entry;
use serde::Serialize;

/// The inputs and settings of a document, a line each.
pub(super) fn origin(inputs: &[InputFile], settings: &impl Serialize) -> Vec<Entry> {
    let mut entries: Vec<Entry> =
        inputs.iter().map(|input| Entry::text(&input.path, format!("SHA-256 {}", input.sha256))).collect();
    let settings = serde_json::to_value(settings).unwrap_or_default();
    for (key, value) in settings.as_object().into_iter().flatten() {
        let shown = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
        entries.push(Entry::text(key, shown));
    }
    entries
}
