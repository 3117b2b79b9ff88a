//! Curves over frequency as text tables: anybody's, and our own.
//!
//! Anybody's has two or three columns: frequency in Hz, level in dB (or magnitude in ohm, if its heading says ohm),
//! phase in degrees. Our own begins with `# key: value` lines and names its columns:
//! `frequency_hz,level_db,phase_deg,u_db` or `frequency_hz,magnitude_ohm,phase_deg,u_ohm,u_noise_ohm`, the last ones optional.
//! A microphone's table is such a curve. A Touchstone one-port file is read as a curve of ohm and degrees.

use super::FileError;
use super::curve_bounds::beyond;
use super::table::{Table, shown, table};
use super::text::{MOST_TEXT_BYTES, decode, read_bounded};
use super::touchstone;
use std::path::Path;

/// A curve over frequency; all columns of one length.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// What the second column is.
    pub measure: Measure,
    /// Rising frequencies.
    pub frequency_hz: Vec<f64>,
    /// Level in dB or magnitude in ohm.
    pub values: Vec<f64>,
    /// Phase in degrees.
    pub phase_deg: Option<Vec<f64>>,
    /// Standard uncertainty of `values`, in their unit.
    pub u: Option<Vec<f64>>,
    /// The part of `u` that differs from point to point by chance; only impedances have it.
    pub u_noise: Option<Vec<f64>>,
    /// What its `# key: value` lines say.
    pub header: Vec<(String, String)>,
    /// What the reader changed: sorted, left out, merged.
    pub notes: Vec<String>,
}

/// What the second column of a curve is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// Level in dB.
    LevelDb,
    /// Magnitude in ohm.
    MagnitudeOhm,
}

impl Measure {
    pub(super) fn column(self) -> &'static str {
        match self {
            Self::LevelDb => "level_db",
            Self::MagnitudeOhm => "magnitude_ohm",
        }
    }

    pub(super) fn u_column(self) -> &'static str {
        match self {
            Self::LevelDb => "u_db",
            Self::MagnitudeOhm => "u_ohm",
        }
    }

    pub(super) fn u_noise_column(self) -> Option<&'static str> {
        match self {
            Self::LevelDb => None,
            Self::MagnitudeOhm => Some("u_noise_ohm"),
        }
    }
}

impl Curve {
    /// What was understood: `412 points, 20 Hz to 20 kHz, dB and degrees`.
    pub fn says(&self) -> String {
        let count = self.frequency_hz.len();
        let points = if count == 1 { "1 point".to_owned() } else { format!("{count} points") };
        let span = match (self.frequency_hz.first(), self.frequency_hz.last()) {
            (Some(&low_hz), Some(&high_hz)) => format!(", {} to {}", frequency_text(low_hz), frequency_text(high_hz)),
            _ => String::new(),
        };
        let unit = match self.measure {
            Measure::LevelDb => "dB",
            Measure::MagnitudeOhm => "ohm",
        };
        let phase = if self.phase_deg.is_some() { " and degrees" } else { "" };
        let doubt = if self.u.is_some() { ", with uncertainty" } else { "" };
        let notes: String = self.notes.iter().map(|note| format!("; {note}")).collect();
        format!("{points}{span}, {unit}{phase}{doubt}{notes}")
    }

    /// What its header says under a key.
    pub fn header_value(&self, key: &str) -> Option<&str> {
        self.header.iter().find(|(name, _)| name == key).map(|(_, value)| value.as_str())
    }

    /// The positive number that its header has under a key.
    pub fn header_number(&self, key: &str) -> Option<f64> {
        self.header_value(key)?.parse().ok().filter(|number| SIZES.contains(number))
    }

    /// From which spacing on two of its points are independent, Hz: as it says, or one over its gate.
    pub fn resolution_hz(&self) -> Option<f64> {
        self.header_number("resolution_hz").or_else(|| Some(1e3 / self.header_number("gate_ms")?))
    }
}

/// What a number in a header can be: a gate, a resolution, a temperature, whatever its unit.
const SIZES: std::ops::RangeInclusive<f64> = 1e-9..=1e12;

/// A frequency as people write it: `20 Hz`, `1.25 kHz`.
pub fn frequency_text(hz: f64) -> String {
    let (number, unit) = if hz >= 1000.0 { (hz / 1000.0, "kHz") } else { (hz, "Hz") };
    // Four digits are more than a span needs.
    let decimals = (3 - number.abs().max(1e-9).log10().floor() as i32).clamp(0, 6) as usize;
    let text = format!("{number:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    format!("{text} {unit}")
}

/// The curve in a text table, or in a Touchstone one-port file.
///
/// # Errors
/// [`FileError::Table`] or `Touchstone` with the line at fault, `NoPoints`, `NotText`, `TooLarge` or `Io`.
pub fn read_curve(path: &Path) -> Result<Curve, FileError> {
    curve_from(&read_bounded(path, MOST_TEXT_BYTES)?, path)
}

/// The curve in the bytes of a text table; `path` is only its name in messages.
///
/// # Errors
/// As [`read_curve`], but never `Io`.
pub fn curve_from(bytes: &[u8], path: &Path) -> Result<Curve, FileError> {
    let text = decode(bytes, path)?;
    if touchstone::is_touchstone(&text, path) {
        return touchstone::curve(&text, path);
    }
    let table = table(&text, path)?;
    let meaning = Meaning::of(&table, path)?;
    let header = table.comments.iter().filter_map(|line| header_line(line)).collect();
    let (rows, notes) = in_order(table.rows, path)?;
    let column = |at: usize| rows.iter().map(|(_, row)| row[at]).collect::<Vec<f64>>();
    let curve = Curve {
        measure: meaning.measure,
        frequency_hz: column(0),
        values: column(1),
        phase_deg: meaning.phase_at.map(column),
        u: meaning.u_at.map(column),
        u_noise: meaning.u_noise_at.map(column),
        header,
        notes,
    };
    let negative = |values: &[f64]| values.iter().position(|&value| value < 0.0);
    let unsigned = match meaning.measure {
        Measure::MagnitudeOhm => negative(&curve.values),
        Measure::LevelDb => None,
    };
    let doubts = [&curve.u, &curve.u_noise];
    let unsigned = unsigned.or_else(|| doubts.into_iter().flatten().find_map(|doubts| negative(doubts)));
    if let Some(at) = unsigned {
        return Err(refuse(path, rows[at].0, "a negative number".into(), "a magnitude or an uncertainty"));
    }
    if let Some((at, found, needed)) = beyond(&curve) {
        return Err(refuse(path, rows[at].0, format!("{found:e}"), needed));
    }
    Ok(curve)
}

/// Which column is what.
struct Meaning {
    measure: Measure,
    phase_at: Option<usize>,
    u_at: Option<usize>,
    u_noise_at: Option<usize>,
}

impl Meaning {
    fn of(table: &Table, path: &Path) -> Result<Self, FileError> {
        let (line, columns) = table.rows.first().map_or((1, 0), |(line, row)| (*line, row.len()));
        let heading = table.heading.as_deref().unwrap_or("");
        if heading.starts_with("frequency_hz") {
            return Self::by_name(&table.separator.fields(heading), columns)
                .map_err(|(found, needed)| refuse(path, line, found, needed));
        }
        if !(2..=3).contains(&columns) {
            let found = if columns == 1 { "1 column".into() } else { format!("{columns} columns") };
            return Err(refuse(path, line, found, "two or three: frequency, level, phase"));
        }
        let heading = heading.to_lowercase();
        let is_ohm = heading.contains("ohm") || heading.contains('ω');
        let measure = if is_ohm { Measure::MagnitudeOhm } else { Measure::LevelDb };
        Ok(Self { measure, phase_at: (columns == 3).then_some(2), u_at: None, u_noise_at: None })
    }

    fn by_name(names: &[&str], columns: usize) -> Result<Self, (String, &'static str)> {
        if names.len() != columns {
            return Err((format!("{columns} columns under {} names", names.len()), "a name for each column"));
        }
        let measure = match names.get(1) {
            Some(&"level_db") => Measure::LevelDb,
            Some(&"magnitude_ohm") => Measure::MagnitudeOhm,
            other => {
                return Err((
                    format!("the column {}", other.map_or("none".into(), |name| shown(name))),
                    "level_db or magnitude_ohm",
                ));
            }
        };
        let mut meaning = Self { measure, phase_at: None, u_at: None, u_noise_at: None };
        for (at, &name) in names.iter().enumerate().skip(2) {
            let place = match name {
                "phase_deg" => &mut meaning.phase_at,
                name if name == measure.u_column() => &mut meaning.u_at,
                name if measure.u_noise_column() == Some(name) => &mut meaning.u_noise_at,
                name => return Err((format!("the column {}", shown(name)), "phase_deg, u_db, u_ohm or u_noise_ohm")),
            };
            if place.replace(at).is_some() {
                return Err((format!("the column {name:?} twice"), "each column once"));
            }
        }
        Ok(meaning)
    }
}

/// `# key: value`.
pub(super) fn header_line(line: &str) -> Option<(String, String)> {
    let (key, value) = line.strip_prefix('#')?.split_once(':')?;
    Some((key.trim().to_owned(), value.trim().to_owned()))
}

pub(super) type Rows = Vec<(usize, Vec<f64>)>;

/// The rows with rising, positive frequencies, and what was done to get there.
pub(super) fn in_order(mut rows: Rows, path: &Path) -> Result<(Rows, Vec<String>), FileError> {
    let mut notes = Vec::new();
    if let Some((line, row)) = rows.iter().find(|(_, row)| row[0] < 0.0) {
        return Err(refuse(path, *line, format!("{} Hz", row[0]), "a frequency above zero"));
    }
    let before = rows.len();
    rows.retain(|(_, row)| row[0] > 0.0);
    if rows.len() < before {
        notes.push("0 Hz left out, it has no place on a logarithmic scale".to_owned());
    }
    if rows.is_empty() {
        return Err(FileError::NoPoints { path: path.into(), lines: before });
    }
    if rows.windows(2).any(|pair| pair[0].1[0] > pair[1].1[0]) {
        rows.sort_by(|a, b| a.1[0].total_cmp(&b.1[0]));
        notes.push("sorted by frequency".to_owned());
    }
    let before = rows.len();
    rows.dedup_by(|later, kept| later.1 == kept.1);
    if rows.len() < before {
        notes.push(format!("{} repeated lines left out", before - rows.len()));
    }
    if let Some(pair) = rows.windows(2).find(|pair| pair[0].1[0] == pair[1].1[0]) {
        let found = format!("{} Hz, which line {} has with another value", pair[1].1[0], pair[0].0);
        return Err(refuse(path, pair[1].0, found, "each frequency once"));
    }
    Ok((rows, notes))
}

fn refuse(path: &Path, line: usize, found: String, needed: &str) -> FileError {
    FileError::Table { path: path.into(), line, found, needed: needed.into() }
}

impl Default for Curve {
    /// A curve without points, to start from.
    fn default() -> Self {
        Self {
            measure: Measure::LevelDb,
            frequency_hz: Vec::new(),
            values: Vec::new(),
            phase_deg: None,
            u: None,
            u_noise: None,
            header: Vec::new(),
            notes: Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Curve, FileError> {
        curve_from(text.as_bytes(), Path::new("t.txt"))
    }

    #[test]
    fn each_way_of_separating_columns_and_decimals_is_understood() {
        for text in [
            "20.5,1.25,-90\n1000,0.5,3\n",
            "20.5, 1.25, -90\r\n1000, 0.5, 3\r\n",
            "20,5;1,25;-90\n1000;0,5;3\n",
            "20.5;1.25;-90;\n1000;0.5;3;\n",
            "20.5\t1.25\t-90\n1000\t0.5\t3\n",
            "20,5\t1,25\t-90\n1000\t0,5\t3\n",
            "  20.5   1.25 -90\n  1000    .5   +3\n",
            "20,5 1,25 -90\n1000 0,5 3\n",
            "2.05e1 1.25E0 -9e1\n1e3 5e-1 3\n",
            "* a microphone\nFreq(Hz) SPL(dB) Phase(deg)\n\n20.5 1.25 -90\n1000 0.5 3",
        ] {
            let curve = read(text).unwrap_or_else(|error| panic!("{text:?}: {error}"));
            assert_eq!(curve.frequency_hz, [20.5, 1000.0], "{text:?}");
            assert_eq!(curve.values, [1.25, 0.5], "{text:?}");
            assert_eq!(curve.phase_deg.as_deref(), Some(&[-90.0, 3.0][..]), "{text:?}");
            assert_eq!(curve.says(), "2 points, 20.5 Hz to 1 kHz, dB and degrees");
        }
        // Only negative levels, after a date, which is no number.
        let negative = read("2026-01-31, rear\n20,-3.5\n40,-4\n").unwrap();
        assert_eq!((negative.frequency_hz, negative.values), (vec![20.0, 40.0], vec![-3.5, -4.0]));
        let whole = read("20,3\n40,4\n").unwrap();
        assert_eq!((whole.values, whole.phase_deg), (vec![3.0, 4.0], None));
    }

    #[test]
    fn each_encoding_is_understood() {
        let text = "Größe in Ω, µ\n20 6.5\n40 7.25\n";
        let utf_16 = |order: fn(u16) -> [u8; 2]| text.encode_utf16().flat_map(order).collect::<Vec<u8>>();
        let latin: Vec<u8> = b"Gr\xf6\xdfe in Ohm, \xb5\n20 6.5\n40 7.25\n".to_vec();
        let cases = [
            text.as_bytes().to_vec(),
            [b"\xef\xbb\xbf", text.as_bytes()].concat(),
            [b"\xff\xfe".to_vec(), utf_16(u16::to_le_bytes)].concat(),
            [b"\xfe\xff".to_vec(), utf_16(u16::to_be_bytes)].concat(),
            latin,
        ];
        for bytes in cases {
            let curve = curve_from(&bytes, Path::new("t")).unwrap();
            assert_eq!(curve.measure, Measure::MagnitudeOhm, "{bytes:?}");
            assert_eq!((curve.frequency_hz, curve.values), (vec![20.0, 40.0], vec![6.5, 7.25]));
        }
    }

    #[test]
    fn rows_are_sorted_and_doubles_are_left_out_or_refused() {
        let curve = read("40 2\n20 1\n40 2\n0 9\n").unwrap();
        assert_eq!((curve.frequency_hz, curve.values), (vec![20.0, 40.0], vec![1.0, 2.0]));
        assert_eq!(curve.notes.len(), 3, "{:?}", curve.notes);
        let error = read("20 1\n40 2\n20 3\n").unwrap_err().to_string();
        assert_eq!(
            error,
            "t.txt: line 3: found 20 Hz, which line 1 has with another value, needed each frequency once"
        );
    }

    #[test]
    fn a_broken_line_is_named() {
        for (text, expected) in [
            ("20 1\n40 x\n", "t.txt: line 2: found \"x\", needed a number"),
            ("20 1\n40\n", "t.txt: line 2: found 1 columns, needed 2 as in the lines before"),
            ("20\n40\n", "t.txt: line 1: found 1 column, needed two or three: frequency, level, phase"),
            ("20 1 2 3\n", "t.txt: line 1: found 4 columns, needed two or three: frequency, level, phase"),
            ("-20 1\n", "t.txt: line 1: found -20 Hz, needed a frequency above zero"),
            ("20 nan\n", "t.txt: line 1: found \"nan\", needed a number"),
            ("20 1e999\n", "t.txt: line 1: found \"1e999\", needed a number"),
            ("no numbers\n", "t.txt: a curve needs at least one line of two numbers, found none in 1 lines"),
            ("", "t.txt: a curve needs at least one line of two numbers, found none in 0 lines"),
        ] {
            assert_eq!(read(text).unwrap_err().to_string(), expected, "{text:?}");
        }
        assert!(matches!(read("20 1\0\n"), Err(FileError::NotText { byte: 4, found: 0, .. })));
    }
}
