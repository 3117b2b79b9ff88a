//! Noise and hum, by what they do to the impedance.
//!
//! No equation: thresholds, each with its reason.

use super::Evidence;
use crate::impedance::hum::Line;
use crate::impedance::measure::nearest;
use crate::quantity::{Code, Finding, Severity, Whereabouts};

/// A point more doubtful than this by noise is noisy …
const NOISY_RATIO: f64 = 0.05;
/// … and a curve where more than this share of its points are.
const NOISY_SHARE: f64 = 0.1;
/// Hum counts where it moves |Z| by more than this and stands above the noise.
const HUM_SHARE: f64 = 0.001;
/// On a flank by this it moves what is read from it, Q by some tenths of a percent; less is as near to chance as to hum.
const FLANK_SHARE: f64 = 0.003;
/// The flanks of a resonance: a little more than an octave to each side.
const FLANK_RATIO: f64 = 2.5;

pub(super) fn hum(evidence: &Evidence<'_>) -> Option<Finding> {
    let lines = &evidence.heard.noise.as_ref()?.lines;
    // As it was recorded: what is left of it is in the doubt already.
    let of_hum = |line: &Line| {
        let at = nearest(evidence.hz(), line.hz);
        let solved = &evidence.solved[at];
        let slope_ohm = solved.terms.slope_ohm(evidence.ratio.values[at]);
        let raw = evidence.ratio.u_hum[at] / line.left_ratio;
        (raw > evidence.ratio.u_noise[at]).then(|| slope_ohm * raw / solved.ohm.norm())
    };
    let inside = |line: &&Line| evidence.band_hz().is_some_and(|[from, to]| (from..=to).contains(&line.hz));
    let worst = lines.iter().filter(inside).filter_map(|line| Some((line, of_hum(line)?)));
    let (line, share) = worst.filter(|(_, share)| *share > HUM_SHARE).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let hz = line.hz;
    let taken_off = match line.left_ratio {
        left if left < 1.0 => format!("; taken off but for ± {:.2} %", 200.0 * share * left),
        _ => String::new(),
    };
    let on_flank = |&(_, peak): &(usize, f64)| (peak / FLANK_RATIO..=peak * FLANK_RATIO).contains(&hz);
    let peaks = evidence.measured.peaks.iter().map(|peak| peak.hz).enumerate();
    let flank = peaks.into_iter().find(on_flank);
    let (severity, place) = match flank {
        Some((_, peak_hz)) if share > FLANK_SHARE => {
            (Severity::Caution, format!(", on the flank of the resonance at {peak_hz:.1} Hz"))
        }
        _ => (Severity::Note, String::new()),
    };
    Some(Finding {
        at: Whereabouts { band_hz: Some([hz - 2.0, hz + 2.0]), ..Whereabouts::default() },
        ..Finding::new(
            Code::Hum,
            severity,
            format!("hum at {hz:.1} Hz moves the impedance there by ± {:.2} %{place}{taken_off}", 200.0 * share),
            "feed all of the bench from one outlet, keep its wires short and away from transformers, run a laptop from its \
             battery; never lift the protective earth",
        )
    })
}

pub(super) fn noise(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mut all = Vec::new();
    let impedance = &evidence.measured.impedance;
    let u = impedance.u_noise_ohm().unwrap_or(&[]);
    let share = evidence.share(|at| u[at] > NOISY_RATIO * impedance.values()[at].norm());
    if share > NOISY_SHARE {
        all.push(Finding::new(
            Code::Noisy,
            Severity::Caution,
            format!("noise leaves {:.0} % of the points in doubt by more than 10 %", 100.0 * share),
            "use more repeats or a longer sweep, or a sense resistor nearer to the load, before you drive it harder",
        ));
    }
    if evidence.heard.noise.is_none() {
        all.push(Finding::new(
            Code::Noisy,
            Severity::Note,
            "the recording has no silence: the noise was estimated from before the drive",
            "record at least half a second before the excitation",
        ));
    }
    all
}
