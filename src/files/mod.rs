//! The disk: WAV files, text tables, descriptions of signals and captures, results.
