//! What whoever asks for a report knows beyond the folder, as the demo knows the truth.

use crate::report::{Chapter, Entry, Figure};
use std::collections::BTreeMap;

/// What is told beside what the folder tells.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Additions {
    /// The name of the page; without it the job's.
    pub title: Option<String>,
    /// Paragraphs before the summary's own.
    pub summary: Vec<String>,
    /// To results, by the path of their document within the job's folder.
    pub results: BTreeMap<String, Added>,
    /// Chapters after all others.
    pub closing: Vec<Chapter>,
    /// Lines of the footer.
    pub footer: Vec<String>,
}

/// What is told of a result beside what its document tells.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Added {
    /// Instead of the usual heading.
    pub heading: Option<String>,
    /// Before anything else, a paragraph each.
    pub prose: Vec<String>,
    /// After the numbers of the document.
    pub numbers: Vec<Entry>,
    /// After its pictures.
    pub figures: Vec<Figure>,
}
