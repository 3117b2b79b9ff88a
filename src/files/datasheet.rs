//! A driver's data sheet as a person types it: TOML, the keys of `job.toml`'s `[driver.NAME]`, at the top level or in one
//! such table.

use super::FileError;
use super::document::{parse, read_document, value};
use crate::driver::{Promise, Promised};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::Path;

/// A data sheet; what it does not say is absent. Units are in the keys.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[allow(missing_docs)] // each says it with its unit
pub struct DataSheet {
    pub re_ohm: Option<f64>,
    pub fs_hz: Option<f64>,
    pub qms: Option<f64>,
    pub qes: Option<f64>,
    pub qts: Option<f64>,
    pub vas_l: Option<f64>,
    pub sd_cm2: Option<f64>,
    pub le_mh: Option<f64>,
    pub mms_g: Option<f64>,
    pub bl_tm: Option<f64>,
    pub cms_mm_n: Option<f64>,
    pub xmax_mm: Option<f64>,
    /// At 2.83 V, 1 m.
    pub sensitivity_db: Option<f64>,
    /// Half of the last digit that each number is written with, by key: `6.0` promises more than `6`.
    #[serde(skip)]
    pub half_digits: BTreeMap<String, f64>,
}

/// A sheet in a table of its own.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct InTable {
    driver: BTreeMap<String, DataSheet>,
}

/// The data sheet in a file.
///
/// # Errors
/// [`FileError::UnknownName`] (with the nearest right name), `Document`, `Value`, each with its line; `Io`, `NotText`, `TooLarge`.
pub fn read_datasheet(path: &Path) -> Result<DataSheet, FileError> {
    let (_, text) = read_document::<toml::Table>(path)?;
    datasheet_from(&text, path)
}

/// The same from a text; `path` is only its name in messages.
///
/// # Errors
/// As [`read_datasheet`], but never `Io`.
pub fn datasheet_from(text: &str, path: &Path) -> Result<DataSheet, FileError> {
    let is_in_table = parse::<toml::Table>(text, path)?.contains_key("driver");
    let (table, mut sheet) = if is_in_table {
        let mut drivers = parse::<InTable>(text, path)?.driver.into_iter();
        match (drivers.next(), drivers.next()) {
            (Some((name, sheet)), None) => (format!("driver.{name}."), sheet),
            (None, _) => return Err(value(path, text, "driver", "empty".into(), "one table [driver.NAME]")),
            (Some((first, _)), Some((second, _))) => {
                let found = format!("more than one: {first} and {second}");
                return Err(value(path, text, &format!("driver.{second}"), found, "one table [driver.NAME]"));
            }
        }
    } else {
        (String::new(), parse::<DataSheet>(text, path)?)
    };
    if let Some((key, number)) =
        sheet.keys().into_iter().find(|(key, number)| *key != "sensitivity_db" && number.is_some_and(|n| n <= 0.0))
    {
        let found = number.map_or_else(String::new, |number| number.to_string());
        return Err(value(path, text, &format!("{table}{key}"), found, "more than 0"));
    }
    if sheet.promises().is_empty() {
        return Err(value(
            path,
            text,
            "fs_hz",
            "missing, and so is all else".into(),
            "at least one of the sheet's numbers",
        ));
    }
    sheet.half_digits = if is_in_table {
        parse::<WrittenInTable>(text, path)?
            .driver
            .into_values()
            .flat_map(|written| half_digits(written, text))
            .collect()
    } else {
        half_digits(parse::<Written>(text, path)?, text).collect()
    };
    Ok(sheet)
}

/// Where in the text each number stands.
type Written = BTreeMap<String, toml::Spanned<f64>>;

#[derive(Debug, Deserialize)]
struct WrittenInTable {
    driver: BTreeMap<String, Written>,
}

fn half_digits(written: Written, text: &str) -> impl Iterator<Item = (String, f64)> {
    written.into_iter().filter_map(|(key, number)| Some((key, half_digit(text.get(number.span())?)?)))
}

/// Half of the last digit of a number as TOML writes it: sign, digits, `_` between them, a fraction, a power of ten.
fn half_digit(number: &str) -> Option<f64> {
    let lower = number.replace('_', "").to_lowercase();
    let (digits, power) = lower.split_once('e').unwrap_or((&lower, "0"));
    let decimals = digits.split_once('.').map_or(0, |(_, fraction)| fraction.len());
    Some(0.5 * 10f64.powi(power.parse::<i32>().ok()? - i32::try_from(decimals).ok()?))
}

impl DataSheet {
    fn keys(&self) -> [(&'static str, Option<f64>); 13] {
        [
            ("re_ohm", self.re_ohm),
            ("fs_hz", self.fs_hz),
            ("qms", self.qms),
            ("qes", self.qes),
            ("qts", self.qts),
            ("vas_l", self.vas_l),
            ("sd_cm2", self.sd_cm2),
            ("mms_g", self.mms_g),
            ("cms_mm_n", self.cms_mm_n),
            ("bl_tm", self.bl_tm),
            ("le_mh", self.le_mh),
            ("xmax_mm", self.xmax_mm),
            ("sensitivity_db", self.sensitivity_db),
        ]
    }

    /// What it promises of that which an impedance can tell; X_max is not of that kind.
    pub fn promises(&self) -> Vec<Promise> {
        let promise = |(key, number): (&str, Option<f64>)| {
            let plain = Promise::new(promised(key)?, number?);
            Some(Promise { half_digit: self.half_digits.get(key).copied().unwrap_or(plain.half_digit), ..plain })
        };
        self.keys().into_iter().filter_map(promise).collect()
    }

    /// Q_ts, from the two others where it does not stand there itself.
    pub fn total_q(&self) -> Option<f64> {
        self.qts.or_else(|| Some(self.qms? * self.qes? / (self.qms? + self.qes?)))
    }
}

fn promised(key: &str) -> Option<Promised> {
    Some(match key {
        "re_ohm" => Promised::Re,
        "fs_hz" => Promised::Fs,
        "qms" => Promised::Qms,
        "qes" => Promised::Qes,
        "qts" => Promised::Qts,
        "vas_l" => Promised::Vas,
        "sd_cm2" => Promised::Sd,
        "mms_g" => Promised::Mms,
        "cms_mm_n" => Promised::Cms,
        "bl_tm" => Promised::Bl,
        "le_mh" => Promised::Le,
        "sensitivity_db" => Promised::Sensitivity,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(text: &str) -> String {
        datasheet_from(text, Path::new("sheet.toml")).unwrap_err().to_string()
    }

    #[test]
    fn a_sheet_is_read_from_the_top_level_or_from_one_table() {
        let top = datasheet_from("fs_hz = 38\nqms = 4.2\nqes = 0.42\n", Path::new("s")).unwrap();
        let table = datasheet_from("[driver.mid]\nfs_hz = 38\nqms = 4.2\nqes = 0.42\n", Path::new("s")).unwrap();
        assert_eq!(top, table);
        assert_eq!(top.promises().len(), 3);
        // 4.2·0.42/4.62 = 0.381818…; 1e-12: three operations.
        assert!((top.total_q().unwrap() - 0.381_818_181_818).abs() < 1e-12);
    }

    #[test]
    fn a_promise_has_the_digits_that_it_is_written_with() {
        let text = "re_ohm = 6.0\nfs_hz = 38\nqms = 4.25\nvas_l = 3.2e1\nsd_cm2 = 1_37.0\nsensitivity_db = +9e1\n";
        for text in [text.to_owned(), format!("[driver.mid] # a mid-woofer\n{text}")] {
            let sheet = datasheet_from(&text, Path::new("s")).unwrap();
            let half = |of| sheet.promises().iter().find(|promise| promise.of == of).unwrap().half_digit;
            for (of, expected) in [
                (Promised::Re, 0.05),
                (Promised::Fs, 0.5),
                (Promised::Qms, 0.005),
                (Promised::Vas, 0.5),
                (Promised::Sd, 0.05),
                (Promised::Sensitivity, 5.0),
            ] {
                // 1e-15: one product.
                assert!((half(of) / expected - 1.0f64).abs() < 1e-15, "{of:?}: {}", half(of));
            }
        }
    }

    #[test]
    fn what_is_wrong_in_a_sheet_is_shown_with_its_place() {
        for (text, expected) in [
            (
                "fs_hz = 38\nqtz = 0.4\n",
                "sheet.toml: line 2, column 1: \"qtz\" is not known here, did you mean \"qts\"?",
            ),
            (
                "[driver.a]\nvas = 3\n",
                "sheet.toml: line 2, column 1: \"vas\" is not known here, did you mean \"vas_l\"?",
            ),
            ("fs_hz = -3\n", "sheet.toml: line 1: fs_hz is -3, needed more than 0"),
            ("[driver.a]\nqms = 1\nfs_hz = 0\n", "sheet.toml: line 3: driver.a.fs_hz is 0, needed more than 0"),
            ("fs_hz = nan\n", "sheet.toml: line 1: fs_hz is NaN, needed a finite number"),
            (
                "",
                "sheet.toml: line 1: fs_hz is missing, and so is all else, needed at least one of the sheet's numbers",
            ),
            (
                "xmax_mm = 3\n",
                "sheet.toml: line 1: fs_hz is missing, and so is all else, needed at least one of the sheet's numbers",
            ),
        ] {
            assert_eq!(refused(text), expected);
        }
        assert!(refused("[driver.a]\nfs_hz = 3\n[driver.b]\nfs_hz = 4\n").contains("more than one: a and b"));
        assert!(refused("fs_hz = \"low\"\n").starts_with("sheet.toml: line 1, column 9: "));
        assert!(refused("driver = 3\n").starts_with("sheet.toml: line 1, column 10: "));
    }
}
