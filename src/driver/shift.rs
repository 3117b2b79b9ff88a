//! Whether a second curve is of use: far enough from the first, on the right side of it, and of the same driver.
//!
//! ```text
//! u(M)/M ≈ 2·u(f_s/f_s')/(f_s/f_s')/(1 − 1/(1 + ΔM/M))
//! ```
//!
//! A mass of half to all of the moving mass lowers f_s by 18 to 29 %; a mass of a tenth only by 5 %, and every error of
//! f_s then counts twenty times in M. The limits are ours, from this.

use super::{Agreement, DriverFit, Evidence, Method};
use crate::quantity::{Code, Finding, Severity};

/// A shift of less than so many of its standard uncertainties gives a mass of less than 10 % certainty.
const LEAST_SHIFT_IN_U: f64 = 20.0;
/// A mass below this part of the moving mass, or a box that stiffens by less, moves the resonance too little.
const LEAST_GROWTH: f64 = 0.25;
/// In a smaller box the cone's own volume and the driver's parts in it count as much as the box.
const MOST_STIFFENING: f64 = 8.0;
/// Copper: R_e rises by this part for each kelvin (IEC 60028).
pub(super) const COPPER_PER_KELVIN: f64 = 0.003_93;

/// What there is to say about how the second curves lie to the first.
pub(super) fn shift_findings(free: &DriverFit, evidence: &Evidence) -> Vec<Finding> {
    let mut all = Vec::new();
    if let Some((fit, mass)) = &evidence.with_mass {
        all.extend(mass_shift(free, fit, 1e3 * mass.value));
        all.extend(same_coil(free, fit, "with the mass"));
    }
    if let Some((fit, volume)) = &evidence.in_box {
        all.extend(box_shift(free, fit, 1e3 * volume.value));
        all.extend(same_coil(free, fit, "in the box"));
    }
    all
}

fn mass_shift(free: &DriverFit, loaded: &DriverFit, added_g: f64) -> Option<Finding> {
    let ((fs, u), (fs1, u1)) = (free.value("fs_hz")?, loaded.value("fs_hz")?);
    let growth = (fs / fs1).powi(2) - 1.0;
    if growth <= 0.0 {
        let says = format!(
            "with {added_g:.2} g on the cone the resonance went from {fs:.2} to {fs1:.2} Hz: a mass can only lower it"
        );
        let advice = "check that the two curves are not exchanged, that the mass sat on the cone and stayed there, and measure both again";
        return Some(Finding::new(Code::SmallShift, Severity::Fault, says, advice));
    }
    let mass_g = added_g / growth;
    let advised_g = round_to_scale(0.75 * mass_g);
    let in_u = (fs - fs1) / u.hypot(u1);
    if growth < LEAST_GROWTH || in_u < LEAST_SHIFT_IN_U {
        let says = format!(
            "{added_g:.2} g lowered the resonance by only {:.1} % ({in_u:.0} times the shift's uncertainty): \
             {:.0} % of the moving mass is little to weigh by",
            100.0 * (1.0 - fs1 / fs),
            100.0 * growth
        );
        let advice = format!(
            "use a mass of about {advised_g} g (half to all of the moving mass), stuck down near the voice coil"
        );
        return Some(Finding::new(Code::SmallShift, Severity::Caution, says, advice));
    }
    (growth > 3.0).then(|| {
        let says = format!(
            "{added_g:.2} g is {growth:.1} times the moving mass: the suspension sags or is moved out of its middle"
        );
        let advice = format!("use about {advised_g} g, and measure with the cone upright");
        Finding::new(Code::SmallShift, Severity::Note, says, advice)
    })
}

fn box_shift(free: &DriverFit, boxed: &DriverFit, volume_l: f64) -> Option<Finding> {
    let ((fs, u), (fc, uc)) = (free.value("fs_hz")?, boxed.value("fs_hz")?);
    let stiffening = (fc / fs).powi(2) - 1.0;
    if stiffening <= 0.0 {
        let says =
            format!("in the box the resonance went from {fs:.2} to {fc:.2} Hz: an airtight box can only raise it");
        let advice = "check that the two curves are not exchanged and that the box is airtight, and measure both again";
        return Some(Finding::new(Code::SmallShift, Severity::Fault, says, advice));
    }
    let advised_l = round_to_scale(volume_l * stiffening / 1.5);
    if stiffening < LEAST_GROWTH || (fc - fs) / u.hypot(uc) < LEAST_SHIFT_IN_U {
        let says = format!("the box of {volume_l:.1} l raised the resonance by only {:.1} %", 100.0 * (fc / fs - 1.0));
        let advice = format!("use a box of about {advised_l} l, or look for the leak");
        return Some(Finding::new(Code::SmallShift, Severity::Caution, says, advice));
    }
    (stiffening > MOST_STIFFENING).then(|| {
        let says = format!(
            "the box of {volume_l:.2} l is so small that its air is {stiffening:.1} times as stiff as the suspension: what \
             the driver itself takes of it, and the last leak, count"
        );
        Finding::new(Code::Implausible, Severity::Caution, says, format!("use a box of about {advised_l} l"))
    })
}

/// A coil that warmed by a few kelvin is allowed for; another coil is another driver.
fn same_coil(free: &DriverFit, other: &DriverFit, how: &str) -> Option<Finding> {
    let ((re, u), (re1, u1)) = (free.value("re_ohm")?, other.value("re_ohm")?);
    let change = re1 / re - 1.0;
    let u_change = (u / re).hypot(u1 / re1);
    if change.abs() < 3.0 * u_change || change.abs() < 0.01 {
        return None;
    }
    let kelvin = change / COPPER_PER_KELVIN;
    let warmer = if kelvin > 0.0 { "warmer" } else { "cooler" };
    let says = format!(
        "{how} the voice coil had {re1:.3} Ω against {re:.3} Ω before ({:+.1} %), as if it were {:.0} K {warmer}",
        100.0 * change,
        kelvin.abs()
    );
    let (severity, advice) = if kelvin.abs() < 15.0 {
        (Severity::Note, "nothing: the change is allowed for; a lower level would avoid it")
    } else {
        (Severity::Caution, "check that both curves are of one driver through the same leads, at the same small level")
    };
    Some(Finding::new(Code::UnstableRepeat, severity, says, advice))
}

/// Resonance and damping of one method do not tell the same.
pub(super) fn two_ways(method: Method, apart: f64) -> Finding {
    let (what, advice) = match method {
        Method::TestBox => (
            "in the box the resonance and the damping do not tell the same volume",
            "look for a leak, take lining out of the box, and check that nothing was changed between the two curves",
        ),
        _ => (
            "with the mass the resonance and the damping do not tell the same moving mass",
            "check that nothing but the mass was changed between the two curves (level, mounting, temperature), and measure \
             one after the other",
        ),
    };
    let says = format!("{what}: they are {:.1} times their uncertainty apart; the result is widened", apart.abs());
    Finding::new(Code::UnstableRepeat, Severity::Caution, says, advice)
}

/// A method that has no answer, unless the reason is among `said` already.
pub(super) fn no_answer(method: Method, said: &[Finding]) -> Option<Finding> {
    let is_said = said.iter().any(|finding| finding.code == Code::SmallShift && finding.severity == Severity::Fault);
    let (curve, what) = match method {
        Method::TestBox => ("in the box", "volume"),
        _ => ("with the mass", "moving mass"),
    };
    (!is_said).then(|| {
        let says = format!("resonance and damping {curve} go together with no {what} at all: it is left out");
        let advice =
            "check that both curves are of one driver, that the box is airtight and unlined, and measure both again";
        Finding::new(Code::UnstableRepeat, Severity::Fault, says, advice)
    })
}

/// Two methods do not agree.
pub(super) fn disagreement(pair: &Agreement) -> Finding {
    let words = |method| match method {
        Method::AddedMass => "the added mass",
        Method::TestBox => "the test box",
        Method::KnownMass => "the known mass",
    };
    let difference = pair.difference_percent;
    let says = format!(
        "{} gives a moving mass {:.1} % {} than {}, {:.1} times the uncertainty of that; the former is used",
        words(pair.a),
        difference.value.abs(),
        if difference.value > 0.0 { "more" } else { "less" },
        words(pair.b),
        (difference.value / difference.u).abs()
    );
    let advice = match (pair.a, pair.b) {
        (Method::AddedMass, Method::TestBox) => {
            "measure the diameter again (it enters the box's answer to the fourth power), look for a leak, and weigh the mass again"
        }
        (_, Method::KnownMass) => {
            "check where the known mass comes from, and whether it holds the air; a data sheet's is another unit's"
        }
        _ => "check both",
    };
    Finding::new(Code::Disagreement, Severity::Caution, says, advice)
}

/// Two digits that can be weighed or built.
fn round_to_scale(value: f64) -> f64 {
    let step = 10f64.powf(value.log10().floor() - 1.0);
    let rounded = (value / step).round() * step;
    (rounded * 1e6).round() / 1e6
}
