//! All curves of a job's folder: what can be laid over each other.
//!
//! No equation: a walk through the folder. A file is a curve if it reads as one; files that did not change are not read again.

use super::files_below;
use crate::files::{self, Curve, FileError, Measure};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// A curve of the folder.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownCurve {
    /// Where it is, from the folder on.
    pub path: PathBuf,
    /// What its second column is.
    pub measure: Measure,
    /// How many frequencies it has.
    pub points: usize,
    /// The first of them and the last.
    pub band_hz: [f64; 2],
    /// Which loudspeaker it is of, if its header says so.
    pub unit: Option<String>,
    /// At which stage of building, likewise.
    pub stage: Option<String>,
    /// What it shows: its name without ending.
    pub what: String,
}

/// The curves of a folder, kept from one look to the next.
#[derive(Debug, Default)]
pub struct CurveShelf {
    seen: BTreeMap<PathBuf, Seen>,
}

/// A file as it was at the last look.
#[derive(Debug, Clone)]
struct Seen {
    changed: Option<SystemTime>,
    bytes: u64,
    /// None where the file is no curve.
    curve: Option<KnownCurve>,
}

/// The endings of files that may hold a curve.
const ENDINGS: [&str; 9] = ["csv", "txt", "tsv", "tab", "dat", "cal", "mic", "s1p", "z1p"];
/// A curve is shorter: 100,000 points.
const MOST_BYTES: u64 = 8 << 20;

impl CurveShelf {
    /// The curves in `folder` and below, by path; hidden folders and links are left out.
    ///
    /// # Errors
    /// [`FileError::Io`] where the folder itself can't be looked into.
    pub fn look(&mut self, folder: &Path) -> Result<Vec<KnownCurve>, FileError> {
        let mut seen = BTreeMap::new();
        for path in files_below(folder)?.into_iter().filter(|path| may_hold_a_curve(path)) {
            // A file that went away meanwhile is none.
            let Ok(facts) = path.metadata() else { continue };
            let (changed, bytes) = (facts.modified().ok(), facts.len());
            let before = self.seen.remove(&path).filter(|one| one.changed == changed && one.bytes == bytes);
            let curve = || if bytes <= MOST_BYTES { read(folder, &path) } else { None };
            let one = before.unwrap_or_else(|| Seen { changed, bytes, curve: curve() });
            seen.insert(path, one);
        }
        self.seen = seen;
        Ok(self.seen.values().filter_map(|one| one.curve.clone()).collect())
    }
}

fn may_hold_a_curve(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ENDINGS.iter().any(|known| ending.eq_ignore_ascii_case(known)))
}

fn read(folder: &Path, path: &Path) -> Option<KnownCurve> {
    let curve: Curve = files::read_curve(path).ok()?;
    let said = |key: &str| curve.header_value(key).map(str::to_owned);
    Some(KnownCurve {
        path: path.strip_prefix(folder).unwrap_or(path).to_owned(),
        measure: curve.measure,
        points: curve.frequency_hz.len(),
        band_hz: [*curve.frequency_hz.first()?, *curve.frequency_hz.last()?],
        unit: said("unit"),
        stage: said("stage"),
        what: path.file_stem()?.to_string_lossy().into_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn curves_are_found_wherever_they_lie_and_nothing_else_is() {
        let folder = tempfile::tempdir().unwrap();
        let write = |path: &str, text: &str| {
            let path = folder.path().join(path);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, text).unwrap();
        };
        write("mic.txt", "20 0.5\n1000 0\n20000 -1\n");
        write("a/b/response.csv", "# unit: left\n# stage: raw\nfrequency_hz,level_db\n100,80\n200,81\n");
        write("a/impedance.csv", "frequency_hz,magnitude_ohm\n10,6\n20,7\n");
        write("a/phase.csv", "frequency_hz,group_delay_ms\n10,6\n20,7\n");
        write("notes.txt", "nothing but words\n");
        write(".hidden/response.csv", "frequency_hz,level_db\n100,80\n200,81\n");
        let elsewhere = tempfile::tempdir().unwrap();
        std::fs::write(elsewhere.path().join("response.csv"), "100 80\n200 81\n").unwrap();
        #[cfg(unix)]
        std::os::unix::fs::symlink(elsewhere.path(), folder.path().join("link")).unwrap();
        let mut shelf = CurveShelf::default();
        let told = |curves: &[KnownCurve]| {
            curves.iter().map(|one| (one.path.display().to_string(), one.points, one.band_hz)).collect::<Vec<_>>()
        };
        let found = shelf.look(folder.path()).unwrap();
        let expected = [
            ("a/b/response.csv".to_owned(), 2, [100.0, 200.0]),
            ("a/impedance.csv".to_owned(), 2, [10.0, 20.0]),
            ("mic.txt".to_owned(), 3, [20.0, 20_000.0]),
        ];
        assert_eq!(told(&found), expected);
        assert_eq!((found[0].unit.as_deref(), found[0].stage.as_deref()), (Some("left"), Some("raw")));
        assert_eq!((found[1].measure, found[1].what.as_str()), (Measure::MagnitudeOhm, "impedance"));
        // A file that changed is read again, one that went away is gone.
        write("mic.txt", "20 0.5\n1000 0\n");
        std::fs::remove_file(folder.path().join("a/impedance.csv")).unwrap();
        let found = shelf.look(folder.path()).unwrap();
        assert_eq!(told(&found), [expected[0].clone(), ("mic.txt".to_owned(), 2, [20.0, 1000.0])]);
    }
}
