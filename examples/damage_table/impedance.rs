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
use super::response_error::{Band, TOLERATED_DB};
use boxwright::impedance::{ImpedanceError, Measured, measure_impedance};
use boxwright::math::Random;
use boxwright::quantity::{Code, Finding, Severity};
use std::collections::BTreeMap;

/// Clean captures for each of the damaged ones of a row.
const CLEAN_TIMES: u64 = 10;
/// So many silent ones are told in detail.
const MOST_TOLD: usize = 80;

#[derive(Default)]
struct Row {
    captures: usize,
    named: usize,
    said: usize,
    refused: usize,
    silent: usize,
    /// The largest excess of each capture that gave a curve.
    excess_db: Vec<f64>,
}

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
                if let Some(words) = row.add(kind, &scene, &damaged) {
                    let size = format!("{} {size} {}", kind.name, kind.unit);
                    silent.push(format!("{size}, scene {scene_seed}: {words}\n    {}", scene.says()));
                }
            }
        }
    }
    print(&kinds, &rows);
    println!("\nsilent errors: {}", silent.len());
    silent.iter().take(MOST_TOLD).for_each(|words| println!("  {words}"));
}

fn heard(scene: &JigScene, captures: &Captures) -> Result<Measured, ImpedanceError> {
    scene.with(captures, measure_impedance)
}

/// Thirds of an octave against the load's closed form.
fn bands(scene: &JigScene, measured: &Measured) -> Vec<Band> {
    let impedance = &measured.impedance;
    let (hz, ohm) = (impedance.hz(), impedance.magnitude_ohm());
    let u_ohm = impedance.u_ohm().unwrap();
    let to_db = 20.0 * std::f64::consts::LOG10_E;
    let mut bands = Vec::new();
    let mut first = 0;
    while first < hz.len() {
        let end = hz.partition_point(|&other| other < hz[first] * 2f64.powf(1.0 / 3.0)).max(first + 1);
        let count = (end - first) as f64;
        let mean = |of: &dyn Fn(usize) -> f64| (first..end).map(of).sum::<f64>() / count;
        bands.push(Band {
            from_hz: hz[first],
            to_hz: hz[end - 1],
            off_db: mean(&|at| to_db * (ohm[at] / scene.coil.ohm(hz[at]).norm()).ln()),
            admitted_db: mean(&|at| to_db * 2.0 * u_ohm[at] / ohm[at]),
        });
        first = end;
    }
    bands
}

impl Row {
    /// Counts a damaged capture in; words if it is off in silence.
    fn add(&mut self, kind: &Kind, scene: &JigScene, damaged: &Captures) -> Option<String> {
        self.captures += 1;
        let measured = match heard(scene, damaged) {
            Ok(measured) => measured,
            Err(error) => {
                let text = error.to_string();
                self.refused += 1;
                self.said += 1;
                let is_named = kind.codes.is_empty() || kind.codes.iter().any(|code| text.contains(&code.to_string()));
                self.named += usize::from(is_named);
                return None;
            }
        };
        self.named += usize::from(measured.findings.iter().any(|finding| kind.codes.contains(&finding.code)));
        let known: Vec<Code> = match heard(scene, &scene.captures()) {
            Ok(undamaged) => {
                undamaged.findings.iter().filter(|f| f.severity >= Severity::Caution).map(|f| f.code).collect()
            }
            Err(_) => Vec::new(),
        };
        let is_new = |finding: &&Finding| {
            finding.severity >= Severity::Caution
                && (!known.contains(&finding.code)
                    || kind.codes.contains(&finding.code)
                        && matches!(finding.code, Code::InputGain | Code::LeadResistance))
        };
        let new: Vec<&Finding> = measured.findings.iter().filter(is_new).collect();
        self.said += usize::from(!new.is_empty());
        let bands = bands(scene, &measured);
        self.excess_db.push(bands.iter().map(Band::excess_db).fold(0.0, f64::max));
        let is_silent =
            |band: &&Band| band.excess_db() > TOLERATED_DB && !new.iter().any(|finding| band.is_warned_of_by(finding));
        let worst = bands.iter().filter(is_silent).max_by(|a, b| a.excess_db().total_cmp(&b.excess_db()))?;
        self.silent += 1;
        Some(words(worst, &measured))
    }
}

fn words(worst: &Band, measured: &Measured) -> String {
    let said: Vec<String> = measured
        .findings
        .iter()
        .map(|finding| format!("{:?} {}", finding.severity, finding.code).to_lowercase())
        .collect();
    format!(
        "{:+.2} dB (admits {:.2}) at {:.0} Hz; {}",
        worst.off_db,
        worst.admitted_db,
        worst.middle_hz(),
        said.join(", ")
    )
}

fn print(kinds: &[&Kind], rows: &BTreeMap<(usize, usize), Row>) {
    println!(
        "\ndamage                             size            captures  named  said  refused  silent   error dB: middle  most"
    );
    for (&(at, step), row) in rows {
        let kind = kinds[at];
        let percent = |count: usize| 100.0 * count as f64 / row.captures as f64;
        let mut excess = row.excess_db.clone();
        excess.sort_by(f64::total_cmp);
        let error = match (excess.get(excess.len() / 2), excess.last()) {
            (Some(middle), Some(most)) => format!("{middle:16.2} {most:6.2}"),
            _ => "-".to_owned(),
        };
        println!(
            "{:36} {:>9.4} {:7} {:7} {:5.0}% {:4.0}% {:7.0}% {:6}  {error}",
            kind.name,
            kind.sizes[step],
            kind.unit,
            row.captures,
            percent(row.named),
            percent(row.said),
            percent(row.refused),
            row.silent,
        );
    }
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
            *counts.entry(format!("{:?} {}", finding.severity, finding.code).to_lowercase()).or_insert(0) += 1;
            if is_false(&finding) {
                println!("  false, scene {number}: {}: {}\n    {}", finding.code, finding.says, scene.says());
            }
        }
        let bands = bands(&scene, &measured);
        let is_off = |band: &&Band| {
            band.excess_db() > TOLERATED_DB && !measured.findings.iter().any(|finding| band.is_warned_of_by(finding))
        };
        if let Some(worst) = bands.iter().filter(is_off).max_by(|a, b| a.excess_db().total_cmp(&b.excess_db())) {
            off += 1;
            println!("  off, scene {number}: {}\n    {}", words(worst, &measured), scene.says());
        }
    }
    println!(
        "\nclean captures: {captures}; accused falsely: {accused} ({:.1} %), refused: {refused}",
        100.0 * (accused + refused) as f64 / captures as f64
    );
    println!("  false: {alarms:?}\n  true or notes: {notes:?}");
    println!("  off from the closed form by more than {TOLERATED_DB} dB in silence: {off}");
}
