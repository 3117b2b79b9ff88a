//! Damaged captures of responses: what is said of them, and how far off they are.
//!
//! For each damage and size so many scenes are drawn; "named": a finding (or a refusal) has one of the codes that fit, "said": any new
//! caution or fault, or a refusal; "silent": off by more than 0.5 dB beyond what the curve admits, against the same capture undamaged,
//! where nothing new was said of that band. A finding that the undamaged capture has too is not new.

use super::response_damage::{KINDS, Kind};
use super::response_error::{TOLERATED_DB, bands, level_at};
use super::row::{Row, heading, name, off_in_words, say_silent, worst_in_silence};
use super::scene::{Capture, Scene};
use boxwright::math::Random;
use boxwright::quantity::{Code, Finding, Severity};
use boxwright::response::{Analysis, GateChoice, ResponseError, analyse};
use std::collections::BTreeMap;

/// Clean captures for each of the damaged ones of a row.
const CLEAN_TIMES: u64 = 10;

/// Prints the table for so many captures of each kind and severity.
pub fn table(captures: u64, seed: u64) {
    let only = std::env::args().nth(4);
    println!("response: {captures} captures a row, seed {seed}");
    if only.as_deref().is_none_or(|only| only == "clean") {
        clean(captures * CLEAN_TIMES, seed);
    }
    let kinds: Vec<&Kind> =
        KINDS.iter().filter(|kind| only.as_ref().is_none_or(|only| kind.name.contains(only.as_str()))).collect();
    let mut rows: BTreeMap<(usize, usize), Row> = BTreeMap::new();
    let mut silent = Vec::new();
    for number in 0..captures {
        let scene = Scene::drawn(seed.wrapping_mul(1_000_003).wrapping_add(number));
        let Ok(undamaged) = heard(&scene.capture()) else { continue };
        for (at, kind) in kinds.iter().enumerate() {
            for (step, &size) in kind.sizes.iter().enumerate() {
                let mut random = Random::new(seed ^ (number << 20) ^ ((at as u64) << 8) ^ step as u64);
                let mut capture = scene.capture();
                if (kind.apply)(&scene, &mut capture, size, &mut random) {
                    let row = rows.entry((at, step)).or_default();
                    if let Some(words) = count(row, kind, &undamaged, &capture) {
                        let words = format!(
                            "{} {size} {}, scene {number}: {words}\n    {}",
                            kind.name,
                            kind.unit,
                            scene.says()
                        );
                        let plan = &scene.excitation.plan;
                        // A gain that follows the sound does so in each sweep alike.
                        silent.push((kind.untold.holds(plan.mark_starts.len(), 1), words));
                    }
                }
            }
        }
    }
    println!("{}", heading());
    for (&(at, step), row) in &rows {
        println!("{}", row.line(kinds[at].name, kinds[at].sizes[step], kinds[at].unit));
    }
    say_silent(&silent, "a second path; a gain that moves with a sweep without marks");
}

fn heard(capture: &Capture) -> Result<Analysis, ResponseError> {
    analyse(&capture.recording(), &capture.excitation, &capture.settings)
}

/// Counts a damaged capture in; words if it is off in silence.
fn count(row: &mut Row, kind: &Kind, undamaged: &Analysis, capture: &Capture) -> Option<String> {
    let analysis = match heard(capture) {
        Ok(analysis) => analysis,
        Err(error) => {
            row.add_refused(&error.to_string(), kind.codes);
            return None;
        }
    };
    // What was a note before and is a caution now is new.
    let known = undamaged.findings.iter().filter(|finding| finding.severity >= Severity::Caution);
    let known: Vec<Code> = known.map(|finding| finding.code).collect();
    let is_new = |finding: &&Finding| finding.severity >= Severity::Caution && !known.contains(&finding.code);
    let new: Vec<&Finding> = analysis.findings.iter().filter(is_new).collect();
    let bands = bands(&analysis, level_at(undamaged, capture.gain_db));
    row.add(&analysis.findings, &new, kind.codes, &bands)
}

/// Whether a finding of an undamaged capture is true.
fn is_true(scene: &Scene, analysis: &Analysis, finding: &Finding) -> bool {
    let gate_s = analysis.gate.after_frames / analysis.rate.hz();
    let reflected = scene.room.images.first().is_some_and(|image| image[0] < gate_s);
    match finding.code {
        Code::ReflectionInGate => reflected && scene.settings.gate != GateChoice::Auto,
        Code::GateTooShort => gate_s < 1.0 / 500.0,
        // The words are about more than 2 dB at more than a tenth of the points.
        Code::Noisy => {
            let u_db = analysis.response.u_db();
            u_db.iter().filter(|&&u| u > 1.0).count() as f64 > 0.05 * u_db.len() as f64
        }
        _ => false,
    }
}

/// False alarms on undamaged captures, and how far these are off from the closed form.
fn clean(captures: u64, seed: u64) {
    let (mut alarms, mut notes) = (BTreeMap::new(), BTreeMap::new());
    let (mut accused, mut refused, mut off, mut compared) = (0, 0, 0, 0);
    for number in 0..captures {
        let scene = Scene::drawn((seed ^ 0x5eed).wrapping_mul(1_000_003).wrapping_add(number));
        let analysis = match heard(&scene.capture()) {
            Ok(analysis) => analysis,
            Err(error) => {
                refused += 1;
                println!("  refused, scene {number}: {error}\n    {}", scene.says());
                continue;
            }
        };
        let is_false =
            |finding: &&Finding| finding.severity >= Severity::Caution && !is_true(&scene, &analysis, finding);
        accused += u64::from(analysis.findings.iter().any(|finding| is_false(&finding)));
        for finding in &analysis.findings {
            let counts = if is_false(&finding) { &mut alarms } else { &mut notes };
            *counts.entry(name(finding)).or_insert(0) += 1;
            if is_false(&finding) {
                println!("  false, scene {number}: {}: {}\n    {}", finding.code, finding.says, scene.says());
            }
        }
        let gate_s = analysis.gate.after_frames / analysis.rate.hz();
        let bands = bands(&analysis, |hz| scene.truth_db(hz, gate_s));
        compared += u64::from(!bands.is_empty());
        if let Some(worst) = worst_in_silence(&bands, &analysis.findings.iter().collect::<Vec<_>>()) {
            off += 1;
            println!("  off, scene {number}: {}\n    {}", off_in_words(worst, &analysis.findings), scene.says());
        }
    }
    println!(
        "\nclean captures: {captures}; accused falsely: {accused} ({:.1} %), refused: {refused}",
        100.0 * (accused + refused) as f64 / captures as f64
    );
    println!("  false: {alarms:?}\n  true or notes: {notes:?}");
    println!("  off from the closed form by more than {TOLERATED_DB} dB in silence: {off} of {compared}");
}
