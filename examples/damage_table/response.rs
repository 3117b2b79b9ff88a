//! Damaged captures of responses.

/// Prints the table for so many captures of each kind and severity.
pub fn table(captures: u64, seed: u64) {
    println!("response: {captures} captures a row, seed {seed}");
}
