//! Damaged captures of impedances.

/// Prints the table for so many captures of each kind and severity.
pub fn table(captures: u64, seed: u64) {
    println!("impedance: {captures} captures a row, seed {seed}");
}
