//! What a change to a box did: two diagnoses of one box with one driver.
//!
//! ```text
//! change = after − before        real where |change| > 3.3·u(change)
//! ```
//!
//! What both lean on (the driver's parameters) drops out of the difference (`traced.rs`). A dozen numbers are looked
//! at: by chance one box in a hundred shows a change of 3.3 uncertainties in one of them. Wrinkles belong together when
//! they lie within [`SAME_PLACE`] of each other.

use super::{FoundBox, Traced, Wrinkle};
use crate::driver::Doubted;

/// One number before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct BoxChange {
    /// Its name, as in [`FoundBox::numbers`], or `wrinkle`.
    pub name: &'static str,
    /// Before; absent where there was nothing (a wrinkle that is new).
    pub before: Option<Traced>,
    /// After; absent where there is nothing any more.
    pub after: Option<Traced>,
    /// After less before, what both lean on dropped out.
    pub change: Doubted,
    /// Whether it stands out of its doubt.
    pub is_real: bool,
    /// What it means, in a builder's words.
    pub says: String,
}

/// A change beyond this many uncertainties is real.
const REAL: f64 = 3.3;
/// A wrinkle within this part of the frequency is the same one.
const SAME_PLACE: f64 = 0.08;
/// Causes first, then what follows from them.
const NAMES: [&str; 13] = [
    "leakage",
    "volume_m3",
    "alpha",
    "absorption",
    "fb_hz",
    "fp_hz",
    "opening",
    "losses",
    "mass_ratio",
    "fc_hz",
    "qmc",
    "qtc",
    "re_ohm",
];
/// A loss factor smaller than this is none to a builder.
const NO_LOSS: f64 = 0.01;

/// What changed from `before` to `after`: causes before what follows from them, real ones first.
pub fn changes(before: &FoundBox, after: &FoundBox) -> Vec<BoxChange> {
    let has_volume = before.number("volume_m3").is_some() && after.number("volume_m3").is_some();
    let told = NAMES.into_iter().filter(|name| !(*name == "alpha" && has_volume));
    let mut all: Vec<BoxChange> = told.filter_map(|name| number_change(name, before, after)).collect();
    all.extend(wrinkle_changes(&before.wrinkles, &after.wrinkles));
    all.sort_by_key(|change| !change.is_real);
    all
}

/// A number that both have; a leak that is gone counts as one of zero.
fn number_change(name: &'static str, before: &FoundBox, after: &FoundBox) -> Option<BoxChange> {
    let (was, is) = match (before.number(name), after.number(name)) {
        (Some(was), Some(is)) => (was.clone(), is.clone()),
        (Some(was), None) if name == "leakage" => (was.clone(), no_leak(after)?),
        (None, Some(is)) if name == "leakage" => (no_leak(before)?, is.clone()),
        _ => return None,
    };
    let change = is.less(&was);
    let matters = change.value.abs() > least(name) * was.value.abs();
    let is_real = change.value.abs() > REAL * change.u && matters;
    let says = if is_real { words(name, &was, &is) } else { unchanged(name, &was, &change) };
    Some(BoxChange { name, before: Some(was), after: Some(is), change, is_real, says })
}

/// Smaller parts of a number change by themselves: a coil by its warmth, the air that moves along by how the box stands.
fn least(name: &str) -> f64 {
    match name {
        "re_ohm" => 0.03,
        "mass_ratio" => 0.02,
        _ => 0.0,
    }
}

/// The leak of a box that shows none: zero, with the doubt that its limit leaves.
fn no_leak(found: &FoundBox) -> Option<Traced> {
    // The limit is 1.645 uncertainties above.
    let most = 1.0 / found.leak.ql_above?;
    Some(Traced { value: 0.0, u_own: most / 1.645, shared: Vec::new() })
}

fn q(loss: &Traced) -> String {
    if loss.value > NO_LOSS {
        format!("{:.1}", 1.0 / loss.value)
    } else {
        format!("above {:.0}", 1.0 / (loss.value + 2.0 * loss.u()))
    }
}

fn words(name: &str, was: &Traced, is: &Traced) -> String {
    let grew = is.value > was.value;
    let percent = 100.0 * (is.value / was.value - 1.0);
    match name {
        "leakage" if !grew && is.value < 0.02 => format!("sealed: Q_L from {} to {}", q(was), q(is)),
        "leakage" if grew => format!("it leaks more: Q_L from {} to {}", q(was), q(is)),
        "leakage" => format!("it leaks less, but still: Q_L from {} to {}", q(was), q(is)),
        "volume_m3" => format!(
            "the air behaves as {:.2} l instead of {:.2} l ({percent:+.1} %){}",
            1e3 * is.value,
            1e3 * was.value,
            if grew { ": filling does that" } else { "" }
        ),
        "absorption" if grew => format!("more absorption, as filling gives: Q_A from {} to {}", q(was), q(is)),
        "absorption" => format!("less absorption: Q_A from {} to {}", q(was), q(is)),
        "fb_hz" => format!(
            "the tuning {} by {:.1} Hz to {:.1} Hz: a {} or {} vent, or {} air",
            if grew { "rose" } else { "fell" },
            (is.value - was.value).abs(),
            is.value,
            if grew { "shorter" } else { "longer" },
            if grew { "wider" } else { "narrower" },
            if grew { "less" } else { "more" }
        ),
        "fp_hz" => {
            format!("the passive radiator's own resonance went from {:.1} to {:.1} Hz: its mass", was.value, is.value)
        }
        "opening" | "losses" => format!("losses went from Q {} to {}", q(was), q(is)),
        "mass_ratio" => {
            format!("the cone moves {percent:+.1} % of mass: does something touch it, or did the driver change?")
        }
        "fc_hz" => format!("resonance from {:.1} to {:.1} Hz", was.value, is.value),
        "re_ohm" => format!(
            "the voice coil's resistance went from {:.2} to {:.2} ohm: warmth, or the leads",
            was.value, is.value
        ),
        _ => format!(
            "{} from {:.3} to {:.3}",
            name.to_uppercase().replace("QMC", "Q_mc").replace("QTC", "Q_tc"),
            was.value,
            is.value
        ),
    }
}

fn unchanged(name: &str, was: &Traced, change: &Doubted) -> String {
    let most = change.value.abs() + 2.0 * change.u;
    match name {
        "leakage" | "absorption" | "opening" | "losses" => format!("no change of 1/Q beyond {most:.4}"),
        _ => format!("no change beyond {:.2} %", 100.0 * most / was.value.abs().max(f64::MIN_POSITIVE)),
    }
}

fn two_digits(value: f64) -> String {
    let decimals = (1.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 9.0);
    format!("{value:.0$}", decimals as usize)
}

fn wrinkle_changes(before: &[Wrinkle], after: &[Wrinkle]) -> Vec<BoxChange> {
    let twin = |of: &Wrinkle, among: &[Wrinkle]| {
        let near = among.iter().filter(|other| (other.hz / of.hz).ln().abs() < SAME_PLACE);
        near.min_by(|a, b| (a.hz / of.hz).ln().abs().total_cmp(&(b.hz / of.hz).ln().abs())).copied()
    };
    let height = |wrinkle: &Wrinkle| Traced {
        value: wrinkle.height_ohm.norm(),
        u_own: wrinkle.u_height_ohm,
        shared: Vec::new(),
    };
    let gone = before.iter().map(|was| {
        let is = twin(was, after);
        let before = height(was);
        let after = is.as_ref().map(height);
        let nothing = Traced { value: 0.0, u_own: was.u_height_ohm, shared: Vec::new() };
        let change = after.as_ref().unwrap_or(&nothing).less(&before);
        let is_real = change.value.abs() > REAL * change.u;
        let says = match (&is, &after) {
            (None, _) => format!("the wrinkle at {:.0} Hz ({} ohm) is gone", was.hz, two_digits(before.value)),
            (Some(is), Some(now)) if is_real => format!(
                "the wrinkle at {:.0} Hz went from {} to {} ohm and lies at {:.0} Hz",
                was.hz,
                two_digits(before.value),
                two_digits(now.value),
                is.hz
            ),
            _ => format!("the wrinkle at {:.0} Hz is still there", was.hz),
        };
        BoxChange { name: "wrinkle", before: Some(before), after, change, is_real, says }
    });
    let new = after.iter().filter(|is| twin(is, before).is_none()).map(|is| {
        let after = height(is);
        let change = after.doubted();
        let says = format!("a new wrinkle at {:.0} Hz ({} ohm)", is.hz, two_digits(after.value));
        BoxChange {
            name: "wrinkle",
            before: None,
            is_real: change.value > REAL * change.u,
            after: Some(after),
            change,
            says,
        }
    });
    gone.chain(new).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnosis::{BoxKind, Leak, LeakVerdict};
    use crate::driver::{DriverModel, Suspension, VoiceCoil};
    use crate::enclosure::{BoxedDriver, Enclosure, LossFactors, Moved, Opening};
    use num_complex::Complex64;

    type Numbers<'a> = &'a [(&'static str, f64, f64, f64)];

    /// A box with these numbers: name, value, own doubt, doubt shared with every other box of its driver.
    fn found(numbers: Numbers<'_>, wrinkles: &[(f64, f64)]) -> FoundBox {
        let driver = DriverModel {
            re_ohm: 3.4,
            fs_hz: 110.0,
            qms: 4.0,
            qes: 0.7,
            voice_coil: VoiceCoil::Inductance { le_h: 2e-4 },
            suspension: Suspension::Plain,
        };
        let enclosure = Enclosure { alpha: 1.2, opening: Opening::None, losses: LossFactors::default() };
        let number = |&(name, value, u_own, shared)| (name, Traced { value, u_own, shared: vec![shared] });
        let wrinkle = |&(hz, ohm): &(f64, f64)| Wrinkle {
            hz,
            u_hz: 0.5,
            q: 30.0,
            u_q: 2.0,
            height_ohm: Complex64::new(ohm, 0.0),
            u_height_ohm: 0.01,
            sigmas: ohm / 0.01,
        };
        FoundBox {
            kind: BoxKind::Closed,
            model: BoxedDriver { driver, moved: Moved::NOTHING, enclosure },
            numbers: numbers.iter().map(number).collect(),
            leak: Leak { verdict: LeakVerdict::Airtight, ql: None, ql_above: Some(200.0), evidence: 0.0 },
            wrinkles: wrinkles.iter().map(wrinkle).collect(),
            left_ohm: Vec::new(),
            residual_percent: 0.1,
            misfit_ratio: Some(1.0),
            widened_ratio: 1.0,
            band_hz: [10.0, 20e3],
            findings: Vec::new(),
        }
    }

    fn named<'a>(all: &'a [BoxChange], name: &str) -> &'a BoxChange {
        all.iter().find(|change| change.name == name).unwrap()
    }

    /// Both volumes lean on a V_as that is known to 5 %; each is known to 0.2 % of the other: 1 % more is real.
    #[test]
    fn a_percent_shows_where_what_both_lean_on_is_known_to_five() {
        let before = found(&[("volume_m3", 2.00e-3, 4e-6, 1e-4), ("qtc", 0.8, 1e-3, 0.0)], &[]);
        let after = found(&[("volume_m3", 2.02e-3, 4e-6, 1.01e-4), ("qtc", 0.8005, 1e-3, 0.0)], &[]);
        let all = changes(&before, &after);
        let volume = named(&all, "volume_m3");
        assert!(volume.is_real && volume.says.contains("+1.0 %"), "{volume:?}");
        // √(4² + 4² + 1²) in 1e-6.
        assert!((volume.change.u / 33f64.sqrt() / 1e-6 - 1.0).abs() < 1e-9);
        assert!(!named(&all, "qtc").is_real && all[0].name == "volume_m3");
    }

    #[test]
    fn a_leak_that_is_gone_is_sealed_and_one_that_came_leaks_more() {
        let (leaky, tight) = (found(&[("leakage", 0.125, 1e-3, 0.0)], &[]), found(&[], &[]));
        let sealed = changes(&leaky, &tight);
        assert!(sealed[0].is_real && sealed[0].says.starts_with("sealed: Q_L from 8.0 to above"), "{sealed:?}");
        let opened = changes(&tight, &leaky);
        assert!(opened[0].is_real && opened[0].says.starts_with("it leaks more"), "{opened:?}");
    }

    #[test]
    fn wrinkles_are_paired_by_their_place() {
        let (before, after) = (found(&[], &[(310.0, 0.5), (800.0, 0.2)]), found(&[], &[(320.0, 0.1), (1200.0, 0.3)]));
        let says: Vec<String> = changes(&before, &after).into_iter().map(|change| change.says).collect();
        for words in [
            "310 Hz went from 0.50 to 0.10 ohm and lies at 320 Hz",
            "800 Hz (0.20 ohm) is gone",
            "a new wrinkle at 1200 Hz",
        ] {
            assert!(says.iter().any(|says| says.contains(words)), "{words}: {says:?}");
        }
    }
}
