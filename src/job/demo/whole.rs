//! The demo's near field: the satellite's mid-woofer heard from 5 mm, joined to what the stand's microphone heard, and a unit that scrapes.
//!
//! The simulated bench makes of the front a smooth step from full to half space, so that the joining is told the width alone.

use super::listened::Measured;
use super::{DemoError, DemoOrder, add};
use crate::bench::{BenchSettings, Defect, NearField, Rub};
use crate::files;
use crate::job::{Added, Additions, JoinOrder, JoinedCurves, Pictures, join_curves};
use crate::math::RisingTable;
use crate::quantity::POINTS_PER_OCTAVE;
use crate::report::Entry;
use crate::speaker::Around;
use std::path::PathBuf;

/// The near microphone's gain is turned down by so much: it is loud there.
pub(super) const TURNED_DOWN_DB: f64 = 30.0;
/// From the mid-woofer's cone to the near microphone.
pub(super) const NEAR_MM: f64 = 5.0;
/// Its area.
const CONE_CM2: f64 = 50.0;
/// Where the scraping coil first touches.
const SCRAPES_FROM_M: f64 = 0.12e-3;

/// The bench with its microphone before the cone.
pub(super) fn before_the_cone(seed: u64) -> BenchSettings {
    let mut settings = BenchSettings {
        seed,
        near: Some(NearField { distance_m: 1e-3 * NEAR_MM, ..NearField::cone(0) }),
        ..BenchSettings::default()
    };
    settings.microphone.sensitivity_dbfs_at_94db -= TURNED_DOWN_DB;
    settings
}

/// The bench with a mid-woofer whose coil scrapes.
pub(super) fn scraping(seed: u64) -> BenchSettings {
    let mut settings = BenchSettings { seed, ..BenchSettings::default() };
    settings.speaker.ways[0].defect = Some(Defect::Rub(Rub::hard(SCRAPES_FROM_M)));
    settings
}

/// Near and far field, joined.
pub(super) struct Whole {
    pub joined: JoinedCurves,
    /// Root mean square and worst difference to the truth, dB, from 30 Hz to 15 kHz; share of the points within 2u, per cent.
    off_db: [f64; 2],
    within_percent: f64,
}

/// Joins the near field to the far one.
pub(super) fn join_near_and_far(order: &DemoOrder, near: &Measured, far: &Measured) -> Result<Whole, DemoError> {
    let width_m = far.truth.speaker.baffle_width_m;
    let curves = [near, far].map(|measured| measured.responded.folder.join("response.csv"));
    let words = [
        "join",
        &order.inside(&curves[0]),
        &order.inside(&curves[1]),
        "--sd-cm2",
        &CONE_CM2.to_string(),
        "--baffle",
        &format!("step:{}", 1e3 * width_m),
        "--near-mm",
        &NEAR_MM.to_string(),
        "--out",
        "joined",
    ];
    let [near_curve, far_curve] = curves.clone();
    let joined = join_curves(&JoinOrder {
        ran: order.ran(&[], &words),
        near: vec![near_curve],
        far: far_curve,
        cone_m2: Some(1e-4 * CONE_CM2),
        ports_m2: Vec::new(),
        port_counts: Vec::new(),
        ports_at_m: Vec::new(),
        front: Some(Around::Step { width_m }),
        cone_at_m: None,
        near_m: 1e-3 * NEAR_MM,
        distance_m: None,
        at_hz: None,
        points_per_octave: POINTS_PER_OCTAVE,
        job: None,
        out: Some(order.folder.join("joined")),
        pictures: Pictures::Drawn,
    })?;
    let pressure = &far.truth.sound_pressure;
    // The truth is at the microphone, the curve referred to 1 m.
    let to_metre_db = 20.0 * far.distance_m.log10();
    let logarithms = pressure.frequency_hz.iter().map(|hz| hz.ln()).collect();
    let truth = RisingTable::new(logarithms, pressure.level_db_spl.clone());
    let curve = &joined.document.curve;
    let points = curve.frequency_hz.iter().zip(&curve.level_db).zip(&curve.u_db);
    let off: Vec<[f64; 2]> = points
        .filter(|((hz, _), _)| (30.0..=15_000.0).contains(*hz))
        .filter_map(|((hz, level), u)| Some([level - truth.as_ref()?.at(hz.ln())? - to_metre_db, *u]))
        .collect();
    let count = off.len().max(1) as f64;
    let rms = (off.iter().map(|[db, _]| db * db).sum::<f64>() / count).sqrt();
    let worst = off.iter().map(|[db, _]| db.abs()).fold(0.0, f64::max);
    let within = off.iter().filter(|[db, u]| db.abs() <= 2.0 * u).count() as f64;
    Ok(Whole { joined, off_db: [rms, worst], within_percent: 100.0 * within / count })
}

impl Whole {
    /// What was written.
    pub fn files(&self) -> Vec<(PathBuf, &'static str)> {
        vec![(self.joined.folder.join("join.json"), "result")]
    }

    /// The joined curve's table.
    pub fn curve(&self) -> PathBuf {
        self.joined.folder.join("joined.csv")
    }

    /// What it comes to, in a sentence.
    pub fn in_short(&self) -> String {
        let joined = &self.joined.document.joined;
        format!(
            "Heard from 5 mm and from the stand, and joined at {}, its whole curve from 30 Hz to 15 kHz is within {:.1} dB of the truth, \
             from a living room.",
            files::frequency_text(joined.at_hz),
            self.off_db[1]
        )
    }

    /// Adds it to the result.
    pub fn tell(&self, order: &DemoOrder, additions: &mut Additions) {
        let [rms_db, worst_db] = self.off_db;
        let truth = format!(
            "{rms_db:.2} dB rms, {worst_db:.2} dB at worst, {:.0} % of the points within ± 2u",
            self.within_percent
        );
        let added = Added {
            prose: vec![
                "The gate cuts off the bass; the microphone 5 mm before the cone hears it without the room.".into(),
            ],
            numbers: vec![Entry::text("off the truth, 30 Hz to 15 kHz", truth)],
            ..Added::default()
        };
        add(order, &self.joined.folder.join("join.json"), added, additions);
    }
}

/// Adds to the result of the unit that scrapes what gives it away.
pub(super) fn tell_of_scraping(order: &DemoOrder, scraping: &Measured, additions: &mut Additions) {
    let mut numbers = Vec::new();
    if let Some(table) = &scraping.responded.document.high_order {
        let loudest = table.level_db.iter().zip(&table.frequency_hz).filter_map(|(level, hz)| Some(((*level)?, *hz)));
        if let Some((level_db, hz)) = loudest.max_by(|a, b| a.0.total_cmp(&b.0)) {
            let says = format!("{level_db:.0} dB re the fundamental at {}", files::frequency_text(hz));
            numbers.push(Entry::text("above the 20th harmonic", says));
        }
    }
    let added = Added {
        heading: Some("Is the one with the dented cone still good?".into()),
        prose: vec![
            "The same satellite, whose voice coil scrapes from 0.12 mm outwards on. Within its gate the response looks the same; in the bass its harmonics are far higher, \
             which those of an overdriven driver are too. What gives it away is the noise far above the note that is played, always at the same place of the cone."
                .into(),
        ],
        numbers,
        figures: Vec::new(),
    };
    add(order, &scraping.responded.folder.join("result.json"), added, additions);
}
