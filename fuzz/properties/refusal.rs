//! What every refusal of a file has to be: one sentence that names the file, says where and what, and what to do next.

use boxwright::files::FileError;

/// The name under which readers are told about their bytes.
pub const NAME: &str = "t";

/// Longer than this nobody reads (ours: seven lines of a terminal; a word of 60 letters may need ten signs each).
pub const MOST_LETTERS: usize = 600;

/// A sentence that a person can read.
pub fn one_sentence(says: &str) {
    assert!(!says.trim().is_empty(), "an error without words");
    assert!(says.chars().count() <= MOST_LETTERS, "{} letters: {says:?}", says.chars().count());
    assert!(!says.chars().any(char::is_control), "control characters: {says:?}");
}

/// What was refused of a file that is there.
pub fn of_file(error: &FileError) {
    let says = error.to_string();
    one_sentence(&says);
    one_sentence(error.advice());
    assert!(says.starts_with(NAME), "without the file's name: {says:?}");
    let has_place = ["line ", "byte ", "frame "].iter().any(|word| says.contains(word));
    let is_whole =
        matches!(error, FileError::NoSamples { .. } | FileError::NoPoints { .. } | FileError::TooLarge { .. });
    assert!(has_place || is_whole, "no place: {says:?}");
}
