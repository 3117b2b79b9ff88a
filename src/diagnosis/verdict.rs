//! What there is to say about trust in a found box.

use super::prior::STIFFNESS;
use super::search::Fitted;
use super::{BoxKind, FoundBox, KnownDriver};
use crate::math::Ending;
use crate::quantity::{Code, Finding, Quantity, Severity, Unit};

/// What a model may leave, in percent of |Z|: good, usable.
const GOOD_PERCENT: f64 = 2.0;
const USABLE_PERCENT: f64 = 10.0;
/// A misfit of this many times the noise is worth a word although percents are small.
const MISFIT: f64 = 4.0;
/// Below this ratio the box hardly changes the driver, and little of it can be told.
const LITTLE: f64 = 0.2;
/// The mass that moves grows or falls by a few percent for its air (`driver/test_box.rs`); more is something else.
const MOST_MASS_CHANGE: f64 = 0.1;

/// A suspension stiffer or softer by this many times what an evening does is another one.
const MOST_SIGMAS: f64 = 3.5;

/// All there is to say, the leak excepted (`leak_advice.rs`).
pub(super) fn findings(
    found: &FoundBox,
    driver: Option<&KnownDriver>,
    fitted: &Fitted,
    are_apart: bool,
) -> Vec<Finding> {
    [
        out_of_band(found),
        poor_fit(found, fitted.ending),
        unknown_noise(found),
        without_driver(found, driver),
        small_shift(found),
        other_driver(found),
        other_suspension(found),
        (!are_apart).then(|| lumped(found)).flatten(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn out_of_band(found: &FoundBox) -> Option<Finding> {
    let lowest_hz = match found.kind {
        BoxKind::Closed => found.number("fc_hz")?.value,
        _ => found.number("f_low_hz").or_else(|| found.number("fb_hz"))?.value,
    };
    let [from_hz, to_hz] = found.band_hz;
    let (says, advice) = if from_hz > lowest_hz / 2.0 {
        (
            format!(
                "the curve starts at {from_hz:.1} Hz, above half the lowest resonance of {lowest_hz:.1} Hz: a leak shows below it"
            ),
            "start the sweep two octaves below the resonance",
        )
    } else if to_hz < 4.0 * lowest_hz {
        (
            format!("the curve ends at {to_hz:.0} Hz, less than two octaves above the resonance of {lowest_hz:.1} Hz"),
            "let the sweep go on to 20 kHz, so that resistance and voice coil are seen",
        )
    } else {
        return None;
    };
    Some(Finding::new(Code::OutOfBand, Severity::Caution, says, advice))
}

fn poor_fit(found: &FoundBox, ending: Ending) -> Option<Finding> {
    let percent = found.residual_percent;
    if ending == Ending::LostPatience && percent > GOOD_PERCENT {
        let says = "the search for the box ended before it found its best".to_owned();
        return Some(Finding::new(Code::PoorFit, Severity::Caution, says, "measure over a wider band"));
    }
    let advice = "look at what is left in the picture: several bumps are walls or air that ring, a slope is a driver that is \
                  not the one in --driver, scatter is noise";
    let severity = match percent {
        percent if percent > USABLE_PERCENT => Severity::Fault,
        percent if percent > GOOD_PERCENT => Severity::Caution,
        _ => {
            let misfit = found.misfit_ratio.filter(|misfit| *misfit > MISFIT)?;
            let says = format!(
                "what the box leaves is {:.1} times the noise ({percent:.2} % of |Z|); the uncertainties are widened by {:.1}",
                misfit.sqrt(),
                found.widened_ratio
            );
            return Some(Finding::new(Code::PoorFit, Severity::Note, says, ""));
        }
    };
    let says = format!("the model of a driver in a {} box leaves {percent:.1} % of |Z|", found.kind.name());
    Some(Finding::new(Code::PoorFit, severity, says, advice))
}

fn unknown_noise(found: &FoundBox) -> Option<Finding> {
    if found.misfit_ratio.is_some() {
        return None;
    }
    let says = "the curve does not tell its noise: it is taken from what the box leaves".to_owned();
    Some(Finding::new(
        Code::UnknownNoise,
        Severity::Note,
        says,
        "take the curve that boxwright impedance wrote, which tells it",
    ))
}

fn without_driver(found: &FoundBox, driver: Option<&KnownDriver>) -> Option<Finding> {
    let says = match (driver, found.kind) {
        (None, BoxKind::Closed) => {
            "without the driver in free air the box's volume and its absorption can't be told, nor a small leak"
        }
        (None, BoxKind::PassiveRadiator) => {
            "without the driver in free air its spring and the passive radiator's can't be told apart: no volume, f_p or losses"
        }
        (None, BoxKind::Vented) => "without the driver in free air the box's volume can't be told",
        (Some(known), _) if known.vas_m3.is_none() => "the driver's V_as is not known: the box's volume can't be told",
        _ => return None,
    };
    let advice = match driver {
        None => "measure the driver in free air, run boxwright driver, and give its document with --driver",
        Some(_) => {
            "measure the driver once more with a mass on its cone or in a test box, and run boxwright driver with both"
        }
    };
    Some(Finding::new(Code::SmallShift, Severity::Note, says.to_owned(), advice))
}

fn small_shift(found: &FoundBox) -> Option<Finding> {
    let alpha = found.number("alpha").filter(|alpha| alpha.value < LITTLE)?;
    let says = format!(
        "the box's air is only {:.2} times as stiff as the suspension: volume and losses show little in this curve",
        alpha.value
    );
    Some(Finding::new(
        Code::SmallShift,
        Severity::Caution,
        says,
        "trust the uncertainties; with the box open at the back this is no box",
    ))
}

fn other_driver(found: &FoundBox) -> Option<Finding> {
    let mass = found.doubted("mass_ratio")?;
    let off = mass.value - 1.0;
    if off.abs() < MOST_MASS_CHANGE || off.abs() < MOST_MASS_CHANGE + 2.0 * mass.u {
        return None;
    }
    let says = format!(
        "in the box the cone moves {:.0} % {} than in free air, more than its air explains",
        100.0 * off.abs(),
        if off > 0.0 { "more mass" } else { "less mass" }
    );
    let advice = "check that --driver is the document of the driver in this box, that nothing touches or sticks to its cone, \
                  and that both curves come from one jig";
    Some(Finding::new(Code::Implausible, Severity::Caution, says, advice))
}

fn other_suspension(found: &FoundBox) -> Option<Finding> {
    let stiffness = found.doubted("stiffness_ratio")?;
    let off = stiffness.value - 1.0;
    if off.abs() < MOST_SIGMAS * STIFFNESS {
        return None;
    }
    let says = format!(
        "in the box the suspension seems {:.1} % {} than in free air, where {:.1} % is usual within an evening",
        100.0 * off.abs(),
        if off > 0.0 { "stiffer" } else { "softer" },
        100.0 * STIFFNESS
    );
    let advice = "check that --driver is the document of the driver in this box and that --kind is right, and measure both curves \
                  at one temperature, the driver run in";
    Some(Finding::new(Code::Implausible, Severity::Caution, says, advice))
}

fn lumped(found: &FoundBox) -> Option<Finding> {
    let total = found.doubted("losses")?;
    let all = Quantity { value: 1.0 / total.value, u: total.u / total.value.powi(2), unit: Unit::Pure };
    let says = format!(
        "the curve tells only all losses of the box together, a Q of {all}: it is given as Q_L, as alignment tables do"
    );
    let advice =
        "measure close to cone and opening too, and give them with --cone and --opening, if you need them apart";
    Some(Finding::new(Code::LossesLumped, Severity::Note, says, advice))
}
