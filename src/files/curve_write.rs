//! Our own text table of a curve: `# key: value` lines, the names of the columns, the points.
//!
//! Numbers are written with as many digits as bring back the same double.

use super::{Curve, FileError};
use std::fmt::Write;
use std::path::Path;

/// A curve as the text of our own table.
///
/// # Panics
/// When its columns are not of one length: our own fault.
pub fn curve_text(curve: &Curve) -> String {
    let count = curve.frequency_hz.len();
    let mut names = vec!["frequency_hz", curve.measure.column()];
    let mut columns = vec![&curve.frequency_hz, &curve.values];
    if let Some(phase_deg) = &curve.phase_deg {
        names.push("phase_deg");
        columns.push(phase_deg);
    }
    if let Some(u) = &curve.u {
        names.push(curve.measure.u_column());
        columns.push(u);
    }
    if let (Some(name), Some(u_noise)) = (curve.measure.u_noise_column(), &curve.u_noise) {
        names.push(name);
        columns.push(u_noise);
    }
    assert!(columns.iter().all(|column| column.len() == count), "columns of one length");
    let mut text = String::new();
    for (key, value) in &curve.header {
        // A key ends at its colon and a line at its end, whatever they hold.
        let _ = writeln!(text, "# {}: {}", one_line(key).replace(':', " "), one_line(value));
    }
    text.push_str(&names.join(","));
    text.push('\n');
    for point in 0..count {
        let row: Vec<String> = columns.iter().map(|column| number_text(column[point])).collect();
        text.push_str(&row.join(","));
        text.push('\n');
    }
    text
}

/// Writes a curve in place of what was there.
///
/// # Errors
/// [`FileError::Io`].
pub fn replace_curve(path: &Path, curve: &Curve) -> Result<(), FileError> {
    super::replace(path, curve_text(curve).as_bytes())
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The shortest text that is read back as the same double.
fn number_text(number: f64) -> String {
    let is_plain = number == 0.0 || (1e-5..1e15).contains(&number.abs());
    if is_plain { format!("{number}") } else { format!("{number:e}") }
}
