//! The one place that writes to the terminal: results to standard output, all else to standard error.

use super::failure::Failure;
use std::io::{IsTerminal, Write};

/// A result, as it is.
pub fn result(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())?;
    Ok(out.flush()?)
}

/// A result that is one JSON document.
pub fn json(document: &serde_json::Value) -> Result<(), Failure> {
    result(&format!("{document:#}\n"))
}

/// The same of a document of the library.
pub fn document(document: &impl serde::Serialize) -> Result<(), Failure> {
    let own = |error: serde_json::Error| Failure::input(error, "report this, it is a fault of the program");
    json(&serde_json::to_value(document).map_err(own)?)
}

/// A word on the way; nobody to read it is no reason to stop.
pub fn hint(text: &str) {
    let _ = writeln!(std::io::stderr().lock(), "{text}");
}

/// What went wrong, and what to do.
pub fn error(says: &str, advice: &str) {
    let _ = writeln!(std::io::stderr().lock(), "error: {says}\n  try: {advice}");
}

/// Whether standard output takes colours.
pub fn paint() -> boxwright::report::Paint {
    use boxwright::report::Paint;
    let plain = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty()) || !std::io::stdout().is_terminal();
    if plain { Paint::Plain } else { Paint::Ansi }
}

/// Whether a person watches standard error.
pub fn is_terminal() -> bool {
    std::io::stderr().is_terminal()
}

/// Puts a line in the place of the one before; without escapes, so that any terminal will do.
pub fn redraw(text: &str) {
    let mut err = std::io::stderr().lock();
    let _ = write!(err, "\r{:WIDTH$}\r{text}", "", WIDTH = 78);
    let _ = err.flush();
}
