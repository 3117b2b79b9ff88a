//! What the demo tells of its satellites beside the results: what was done, and how far they are from the bench's truth.

use super::{DemoOrder, add};
use crate::bench::Truth;
use crate::files::frequency_text;
use crate::job::{Added, Additions, Responded};
use crate::math::RisingTable;
use crate::report::{
    Chapter, Entry, Figure, LevelCurve, Origin, PagePicture, PhasePanel, ReportError, ResponsePicture,
};
use std::path::PathBuf;

/// A capture, its result, and the truth.
pub(super) struct Measured {
    pub capture: PathBuf,
    pub responded: Responded,
    pub truth: Truth,
    pub distance_m: f64,
}

/// Adds to the two measurements of the left satellite, through the interface and by a microphone with its own clock.
///
/// # Errors
/// [`ReportError`] if the picture with the truth can't be drawn.
pub(super) fn tell(
    order: &DemoOrder,
    [first, second]: [&Measured; 2],
    additions: &mut Additions,
) -> Result<(), ReportError> {
    let judged = [Judged::of(first), Judged::of(second)];
    let [from_hz, to_hz] = first.responded.document.valid_hz;
    additions.summary.push(format!(
        "A small two-way satellite, the left one of a rear pair, measured on a stand in a small room: its response from {} to {}, every \
         number with its doubt. The room's first reflection decides where the curve begins.",
        frequency_text(from_hz),
        frequency_text(to_hz)
    ));
    additions.summary.push(format!(
        "Loudspeaker, room, microphone and interface are simulated, so the truth is known: with the interface {:.0} % of the \
         points lie within ± 2u of it, with the microphone on its own clock {:.0} %; about 95 % should.",
        judged[0].within_percent, judged[1].within_percent
    ));
    let place = |measured: &Measured| measured.responded.folder.join("result.json");
    add(order, &place(first), through_the_interface(first, &judged[0])?, additions);
    add(order, &place(second), on_its_own_clock(second, &judged[1]), additions);
    additions.closing.push(next_chapter());
    Ok(())
}

fn through_the_interface(measured: &Measured, judged: &Judged) -> Result<Added, ReportError> {
    let truth = &measured.truth;
    let flight =
        format!("{:.3} ms; in the measured arrival the crossover's own delay counts too", 1e3 * truth.arrival_s);
    let wall = truth
        .reflections
        .first()
        .map_or("none".to_owned(), |wall| format!("{:.2} ms later, {:.1} dB at 1 kHz", wall.later_ms, wall.level_db));
    Ok(Added {
        heading: Some("Through the interface, with a loopback cable".into()),
        prose: vec![
            "One sweep of 4 s at −20 dBFS. The loopback channel takes out the interface's own colour and its latency, so the \
             arrival is the flight of the sound; the microphone's table and sensitivity make the level a sound pressure."
                .into(),
        ],
        numbers: vec![
            judged.entry(),
            Entry::text("flight of the sound in truth", flight),
            Entry::text("first wall in truth", wall),
        ],
        figures: vec![Figure {
            picture: beside_the_truth(measured, judged)?,
            caption: "Measured, without smoothing, and the truth, which the bench computes from the circuit of the loudspeaker. Where the \
                      gate is too short for the bass they part, and the doubt says so."
                .into(),
        }],
    })
}

fn on_its_own_clock(measured: &Measured, judged: &Judged) -> Added {
    let clock = format!("{} ppm", measured.truth.clock_drift_ppm);
    Added {
        heading: Some("Through a microphone with a clock of its own".into()),
        prose: vec![
            "Four sweeps, no loopback. The recorder's clock differs from the player's; the time marks tell by how much, and the \
             recording was resampled before anything else. Without a loopback the arrival holds the latency of both devices, and the curve the \
             converters' own colour."
                .into(),
        ],
        numbers: vec![judged.entry(), Entry::text("clock of the recorder in truth", clock)],
        figures: Vec::new(),
    }
}

/// A result against the truth.
struct Judged {
    curve: LevelCurve,
    rms_db: f64,
    within_percent: f64,
}

impl Judged {
    fn entry(&self) -> Entry {
        let says = format!("{:.3} dB rms, {:.1} % of the points within ± 2u", self.rms_db, self.within_percent);
        Entry::text("off the truth", says)
    }

    fn of(measured: &Measured) -> Self {
        let curve = &measured.responded.document.curve;
        let points: Vec<(f64, f64, f64, f64)> = curve
            .frequency_hz
            .iter()
            .zip(expected_db(measured))
            .zip(curve.level_db.iter().zip(&curve.u_db))
            .filter_map(|((&hz, expected), (&level, &u))| Some((hz, expected?, level, u)))
            .collect();
        let count = points.len().max(1) as f64;
        let squares: f64 = points.iter().map(|(_, truth, level, _)| (level - truth).powi(2)).sum();
        let within = points.iter().filter(|(_, truth, level, u)| (level - truth).abs() <= 2.0 * u).count();
        Self {
            curve: LevelCurve {
                name: "truth".into(),
                origin: Origin::Predicted,
                frequency_hz: points.iter().map(|point| point.0).collect(),
                level_db: points.iter().map(|point| point.1).collect(),
                u_db: Vec::new(),
                phase_deg: Vec::new(),
            },
            rms_db: (squares / count).sqrt(),
            within_percent: 100.0 * within as f64 / count,
        }
    }
}

/// The level at 2.83 V and 1 m that the bench's truth gives at the curve's frequencies: of the straight sound alone, and,
/// where no loopback took it out, with the interface's own colour (the loopback's truth against its value at 1 kHz).
fn expected_db(measured: &Measured) -> Vec<Option<f64>> {
    let over_frequency = |frequency_hz: &[f64], level_db: &[f64]| {
        RisingTable::new(frequency_hz.iter().map(|hz| hz.ln()).collect(), level_db.to_vec())
    };
    let truth = &measured.truth;
    let pressure = over_frequency(&truth.sound_pressure.frequency_hz, &truth.sound_pressure.level_db_spl);
    let colour = over_frequency(&truth.loopback.frequency_hz, &truth.loopback.level_db);
    let has_loopback = measured.responded.document.settings.reference_channel.is_some();
    let colour_db = |hz: f64| {
        let colour = colour.as_ref()?;
        if has_loopback { Some(0.0) } else { Some(colour.at(hz.ln())? - colour.at(1_000f64.ln())?) }
    };
    let to_one_metre_db = 20.0 * measured.distance_m.log10();
    let expected = |&hz: &f64| Some(pressure.as_ref()?.at(hz.ln())? + to_one_metre_db + colour_db(hz)?);
    measured.responded.document.curve.frequency_hz.iter().map(expected).collect()
}

fn beside_the_truth(measured: &Measured, judged: &Judged) -> Result<PagePicture, ReportError> {
    let document = &measured.responded.document;
    let found = LevelCurve {
        name: "measured".into(),
        origin: Origin::Measured,
        frequency_hz: document.curve.frequency_hz.clone(),
        level_db: document.curve.level_db.clone(),
        u_db: document.curve.u_db.clone(),
        phase_deg: Vec::new(),
    };
    ResponsePicture {
        title: "rear left: measured and truth".into(),
        level_reference: document.level_reference.replace("uPa", "µPa"),
        curves: vec![found, judged.curve.clone()],
        valid_hz: Some(document.valid_hz),
        shown_hz: Some([20.0, 20_000.0]),
        phase: PhasePanel::Absent,
    }
    .picture()
    .in_page()
}

fn next_chapter() -> Chapter {
    Chapter {
        heading: "Now with yours".into(),
        prose: vec![
            "The commands, in order: boxwright devices lists your sound devices, boxwright level finds a level, boxwright capture \
             response measures, boxwright response makes the curves. For a driver on the jig: boxwright capture impedance, boxwright \
             impedance, boxwright driver. The README tells how to wire it; read the cautions below first."
                .into(),
        ],
        ..Chapter::default()
    }
}
