//! Results of our own that are read again, from any text: the driver, the loudness a simulation promises, the record of a
//! folder and the report of it.

use crate::refusal::of_file;
use boxwright::files::{driver_result_from, faults_of, promised_loudness_from};
use boxwright::job::{Additions, Anew, ReportOrder, report, status};
use std::cell::RefCell;
use std::path::Path;
use tempfile::TempDir;

/// Reads the bytes as each document that some command reads, and checks what came of it.
pub fn check(bytes: &[u8]) {
    let (text, name) = (String::from_utf8_lossy(bytes), Path::new("t"));
    match driver_result_from(&text, name) {
        Ok(driver) => {
            assert!(
                [driver.re, driver.fs, driver.qms, driver.qes].iter().all(|q| q.value > 0.0 && q.value.is_finite())
            );
            let written = serde_json::to_string(&driver).expect("a document can be written");
            assert!(!written.contains(":null"), "{written}");
            assert_eq!(driver_result_from(&written, name).expect("what was written can be read"), driver);
            if let Some(model) = driver.model() {
                let z = model.impedance_ohm(100.0);
                assert!(z.re.is_finite() && z.im.is_finite(), "{model:?}: {z}");
            }
            if let Some(known) = driver.known() {
                assert!(known.covariance.iter().all(|row| row.len() == known.covariance.len()), "{known:?}");
            }
        }
        Err(error) => of_file(&error),
    }
    for speaker in [None, Some("a")] {
        match promised_loudness_from(&text, name, speaker) {
            Ok(promised) => {
                let columns = [&promised.hz, &promised.level_db, &promised.by_excursion_db];
                assert!(columns.iter().all(|column| column.len() == promised.hz.len() && !column.is_empty()));
            }
            Err(error) => of_file(&error),
        }
    }
    if text.contains("\"boxwright/") {
        FOLDER.with_borrow(|folder| in_a_folder(folder.path(), bytes));
    }
}

thread_local! {
    /// The folder of a job that holds nothing but one result.
    static FOLDER: RefCell<TempDir> = RefCell::new(tempfile::tempdir().expect("a folder for temporary files"));
}

fn in_a_folder(folder: &Path, bytes: &[u8]) {
    let path = folder.join("result.json");
    std::fs::write(&path, bytes).expect("room for a small file");
    assert!(faults_of(&path).iter().all(|fault| !fault.advice.is_empty()));
    let standing = status(folder, Anew::OutOfDate).expect("a folder that can be looked into");
    let written = serde_json::to_string(&standing).expect("a document can be written");
    serde_json::from_str::<serde_json::Value>(&written).expect("what was written can be read");
    let order = ReportOrder {
        folder: folder.into(),
        out: Some(folder.join("report.html")),
        pictures: None,
        additions: Additions::default(),
    };
    if let Ok(reported) = report(&order) {
        let page = std::fs::read_to_string(&reported.page).expect("the page is there");
        assert!(page.len() == reported.bytes && page.ends_with("</html>"), "{} bytes", page.len());
    }
}
