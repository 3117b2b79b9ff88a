//! Options that say how a result is told.

use super::{Failure, tell};
use serde::Serialize;

#[derive(Debug, Clone, Copy, clap::Args)]
pub struct TellingArgs {
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    /// Print nothing but errors (and the JSON document)
    #[arg(long, short)]
    quiet: bool,
}

impl TellingArgs {
    /// The document as JSON, in words, or not at all.
    pub fn result(self, document: &impl Serialize, words: impl FnOnce() -> String) -> Result<(), Failure> {
        match (self.json, self.quiet) {
            (true, _) => tell::document(document),
            (false, false) => tell::result(&words()),
            (false, true) => Ok(()),
        }
    }

    /// Whether the JSON document is wanted.
    pub fn as_json(self) -> bool {
        self.json
    }

    /// Whether words are wanted.
    pub fn in_words(self) -> bool {
        !self.json && !self.quiet
    }
}
