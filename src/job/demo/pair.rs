//! The pair: the right one is measured like the left one and compared with it, and both are laid over their design.
//!
//! It came out as such things do: its treble capacitor is 3 % high and the mid-woofer's suspension 5 % stiffer, both within what
//! their makers promise.

use super::prototype::laid_over_design;
use super::{DemoError, DemoOrder, Measured, Taken, add, measure};
use crate::bench::{BenchSettings, Filter, Speaker};
use crate::files::{JobBench, MatchDocument};
use crate::job::{Added, Additions, Compared, LevelCounts, MatchOrder, match_units};
use crate::report::Entry;
use std::path::{Path, PathBuf};

/// The right one and what it is beside the left one.
pub(super) struct Pair {
    right: Measured,
    alike: MatchDocument,
    compared: [Compared; 2],
}

const UNIT: &str = "rear right";
const CAPACITOR_RATIO: f64 = 1.03;
const STIFFER_RATIO: f64 = 1.05;
const OUT: &str = "pair";

/// Measures the right one, and compares both; `whole` is the left one's joined curve.
pub(super) fn measure_right(
    order: &DemoOrder,
    bench: &JobBench,
    seed: u64,
    left: &Measured,
    whole: &Path,
) -> Result<Pair, DemoError> {
    let settings = BenchSettings { seed, speaker: built(), ..BenchSettings::default() };
    let right = measure(order, bench, settings, &Taken::of(UNIT))?;
    let curves = [left, &right].map(|measured| measured.responded.folder.join("response.csv"));
    let words = ["match", &order.inside(&curves[0]), &order.inside(&curves[1]), "--limits", "1", "--out", OUT];
    let alike = match_units(&MatchOrder {
        ran: order.ran(&["limits"], &words),
        curves: curves.to_vec(),
        again: None,
        band_hz: None,
        limits_db: [-1.0, 1.0],
        level: LevelCounts::Yes,
        out: Some(order.folder.join(OUT)),
    })?;
    let compared = [
        laid_over_design(order, whole, None, "rear-left-as-designed")?,
        laid_over_design(order, &curves[1], None, "rear-right-as-designed")?,
    ];
    Ok(Pair { right, alike, compared })
}

/// The right one as it came out.
fn built() -> Speaker {
    let mut speaker = Speaker::rear_satellite();
    for way in &mut speaker.ways {
        match &mut way.filter {
            Filter::HighPass(parts) => parts.c_f *= CAPACITOR_RATIO,
            _ => way.driver.cms_m_n /= STIFFER_RATIO,
        }
    }
    speaker
}

impl Pair {
    /// What was written.
    pub fn files(&self) -> Vec<(PathBuf, &'static str)> {
        let results = self.compared.iter().map(|compared| (compared.folder.join("compare.json"), "result"));
        let alike = self.alike.files.iter().map(|file| (PathBuf::from(&file.path), "result"));
        let own =
            [(self.right.capture.clone(), "capture"), (self.right.responded.folder.join("result.json"), "result")];
        own.into_iter().chain(alike).chain(results).collect()
    }

    /// Adds what the right one is in truth.
    pub fn tell(&self, order: &DemoOrder, additions: &mut Additions) {
        let truth = format!(
            "the right one's treble capacitor is {:.0} % high, its mid-woofer {:.0} % stiffer",
            100.0 * (CAPACITOR_RATIO - 1.0),
            100.0 * (STIFFER_RATIO - 1.0)
        );
        let added = Added {
            heading: Some("Are left and right alike?".into()),
            prose: vec!["Both on the same stand, at the same place.".into()],
            numbers: vec![Entry::text("in truth", truth)],
            figures: Vec::new(),
        };
        let documents = self.alike.files.iter().map(|file| PathBuf::from(&file.path));
        documents.for_each(|document| add(order, &document, added.clone(), additions));
    }
}
