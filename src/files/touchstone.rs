//! One-port files of the Touchstone format, versions 1.x and 2.0.
//!
//! ```text
//! # <Hz|kHz|MHz|GHz> <Z|Y|S> <DB|MA|RI> R <ohm>        left out: GHz S MA R 50
//! S = (Z − R)/(Z + R)        Z = R·(1 + S)/(1 − S)        Z = 1/Y
//! ```
//!
//! Version 1.x stores Z/R and Y·R, version 2.0 plain ohm and siemens; S is referred to R in both. `!` begins a comment, the first
//! line with `#` counts. What is written is version 1.x with `R 1`, which both versions read alike.
//! Source: "Touchstone File Format Specification", versions 1.1 and 2.0 (2009), as publicly quoted.

use super::curve::in_order;
use super::curve_bounds::beyond;
use super::table::shown;
use super::{Curve, FileError, Measure};
use crate::impedance::Impedance;
use crate::quantity::{WORD, excerpt};
use num_complex::Complex64;
use std::fmt::Write;
use std::path::Path;

/// What the option line says.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Options {
    hz: f64,
    parameter: Parameter,
    format: Format,
    reference_ohm: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Parameter {
    Impedance,
    Admittance,
    Scattering,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Format {
    Decibel,
    Magnitude,
    RealImaginary,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Version {
    One,
    Two,
}

/// No port of a loudspeaker is described more finely.
const MOST_POINTS: usize = 1_000_000;

/// Whether a text is meant as Touchstone: its first line that is no comment is an option line or a keyword of version 2.0,
/// or, where there is none, its name says so.
pub(super) fn is_touchstone(text: &str, path: &Path) -> bool {
    let named = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("s1p"));
    let first = text.lines().map(|line| without_comment(line).trim()).find(|line| !line.is_empty());
    let begins = first.is_some_and(|line| {
        let lower = line.to_lowercase();
        // "# Hz dB" alone is the heading of somebody's table.
        let names_reference = lower.split_whitespace().any(|word| word == "r");
        lower.starts_with("[version]") || (names_reference && options(&lower).is_some())
    });
    named || begins
}

/// The impedance of a one-port file as a curve of ohm and degrees.
pub(super) fn curve(text: &str, path: &Path) -> Result<Curve, FileError> {
    let content = Content::of(text, path)?;
    if content.numbers.is_empty() {
        return Err(FileError::NoPoints { path: path.into(), lines: text.lines().count() });
    }
    let rows = content.numbers.chunks(3).map(|point| content.row(point, path)).collect::<Result<Vec<_>, _>>()?;
    let (rows, notes) = in_order(rows, path)?;
    let column = |at: usize| rows.iter().map(|(_, row)| row[at]).collect::<Vec<f64>>();
    let curve = Curve {
        measure: Measure::MagnitudeOhm,
        frequency_hz: column(0),
        values: column(1),
        phase_deg: Some(column(2)),
        notes,
        ..Curve::default()
    };
    match beyond(&curve) {
        Some((at, found, needed)) => Err(refused(path, rows[at].0, format!("{found:e}"), needed)),
        None => Ok(curve),
    }
}

/// What a file says, its numbers each with their line.
struct Content {
    version: Version,
    options: Options,
    numbers: Vec<(usize, f64)>,
}

impl Content {
    fn of(text: &str, path: &Path) -> Result<Self, FileError> {
        let mut version = Version::One;
        let mut said: Option<Options> = None;
        let mut numbers = Vec::new();
        for (at, line) in text.lines().enumerate() {
            let number = at + 1;
            let line = without_comment(line).trim().to_lowercase();
            if let Some(keyword) = line.strip_prefix('[') {
                match keyword_line(keyword, &mut version, said.as_mut()) {
                    Ok(Goes::On) => {}
                    Ok(Goes::Ended) => break,
                    Err((found, needed)) => return Err(refused(path, number, found, needed)),
                }
            } else if line.starts_with('#') {
                let needed = "an option line such as # Hz Z RI R 1";
                said.get_or_insert(options(&line).ok_or_else(|| refused(path, number, shown(&line), needed))?);
            } else {
                for word in line.split_whitespace() {
                    if numbers.len() == 3 * MOST_POINTS {
                        return Err(refused(path, number, format!("more than {MOST_POINTS} points"), "a shorter file"));
                    }
                    let value = word.parse().ok().filter(|value: &f64| value.is_finite());
                    numbers.push((number, value.ok_or_else(|| refused(path, number, shown(word), "a number"))?));
                }
            }
        }
        Ok(Self { version, options: said.unwrap_or_default(), numbers })
    }

    /// A point's line; its frequency, magnitude in ohm, and phase in degrees.
    fn row(&self, point: &[(usize, f64)], path: &Path) -> Result<(usize, Vec<f64>), FileError> {
        let [(line, hz), (_, first), (last_line, second)] = *point else {
            let found = format!("{} numbers at the end", point.len());
            return Err(refused(path, point[0].0, found, "three for each frequency"));
        };
        if last_line != line {
            let needed = "one port: a frequency and two values a line";
            return Err(refused(path, line, "a point over several lines".into(), needed));
        }
        let z = self.options.impedance_ohm(self.options.format.value(first, second), self.version);
        if !z.is_finite() {
            return Err(refused(path, line, format!("{first} {second}"), "a value that is an impedance"));
        }
        Ok((line, vec![hz * self.options.hz, z.norm(), z.arg().to_degrees()]))
    }
}

fn refused(path: &Path, line: usize, found: String, needed: &str) -> FileError {
    FileError::Touchstone { path: path.into(), line, found, needed: needed.into() }
}

/// An impedance as a one-port file, `header` as comments.
pub fn touchstone_text(impedance: &Impedance, header: &[(String, String)]) -> String {
    let mut text = String::new();
    for (key, value) in header {
        let _ = writeln!(text, "! {}", format!("{key}: {value}").split_whitespace().collect::<Vec<_>>().join(" "));
    }
    text.push_str("# Hz Z RI R 1\n");
    for (hz, z) in impedance.hz().iter().zip(impedance.values()) {
        let _ = writeln!(text, "{hz:e} {:e} {:e}", z.re, z.im);
    }
    text
}

enum Goes {
    On,
    Ended,
}

/// A line that begins with `[`, in lower case and without it.
fn keyword_line(
    keyword: &str,
    version: &mut Version,
    options: Option<&mut Options>,
) -> Result<Goes, (String, &'static str)> {
    let (name, value) = keyword.split_once(']').unwrap_or((keyword, ""));
    let value = value.trim();
    match name.trim() {
        "version" if value.starts_with('2') => *version = Version::Two,
        "version" if value.starts_with('1') => {}
        "version" => return Err((format!("version {}", shown(value)), "version 1.x or 2.0")),
        "number of ports" if value != "1" => return Err((format!("{} ports", excerpt(value, WORD)), "one port")),
        "reference" => match (value.parse(), options) {
            (Ok(ohm), Some(options)) if ohm > 0.0 && f64::is_finite(ohm) => options.reference_ohm = ohm,
            _ => {
                return Err((
                    format!("the reference {}", shown(value)),
                    "one resistance above 0 Ω, behind the option line",
                ));
            }
        },
        "end" => return Ok(Goes::Ended),
        // Counts and the marks of sections say nothing that the data do not; noise of a one-port does not exist.
        _ => {}
    }
    Ok(Goes::On)
}

fn without_comment(line: &str) -> &str {
    line.split('!').next().unwrap_or("")
}

/// An option line in lower case; `None` for words that belong to none.
fn options(line: &str) -> Option<Options> {
    let mut options = Options::default();
    let mut words = line.strip_prefix('#')?.split_whitespace();
    while let Some(word) = words.next() {
        match word {
            "hz" => options.hz = 1.0,
            "khz" => options.hz = 1e3,
            "mhz" => options.hz = 1e6,
            "ghz" => options.hz = 1e9,
            "z" => options.parameter = Parameter::Impedance,
            "y" => options.parameter = Parameter::Admittance,
            "s" => options.parameter = Parameter::Scattering,
            "db" => options.format = Format::Decibel,
            "ma" => options.format = Format::Magnitude,
            "ri" => options.format = Format::RealImaginary,
            "r" => {
                options.reference_ohm = words.next()?.parse().ok().filter(|ohm: &f64| *ohm > 0.0 && ohm.is_finite())?
            }
            _ => return None,
        }
    }
    Some(options)
}

impl Default for Options {
    fn default() -> Self {
        Self { hz: 1e9, parameter: Parameter::Scattering, format: Format::Magnitude, reference_ohm: 50.0 }
    }
}

impl Options {
    fn impedance_ohm(&self, stored: Complex64, version: Version) -> Complex64 {
        let reference_ohm = self.reference_ohm;
        match (self.parameter, version) {
            (Parameter::Impedance, Version::One) => reference_ohm * stored,
            (Parameter::Impedance, Version::Two) => stored,
            (Parameter::Admittance, Version::One) => reference_ohm / stored,
            (Parameter::Admittance, Version::Two) => stored.inv(),
            (Parameter::Scattering, _) => reference_ohm * (1.0 + stored) / (1.0 - stored),
        }
    }
}

impl Format {
    fn value(self, first: f64, second: f64) -> Complex64 {
        match self {
            Self::Decibel => Complex64::from_polar(10f64.powf(first / 20.0), second.to_radians()),
            Self::Magnitude => Complex64::from_polar(first, second.to_radians()),
            Self::RealImaginary => Complex64::new(first, second),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::{curve_from, impedance_of};
    use crate::quantity::FrequencyGrid;

    fn read(text: &str) -> Result<Curve, FileError> {
        curve_from(text.as_bytes(), Path::new("z.s1p"))
    }

    /// 6 + 8j Ω (10 Ω, 53.13°) at 1 kHz, in each way of saying it. S = (Z − R)/(Z + R) for R = 50: (−44 + 8j)/(56 + 8j) =
    /// (−2400 + 800j)/3200 = −0.75 + 0.25j. Y = 0.06 − 0.08j S.
    #[test]
    fn each_parameter_format_unit_and_version_gives_the_same_impedance() {
        for text in [
            "# Hz Z RI R 1\n1000 6 8\n",
            "! a comment\n# kHz Z RI R 4 ! and one here\n1 1.5 2 ! 6 8\n",
            "# MHZ z ma r 10\n0.001 1 53.13010235415598\n",
            "# GHz Z DB R 1\n1e-6 20 53.13010235415598\n# Hz S MA R 50\n",
            "# Hz S RI R 50\n1000 -0.75 0.25\n",
            "# Hz S RI\n1000 -0.75 0.25\n",
            "# Hz Y RI R 1\n1000 0.06 -0.08\n",
            "# Hz Y RI R 50\n1000 3 -4\n",
            "[Version] 2.0\n# Hz Z RI R 10\n[Number of Ports] 1\n[Number of Frequencies] 1\n[Network Data]\n1000 6 8\n[End]\nwords",
            "[Version] 2.0\n# Hz S RI R 50\n[Reference] 5\n[Number of Ports] 1\n[Network Data]\n1000 0.4054054054054054 0.43243243243243246\n[End]\n",
            "[Version] 2.0\n# Hz Y RI R 50\n[Network Data]\n1000 0.06 -0.08\n[End]\n",
            "1e-6 0.7905694150420949 161.56505117707798\n",
        ] {
            let curve = read(text).unwrap_or_else(|error| panic!("{text:?}: {error}"));
            let z = impedance_of(&curve).unwrap();
            // 1e-12: printed to sixteen digits.
            assert!((z.hz()[0] - 1000.0).abs() < 1e-9, "{text:?}");
            assert!((z.values()[0] - Complex64::new(6.0, 8.0)).norm() < 1e-12, "{text:?}: {}", z.values()[0]);
        }
    }

    #[test]
    fn what_is_written_is_read_as_the_same() {
        let grid = FrequencyGrid::new(vec![20.158737, 1000.0]).unwrap();
        let values = vec![Complex64::new(6.1, -0.3), Complex64::new(1e-9, 3e4)];
        let written = Impedance::new(grid, values.clone()).unwrap();
        let text = touchstone_text(&written, &[("of".into(), "a\ntest".into())]);
        assert!(text.starts_with("! of: a test\n# Hz Z RI R 1\n"), "{text}");
        let back = impedance_of(&read(&text).unwrap()).unwrap();
        assert_eq!(back.hz(), written.hz());
        for (back, value) in back.values().iter().zip(values) {
            // 1e-15 each of magnitude and angle.
            assert!((back - value).norm() < 4e-15 * value.norm(), "{back} {value}");
        }
        // Without the ending the option line tells.
        assert!(curve_from(text.as_bytes(), Path::new("z.txt")).is_ok_and(|curve| curve.phase_deg.is_some()));
        let table = curve_from(b"# Hz dB\n20 -3\n40 -4\n", Path::new("z.txt")).unwrap();
        assert_eq!(table.measure, Measure::LevelDb);
    }

    #[test]
    fn what_is_no_one_port_is_refused_with_its_line() {
        for (text, expected) in [
            ("# Hz Z RI R 1\n20 1 2 3\n", "line 2: found 1 numbers at the end, needed three for each frequency"),
            ("# Hz Z RI R 1\n20 1\n2 30 1 2\n", "line 2: found a point over several lines"),
            ("# Hz Z RI R 1\n20 1 x\n", "line 2: found \"x\", needed a number"),
            ("# Hz H RI R 1\n20 1 2\n", "line 1: found \"# hz h ri r 1\""),
            ("# Hz Z RI R 0\n20 1 2\n", "line 1: found \"# hz z ri r 0\""),
            ("# Hz S RI R 50\n20 1 0\n", "line 2: found 1 0, needed a value that is an impedance"),
            ("[Version] 2.0\n# Hz Z RI\n[Number of Ports] 2\n", "line 3: found 2 ports, needed one port"),
            ("[Version] 3.0\n", "line 1: found version \"3.0\""),
            ("[Version] 2.0\n[Reference] 5\n", "line 2: found the reference \"5\""),
            ("# Hz Z RI R 1\n", "needs at least one line"),
        ] {
            let error = read(text).unwrap_err().to_string();
            assert!(error.contains(expected), "{text:?}: {error}");
        }
    }
}
