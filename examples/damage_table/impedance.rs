//! Damaged captures of impedances: what is said of them, and how far off they are.
//!
//! ```text
//! e_b = max(|⟨d⟩_b| − ⟨a⟩_b, 0)        d = 20·lg(|Z|/|Z_true|)        a = 20·lg(e)·2u/|Z|
//! ```
//!
//! By thirds of an octave as in [`super::response_error`], against the load's closed form; u: standard uncertainty that the curve states.
//! "named": a finding (or a refusal) has one of the codes that fit; "said": any caution or fault that the same capture has not undamaged, or a
//! refusal; "silent": off by more than 0.5 dB where nothing new was said of that band. What names what nobody knew beforehand (unequal
//! inputs, leads) need not be new.

use super::jig_damage::{KINDS, Kind};
use super::jig_scene::{Captures, JigScene, Told};
use super::response_error::{Band, TOLERATED_DB, thirds};
use super::row::{Row, heading, name, off_in_words, say_silent, worst_in_silence};
use boxwright::impedance::{ImpedanceError, Measured, measure_impedance};
use boxwright::math::Random;
use boxwright::quantity::{Code, Finding, Severity};
use num_complex::Complex64;
use std::collections::BTreeMap;

/// Clean captures for each of the damaged ones of a row.
const CLEAN_TIMES: u64 = 10;

/// Prints the table for so many captures of each kind and severity.
pub fn table(captures: u64, seed: u64) {
    let only = std::env::args().nth(4);
    println!("impedance: {captures} captures a row, seed {seed}");
    if only.as_deref().is_none_or(|only| only == "clean") {
        clean(captures * CLEAN_TIMES, seed);
    }
    let kinds: Vec<&Kind> =
        KINDS.iter().filter(|kind| only.as_ref().is_none_or(|only| kind.name.contains(only.as_str()))).collect();
    let mut rows: BTreeMap<(usize, usize), Row> = BTreeMap::new();
    let mut silent = Vec::new();
    for (at, kind) in kinds.iter().enumerate() {
        for (step, &size) in kind.sizes.iter().enumerate() {
            let (mut number, mut tried) = (0, 0);
            // Each row takes scenes of its own; some have nothing that this could happen to.
            while number < captures && tried < 4 * captures {
                let scene_seed = seed.wrapping_mul(1_000_003) ^ ((at as u64) << 32) ^ ((step as u64) << 24) ^ tried;
                tried += 1;
                let scene = JigScene::drawn(scene_seed);
                let mut random = Random::new(scene_seed ^ 0xda_3a6e);
                let mut damaged = scene.captures();
                if !(kind.apply)(&scene, &mut damaged, size, &mut random) {
                    continue;
                }
                number += 1;
                let row = rows.entry((at, step)).or_default();
                if let Some(words) = count(row, kind, &scene, &damaged) {
                    let size = format!("{} {size} {}", kind.name, kind.unit);
                    let words = format!("{size}, scene {scene_seed}: {words}\n    {}", scene.says());
                    let plan = &scene.excitation.plan;
                    silent.push((kind.untold.holds(plan.mark_starts.len(), plan.starts.len()), words));
                }
            }
        }
    }
    println!("{}", heading());
    for (&(at, step), row) in &rows {
        println!("{}", row.line(kinds[at].name, kinds[at].sizes[step], kinds[at].unit));
    }
    say_silent(&silent, "a gain, leads or a filter like any other; what moves with a single sweep without marks");
}

fn heard(scene: &JigScene, captures: &Captures) -> Result<Measured, ImpedanceError> {
    scene.with(captures, measure_impedance)
}

/// Thirds of an octave against the closed form of what hung there.
fn bands(scene: &JigScene, captures: &Captures, measured: &Measured) -> Vec<Band> {
    let hung = |hz: f64| captures.resistor_ohm.map_or_else(|| scene.coil.ohm(hz), Complex64::from);
    let impedance = &measured.impedance;
    let (hz, ohm) = (impedance.hz(), impedance.magnitude_ohm());
    let u_ohm = impedance.u_ohm().unwrap();
    let to_db = 20.0 * std::f64::consts::LOG10_E;
    thirds(hz, |at| {
        let off_db = to_db * (ohm[at] / hung(hz[at]).norm()).ln();
        Some([off_db, to_db * 2.0 * u_ohm[at] / ohm[at]])
    })
}

/// Counts a damaged capture in; words if it is off in silence.
fn count(row: &mut Row, kind: &Kind, scene: &JigScene, damaged: &Captures) -> Option<String> {
    let measured = match heard(scene, damaged) {
        Ok(measured) => measured,
        Err(error) => {
            row.add_refused(&error.to_string(), kind.codes);
            return None;
        }
    };
    let known: Vec<Code> = match heard(scene, &scene.captures()) {
        Ok(undamaged) => {
            undamaged.findings.iter().filter(|f| f.severity >= Severity::Caution).map(|f| f.code).collect()
        }
        Err(_) => Vec::new(),
    };
    let is_new = |finding: &&Finding| {
        finding.severity >= Severity::Caution
            && (!known.contains(&finding.code)
                || kind.codes.contains(&finding.code) && matches!(finding.code, Code::InputGain | Code::LeadResistance))
    };
    let new: Vec<&Finding> = measured.findings.iter().filter(is_new).collect();
    row.add(&measured.findings, &new, kind.codes, &bands(scene, damaged, &measured))
}

/// Whether a finding of an undamaged capture is true.
fn is_true(scene: &JigScene, finding: &Finding) -> bool {
    match finding.code {
        Code::LeadResistance => {
            scene.facts.lead_ohm.is_none() && !matches!(scene.told, Told::All | Told::KnownAndShort)
        }
        Code::InputGain => scene.facts.gain_limit_db.is_none() && scene.told == Told::Nothing,
        _ => false,
    }
}

/// False alarms on undamaged captures, and how far these are off from the closed form.
fn clean(captures: u64, seed: u64) {
    let (mut alarms, mut notes) = (BTreeMap::new(), BTreeMap::new());
    let (mut accused, mut refused, mut off) = (0, 0, 0);
    for number in 0..captures {
        let scene = JigScene::drawn((seed ^ 0x5eed).wrapping_mul(1_000_003).wrapping_add(number));
        let measured = match heard(&scene, &scene.captures()) {
            Ok(measured) => measured,
            Err(error) => {
                refused += 1;
                println!("  refused, scene {number}: {error}\n    {}", scene.says());
                continue;
            }
        };
        let is_false = |finding: &&Finding| finding.severity >= Severity::Caution && !is_true(&scene, finding);
        accused += u64::from(measured.findings.iter().any(|finding| is_false(&finding)));
        for finding in &measured.findings {
            let counts = if is_false(&finding) { &mut alarms } else { &mut notes };
            *counts.entry(name(finding)).or_insert(0) += 1;
            if is_false(&finding) {
                println!("  false, scene {number}: {}: {}\n    {}", finding.code, finding.says, scene.says());
            }
        }
        let bands = bands(&scene, &scene.captures(), &measured);
        if let Some(worst) = worst_in_silence(&bands, &measured.findings.iter().collect::<Vec<_>>()) {
            off += 1;
            println!("  off, scene {number}: {}\n    {}", off_in_words(worst, &measured.findings), scene.says());
        }
    }
    println!(
        "\nclean captures: {captures}; accused falsely: {accused} ({:.1} %), refused: {refused}",
        100.0 * (accused + refused) as f64 / captures as f64
    );
    println!("  false: {alarms:?}\n  true or notes: {notes:?}");
    println!("  off from the closed form by more than {TOLERATED_DB} dB in silence: {off}");
}
