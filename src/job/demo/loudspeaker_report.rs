//! The report of the demo: what was done, what came out, and how far it is from the bench's truth.

use super::blending::Blending;
use super::boxes_report::{chapters as box_chapters, in_short as box_in_short};
use super::driver::DriverEvening;
use super::driver_report::{chapters as driver_chapters, in_short as driver_in_short};
use super::origin::origin;
use super::prototype::{Prototype, chapter as prototype_chapter, in_short as prototype_in_short};
use super::whole::{Whole, scraping_chapter, scraping_in_short};
use crate::MADE_BY;
use crate::bench::Truth;
use crate::files::{ResponseDocument, frequency_text};
use crate::job::Responded;
use crate::math::RisingTable;
use crate::quantity::{Quantity, Unit};
use crate::report::{
    CAUTIONS, Chapter, Entry, Figure, LOCAL_CODES_FIRST, LevelCurve, Origin, PhasePanel, ResponsePicture, Story,
};
use std::path::PathBuf;

/// A capture, its result, and the truth.
pub(super) struct Measured {
    pub capture: PathBuf,
    pub responded: Responded,
    pub truth: Truth,
    pub distance_m: f64,
}

/// What was heard of the satellites.
pub(super) struct Listened<'a> {
    pub first: &'a Measured,
    pub second: &'a Measured,
    pub whole: &'a Whole,
    pub dented: &'a Measured,
}

pub(super) fn story(
    listened: &Listened<'_>,
    evening: &DriverEvening,
    prototype: &Prototype,
    blending: &Blending,
    when: &str,
) -> Story {
    let Listened { first, second, whole, dented } = *listened;
    let judged = [Judged::of(first), Judged::of(second)];
    let document = &first.responded.document;
    let [from_hz, to_hz] = document.valid_hz;
    let summary = vec![
        format!(
            "A small two-way satellite, the left one of a rear pair, measured on a stand in a small room: its response from \
             {} to {}, every number with its doubt. The room's first reflection decides where the curve begins.",
            frequency_text(from_hz),
            frequency_text(to_hz)
        ),
        format!(
            "Loudspeaker, room, microphone and interface are simulated, so the truth is known: with the interface {:.0} % of the \
             points lie within ± 2u of it, with the microphone on its own clock {:.0} %; about 95 % should.",
            judged[0].within_percent, judged[1].within_percent
        ),
        whole.in_short(),
        scraping_in_short(dented),
        driver_in_short(evening),
        box_in_short(&evening.boxes),
        prototype_in_short(prototype),
        blending.in_short(),
    ];
    let mut chapters = vec![interface_chapter(first), clock_chapter(second), truth_chapter([first, second], judged)];
    chapters.extend(whole.chapter());
    chapters.push(scraping_chapter(dented));
    chapters.extend(driver_chapters(evening));
    chapters.extend(box_chapters(&evening.boxes));
    chapters.extend(prototype_chapter(prototype));
    chapters.extend(blending.chapters());
    chapters.push(next_chapter());
    Story {
        title: "rear left, on the stand".into(),
        summary,
        chapters,
        cautions: CAUTIONS.to_vec(),
        made_by: MADE_BY.into(),
        footer: vec![
            format!("Made {when} by `boxwright demo` on the simulated bench."),
            LOCAL_CODES_FIRST.into(),
            "Values stand as value ± 2u.".into(),
        ],
    }
}

fn interface_chapter(measured: &Measured) -> Chapter {
    let caption = |name: &str| match name {
        "response" => {
            "Level and phase of the direct sound. The grey part lies below what the gate resolves; the band around the curve is \
             ± 2u and widens where the gate cuts off the woofer's tail."
        }
        "impulse" => "The impulse response and the gate that is laid over it.",
        "envelope" => "The same as an energy-time curve: the first hill after the direct sound is the first wall.",
        "step" => "The step response: treble and bass arrive one after the other, and the bass swings back.",
        "phase" => {
            "The phase that the level alone asks for, and what is left: the mid-woofer sounds from 8 cm further down. Beneath, the group delay."
        }
        "decay" => "What still sounds when the first moments are cut away, one curve for each moment.",
        "bursts" => "The same in periods of each note: a resonance would stand up like a tower.",
        _ => {
            "Harmonics against the frequency that excited them, room included; nothing is drawn where noise hides them."
        }
    };
    Chapter {
        heading: "Through the interface, with a loopback cable".into(),
        prose: vec![
            "One sweep of 4 s at −20 dBFS. The loopback channel takes out the interface's own colour and its latency, so the \
             arrival is the flight of the sound; the microphone's table and sensitivity make the level a sound pressure."
                .into(),
        ],
        figures: figures(&measured.responded, caption),
        numbers: numbers(&measured.responded.document),
        findings: measured.responded.document.findings.clone(),
        settings: provenance(measured),
    }
}

fn clock_chapter(measured: &Measured) -> Chapter {
    let drift = measured.responded.document.clock_drift;
    let told = drift.map_or("not known".to_owned(), |drift| drift.to_string());
    Chapter {
        heading: "Through a microphone with a clock of its own".into(),
        prose: vec![format!(
            "Four sweeps, no loopback. The recorder's clock differs from the player's; the time marks tell by how much ({told}), and the \
             recording was resampled before anything else. Without a loopback the arrival holds the latency of both devices, and the curve the \
             converters' own colour."
        )],
        figures: figures(&measured.responded, |name| match name {
            "response" => "The same loudspeaker from the same place: it should look the same.",
            _ => "",
        })
        .into_iter()
        .take(1)
        .collect(),
        numbers: numbers(&measured.responded.document),
        findings: measured.responded.document.findings.clone(),
        settings: provenance(measured),
    }
}

fn figures(responded: &Responded, caption: impl Fn(&str) -> &'static str) -> Vec<Figure> {
    responded
        .pictures
        .iter()
        .map(|(name, picture)| Figure { picture: picture.clone(), caption: caption(name).to_owned() })
        .collect()
}

fn numbers(document: &ResponseDocument) -> Vec<Entry> {
    let mut entries = vec![Entry::quantity("arrival", document.arrival)];
    entries.extend(document.clock_drift.map(|drift| Entry::quantity("clock drift", drift)));
    entries.push(Entry::text("gate after the arrival", format!("{:.2} ms", document.gate.length_ms)));
    if let Some(found) = document.reflection {
        let says = format!("{:.2} ms after the arrival, {:.1} dB re the direct sound", found.peak_ms, found.level_db);
        entries.push(Entry::text("first reflection", says));
    }
    entries.extend(document.snr_db.map(|snr| Entry::text("signal over noise", format!("{snr:.1} dB"))));
    entries.push(Entry::text("level", document.level_reference.replace("uPa", "µPa")));
    entries.extend(level_at(document, 1_000.0).map(|level| Entry::quantity("level at 1 kHz", level)));
    entries
}

/// The curve's value at one of its frequencies.
fn level_at(document: &ResponseDocument, frequency_hz: f64) -> Option<Quantity> {
    let curve = &document.curve;
    let point = curve.frequency_hz.iter().position(|hz| (hz / frequency_hz - 1.0).abs() < 1e-6)?;
    Some(Quantity { value: curve.level_db[point], u: curve.u_db[point], unit: Unit::Decibel })
}

fn provenance(measured: &Measured) -> Vec<Entry> {
    let document = &measured.responded.document;
    origin(&document.inputs, &document.settings)
}

/// A result against the truth.
struct Judged {
    curve: LevelCurve,
    rms_db: f64,
    within_percent: f64,
}

impl Judged {
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

fn truth_chapter(measured: [&Measured; 2], judged: [Judged; 2]) -> Chapter {
    let [interface, own_clock] = measured;
    let overlay = |measured: &Measured, judged: &Judged, name: &str| {
        let curve = &measured.responded.document.curve;
        let found = LevelCurve {
            name: name.into(),
            origin: Origin::Measured,
            frequency_hz: curve.frequency_hz.clone(),
            level_db: curve.level_db.clone(),
            u_db: curve.u_db.clone(),
            phase_deg: Vec::new(),
        };
        ResponsePicture {
            title: format!("rear left: {name} and truth"),
            level_reference: measured.responded.document.level_reference.replace("uPa", "µPa"),
            curves: vec![found, judged.curve.clone()],
            valid_hz: Some(measured.responded.document.valid_hz),
            shown_hz: Some([20.0, 20_000.0]),
            phase: PhasePanel::Absent,
        }
        .picture()
    };
    let row = |name: &str, judged: &Judged| {
        let says =
            format!("rms difference {:.3} dB, {:.1} % of the points within ± 2u", judged.rms_db, judged.within_percent);
        Entry::text(name, says)
    };
    let truth = &own_clock.truth;
    Chapter {
        heading: "What the bench knows".into(),
        prose: vec![
            "The bench computes its truth from the circuit of the loudspeaker, in the frequency domain and apart from the analysis. \
             The measured curve is solid, the truth dashed."
                .into(),
        ],
        figures: vec![Figure {
            picture: overlay(interface, &judged[0], "with the interface"),
            caption: "Measured, without smoothing, and the truth. Where the gate is too short for the bass they part, and the doubt says so.".into(),
        }],
        numbers: vec![
            row("with the interface", &judged[0]),
            row("with its own clock", &judged[1]),
            Entry::text("clock of the second recorder", format!("{} ppm", truth.clock_drift_ppm)),
            Entry::text(
                "flight of the sound",
                format!(
                    "{:.3} ms; in the measured arrival the crossover's own delay counts too",
                    1e3 * interface.truth.arrival_s
                ),
            ),
            Entry::text(
                "first wall",
                interface.truth.reflections.first().map_or("none".to_owned(), |wall| {
                    format!("{:.2} ms later, {:.1} dB at 1 kHz", wall.later_ms, wall.level_db)
                }),
            ),
        ],
        findings: Vec::new(),
        settings: Vec::new(),
    }
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
