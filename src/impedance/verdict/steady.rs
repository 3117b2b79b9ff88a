//! Whether the load stayed the same: from repeat to repeat, and from quiet to loud.
//!
//! No equation: thresholds, each with its reason.

use super::Evidence;
use crate::impedance::lateness::NOT_OWN_RAD;
use crate::impedance::loudness::LoadHarmonics;
use crate::quantity::{Code, Finding, Severity, Whereabouts};

/// A quarter of a percent of third harmonic goes with one percent of f_s (see [`super::loudness`]); a third of that counts.
const LARGE_SHIFT: f64 = 0.003;
/// By which a resonance moves for each of third harmonic.
const SHIFT_PER_HARMONIC: f64 = 4.0;
/// Small drivers move about a millimetre for each volt below resonance (Bl·C_ms/R_e of 0.5 to 2 mm/V, common practice): above
/// this the motion is no longer small against the few millimetres they have.
const LARGE_V: f64 = 0.5;
/// A change between repeats is believed when it is this many of its standard uncertainties, …
const SIGNIFICANT: f64 = 5.0;
/// … and counts from this share of the resonance on, …
const MOVED_SHARE: f64 = 0.002;
/// … or of the resistance: copper gains 0.39 % with each kelvin.
const WARMED_SHARE: f64 = 0.002;

/// Repeats that leave no more than this of the impedance in doubt (k = 1) lie close enough: a tenth of a decibel.
const APART_SHARE: f64 = 0.012;
/// By a tenth it is another impedance.
const CHANGED_A_LOT: f64 = 0.1;
/// The cone moves far within so much around a resonance.
const AROUND_RATIO: f64 = 3.0;
/// What lasts longer than a third of all moments did not break in.
const MOST_OF_TIME: f64 = 0.33;

pub(super) fn unstable(evidence: &Evidence<'_>) -> Option<Finding> {
    let shifts = &evidence.measured.shifts;
    let advice = "let the driver run in and rest at room temperature, then measure again with the same level; use the last capture";
    if let (Some(first), Some(last)) = (shifts.first(), shifts.last()) {
        let mut words = Vec::new();
        let moved_hz = last.peak_hz - first.peak_hz;
        let is_sure = moved_hz.abs() > SIGNIFICANT * first.u_peak_hz.hypot(last.u_peak_hz);
        if is_sure && moved_hz.abs() > MOVED_SHARE * first.peak_hz {
            words.push(format!(
                "the resonance moved from {:.2} Hz in the first sweep to {:.2} Hz in the last: the suspension is still \
                 breaking in or warming",
                first.peak_hz, last.peak_hz
            ));
        }
        let warmed = last.resistance_ohm.zip(first.resistance_ohm).map(|(last, first)| last - first);
        let u = last.u_resistance_ohm.zip(first.u_resistance_ohm).map(|(last, first)| last.hypot(first));
        if let Some((warmed_ohm, u)) = warmed.zip(u)
            && warmed_ohm.abs() > (SIGNIFICANT * u).max(WARMED_SHARE * evidence.measured.minimum.ohm)
        {
            words.push(format!("the resistance changed by {warmed_ohm:+.3} Ω: the coil warms up or cools down"));
        }
        if !words.is_empty() {
            return Some(Finding::new(Code::UnstableRepeat, Severity::Caution, words.join("; "), advice));
        }
    }
    let disagreement = evidence.ratio.disagreement?;
    let impedance = &evidence.measured.impedance;
    let u_shares = impedance.u_noise_ohm()?.iter().zip(impedance.values()).map(|(u_ohm, z)| u_ohm / z.norm());
    let matters = u_shares.fold(0.0, f64::max) > APART_SHARE;
    Some(Finding {
        at: Whereabouts { band_hz: Some([disagreement.worst_hz; 2]), ..Whereabouts::default() },
        ..Finding::new(
            Code::UnstableRepeat,
            if matters { Severity::Caution } else { Severity::Note },
            format!(
                "the repeats lie {:.1} times further apart than the noise of the silences explains; the uncertainty \
                 follows the repeats",
                disagreement.times
            ),
            if matters { advice } else { "nothing needs doing: it is far below what is read from an impedance" },
        )
    })
}

pub(super) fn large_signal(evidence: &Evidence<'_>) -> Option<Finding> {
    let shift = |found: &LoadHarmonics| SHIFT_PER_HARMONIC * found.third_ratio;
    if let Some(found) = evidence.harmonics.filter(|found| shift(found) > LARGE_SHIFT) {
        return Some(Finding {
            at: Whereabouts {
                band_hz: Some([found.at_hz / AROUND_RATIO, found.at_hz * AROUND_RATIO]),
                ..Whereabouts::default()
            },
            ..Finding::new(
                Code::LargeSignal,
                Severity::Caution,
                format!(
                    "harmonics of {:.2} % at {:.1} Hz: this was no small signal, by their third the resonance may lie off \
                     by some {:.1} %",
                    100.0 * found.ratio,
                    found.at_hz,
                    100.0 * shift(&found)
                ),
                "lower the drive by 10 dB and measure again; the parameters of a data sheet are those of a small signal",
            )
        });
    }
    let volts = evidence.measured.voltage?;
    let volts = volts.at_peak_v.unwrap_or(volts.highest_v);
    (volts > LARGE_V && !evidence.measured.peaks.is_empty()).then(|| {
        Finding::new(
            Code::LargeSignal,
            Severity::Note,
            format!("{volts:.2} V (rms) across the load at its resonance: small drivers move far with so much"),
            "measure once more at a tenth of it; where the resonance stays, it was small enough",
        )
    })
}

/// What a time mark tells otherwise than the sweeps.
pub(super) fn changed(evidence: &Evidence<'_>) -> Option<Finding> {
    let mark = evidence.mark?;
    let [from_hz, to_hz] = mark.band_hz;
    let severity = if mark.share > CHANGED_A_LOT { Severity::Fault } else { Severity::Caution };
    Some(Finding {
        at: Whereabouts { time_s: Some([mark.at_s; 2]), ..Whereabouts::default() },
        ..Finding::new(
            Code::LevelDrift,
            severity,
            format!(
                "the time mark at {:.2} s tells an impedance that is off by {:.0} % of the sweeps' ({from_hz:.0} to {to_hz:.0} Hz; \
                 the channels' ratio differs by {:.2} %): a gain, a contact or a resistor changed meanwhile, or one \
                 channel lost samples",
                mark.at_s,
                100.0 * mark.share,
                100.0 * mark.off.norm()
            ),
            "switch off automatic gain, check the clips and that the sense resistor stays cool, and measure again",
        )
    })
}

/// A phase that does not belong to its magnitude.
pub(super) fn moved_with_the_sweep(evidence: &Evidence<'_>) -> Option<Finding> {
    let (at_hz, off_rad) = evidence.not_own.filter(|(_, off_rad)| off_rad.abs() > NOT_OWN_RAD)?;
    Some(Finding::new(
        Code::LevelDrift,
        Severity::Caution,
        format!(
            "at {at_hz:.0} Hz the phase lies {:.0}° off what goes with such a magnitude, which no steady load's does: a gain, a contact or a \
             resistor changed while the sweep passed",
            off_rad.abs().to_degrees()
        ),
        "switch off automatic gain, check the clips and that the sense resistor stays cool, and measure again with time marks and two sweeps",
    ))
}

/// What the drive does not explain of the load's voltage; a motion that was too large has words of its own around `large_hz`.
pub(super) fn not_explained(evidence: &Evidence<'_>, large_hz: Option<[f64; 2]>) -> Option<Finding> {
    let left = evidence.unexplained?;
    if large_hz.is_some_and(|[from, to]| from < left.band_hz[0] && left.band_hz[1] < to) {
        return None;
    }
    let rate = evidence.captures.load.recording.rate;
    let time_s = left.frames.map(|frame| rate.seconds(frame.max(0) as usize));
    let (code, what) = if left.of_time > MOST_OF_TIME {
        (Code::Processed, "something in the chain bends or gates the signal")
    } else {
        (Code::Disturbed, "something broke in, a contact is loose, or the load was driven beyond what is linear")
    };
    Some(Finding {
        at: Whereabouts {
            time_s: Some(time_s),
            band_hz: Some([left.band_hz[0] / 1.3, left.band_hz[1] * 1.3]),
            ..Whereabouts::default()
        },
        ..Finding::new(
            code,
            Severity::Caution,
            format!(
                "between {:.2} and {:.2} s up to {:.1} % of the load's voltage do not follow from the drive ({:.0} to {:.0} Hz): {what}; \
                 the impedance may be off by {:.0} % there",
                time_s[0],
                time_s[1],
                100.0 * left.ratio,
                left.band_hz[0],
                left.band_hz[1],
                100.0 * left.share
            ),
            "check clips and plugs, lower the drive, switch off all processing, and measure again",
        )
    })
}
