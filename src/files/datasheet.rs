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
    let (table, sheet) = if is_in_table {
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
    Ok(sheet)
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
            ("le_mh", self.le_mh),
            ("mms_g", self.mms_g),
            ("bl_tm", self.bl_tm),
            ("cms_mm_n", self.cms_mm_n),
            ("xmax_mm", self.xmax_mm),
            ("sensitivity_db", self.sensitivity_db),
        ]
    }

    /// What it promises of that which an impedance can tell; X_max is not of that kind.
    pub fn promises(&self) -> Vec<Promise> {
        [
            (Promised::Re, self.re_ohm),
            (Promised::Fs, self.fs_hz),
            (Promised::Qms, self.qms),
            (Promised::Qes, self.qes),
            (Promised::Qts, self.qts),
            (Promised::Vas, self.vas_l),
            (Promised::Sd, self.sd_cm2),
            (Promised::Mms, self.mms_g),
            (Promised::Cms, self.cms_mm_n),
            (Promised::Bl, self.bl_tm),
            (Promised::Le, self.le_mh),
            (Promised::Sensitivity, self.sensitivity_db),
        ]
        .into_iter()
        .filter_map(|(of, number)| Some(Promise::new(of, number?)))
        .collect()
    }

    /// Q_ts, from the two others where it does not stand there itself.
    pub fn total_q(&self) -> Option<f64> {
        self.qts.or_else(|| Some(self.qms? * self.qes? / (self.qms? + self.qes?)))
    }
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
