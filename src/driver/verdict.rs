//! What there is to say about trust in a fitted driver.

use super::{DriverFit, FitSettings};
use crate::math::Ending;
use crate::quantity::{Code, Finding, Severity, Whereabouts};

/// Ordinary voice coils, in ohm. A wrong sense resistor scales everything by one factor.
const USUAL_RE_OHM: [f64; 2] = [1.0, 40.0];
/// Fitted over metered resistance; a coil that warms by 20 K has 1.08.
const RE_RATIO: f64 = 1.15;
/// Numbers beyond these belong to no driver known to the trade.
const MOST_QMS: f64 = 40.0;
const MOST_QES: f64 = 10.0;
/// What a model may leave, in percent of |Z|: good, usable.
const GOOD_PERCENT: f64 = 2.0;
const USABLE_PERCENT: f64 = 10.0;

/// What may have bent a curve away from the model.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Blame {
    /// What is left is within the doubt common to all points: the jig alone may explain it.
    Jig,
    /// It is more than that.
    Driver,
}

/// All there is to say.
///
/// `blame`: what may have bent the curve away from the model.
pub(super) fn findings(fit: &DriverFit, settings: &FitSettings, ending: Ending, blame: Blame) -> Vec<Finding> {
    [
        out_of_band(fit),
        poor_fit(fit, ending, blame),
        unknown_noise(fit),
        sense_resistor(fit, settings),
        implausible(fit),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn out_of_band(fit: &DriverFit) -> Option<Finding> {
    let ([from_hz, to_hz], fs_hz) = (fit.band_hz, fit.model.fs_hz);
    let (says, advice) = if from_hz > fs_hz / 2.0 {
        (
            format!(
                "the curve starts at {from_hz:.1} Hz, above half the resonance of {fs_hz:.1} Hz: its lower flank is missing"
            ),
            "start the sweep two octaves below the resonance; for a driver of treble at a level it bears there",
        )
    } else if to_hz < 4.0 * fs_hz {
        (
            format!("the curve ends at {to_hz:.0} Hz, less than two octaves above the resonance of {fs_hz:.1} Hz"),
            "let the sweep go on to 20 kHz, so that resistance and voice coil are seen",
        )
    } else {
        return None;
    };
    let at = Whereabouts { band_hz: Some(fit.band_hz), ..Whereabouts::default() };
    Some(Finding { at, ..Finding::new(Code::OutOfBand, Severity::Caution, says, advice) })
}

fn poor_fit(fit: &DriverFit, ending: Ending, blame: Blame) -> Option<Finding> {
    let percent = fit.residual_percent;
    let severity = match percent {
        _ if percent > USABLE_PERCENT => Severity::Fault,
        _ if percent > GOOD_PERCENT || ending == Ending::LostPatience => Severity::Caution,
        _ => Severity::Note,
    };
    if fit.widened_ratio <= 1.0 && severity == Severity::Note {
        return None;
    }
    let noise =
        fit.misfit_ratio.map_or_else(String::new, |ratio| format!(", {:.1} times what noise explains", ratio.sqrt()));
    let widened = match fit.widened_ratio {
        ratio if ratio > 1.0 => format!("; uncertainties are widened {ratio:.1} times for it"),
        _ => String::new(),
    };
    let says = format!("the best model leaves {percent:.2} % of |Z|{noise}{widened}");
    let advice = match severity {
        Severity::Note if blame == Blame::Jig => {
            "take the jig's own error off with captures of a known resistor and of nothing (`impedance --known … --open …`)"
        }
        Severity::Note => "",
        _ => {
            "check that the driver hangs free and nothing buzzes, that the level is small, and that nothing else is in the \
             path; or limit the band"
        }
    };
    Some(Finding::new(Code::PoorFit, severity, says, advice))
}

fn unknown_noise(fit: &DriverFit) -> Option<Finding> {
    let says = format!(
        "the curve does not say how uncertain its points are; taken from what the model leaves, {:.3} % of |Z|",
        fit.residual_percent
    );
    fit.misfit_ratio.is_none().then(|| Finding::new(Code::UnknownNoise, Severity::Note, says, ""))
}

fn sense_resistor(fit: &DriverFit, settings: &FitSettings) -> Option<Finding> {
    let re_ohm = fit.model.re_ohm;
    let advice = "measure the sense resistor with a meter and give it as --sense-ohm";
    if let Some(meter_ohm) = settings.dc_resistance_ohm
        && !(1.0 / RE_RATIO..=RE_RATIO).contains(&(re_ohm / meter_ohm))
    {
        let says = format!("the curve has a resistance of {re_ohm:.2} ohm, the meter shows {meter_ohm:.2}");
        return Some(Finding::new(Code::SenseResistor, Severity::Fault, says, advice));
    }
    if (USUAL_RE_OHM[0]..=USUAL_RE_OHM[1]).contains(&re_ohm) {
        return None;
    }
    let says =
        format!("a resistance of {re_ohm:.3} ohm, where voice coils have {} to {}", USUAL_RE_OHM[0], USUAL_RE_OHM[1]);
    Some(Finding::new(Code::SenseResistor, Severity::Caution, says, advice))
}

fn implausible(fit: &DriverFit) -> Option<Finding> {
    if !fit.model.is_possible() {
        let says = format!(
            "the nearest {} with {} suspension has numbers that no driver has: its voice coil or creep explains something else",
            fit.model.voice_coil.name(),
            fit.model.suspension.name()
        );
        let advice =
            "try another model (--voice-coil, --suspension), or a band that ends lower; R_e and Q_es may be wrong too";
        return Some(Finding::new(Code::Implausible, Severity::Caution, says, advice));
    }
    let (qms, qes) = (fit.model.qms, fit.model.qes);
    if qms <= MOST_QMS && qes <= MOST_QES {
        return None;
    }
    let says = format!("Qms {qms:.1} and Qes {qes:.2}, where drivers stay below {MOST_QMS} and {MOST_QES}");
    let advice = "check sense resistor, gain ratio of the channels, and what was connected";
    Some(Finding::new(Code::Implausible, Severity::Caution, says, advice))
}
