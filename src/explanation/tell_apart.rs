//! Which further measurement would tell two causes apart.
//!
//! No equation: what each measurement is blind to. A box's impedance knows V_as/V alone; a level knows neither distance nor
//! sensitivity; levels without phase know which ways differ in polarity, not which of them is reversed.

use super::cause::Cause;
use crate::speaker::{DriverNumber, Knob};

/// What to measure so that the one is told from the other, in the imperative.
pub fn tell_apart(one: Cause, other: Cause, has_sound: bool, has_impedance: bool) -> &'static str {
    let pair = [one, other];
    let any = |is: fn(&Cause) -> bool| pair.iter().any(is);
    let driver = |cause: &Cause| matches!(cause, Cause::Number(Knob::Driver(..)));
    let of_box = |cause: &Cause| {
        matches!(cause, Cause::Number(Knob::Volume | Knob::PortLength | Knob::Tuning | Knob::RadiatorResonance))
    };
    let loss = |cause: &Cause| matches!(cause, Cause::Number(Knob::Leak | Knob::Absorption | Knob::OpeningLoss));
    let vas = |cause: &Cause| matches!(cause, Cause::Number(Knob::Driver(_, DriverNumber::Vas)));
    if any(|cause| matches!(cause, Cause::Polarity(_))) {
        return "measure with a loopback cable, so that the phase is known, or look at the wires";
    }
    if any(|cause| matches!(cause, Cause::Level | Cause::Distance)) {
        return "measure the distance with a tape, and the level with a calibrator";
    }
    if any(|cause| matches!(cause, Cause::SenseResistor)) {
        return "measure the sense resistor with a multimeter, or a known resistor on the jig";
    }
    if any(vas) {
        return "measure the driver in free air and with an added mass or in a test box (boxwright driver)";
    }
    if pair.iter().any(driver) && (pair.iter().any(of_box) || pair.iter().any(loss)) {
        return "measure the driver in free air (boxwright driver), and give its document in the job";
    }
    if pair.iter().all(loss) {
        return "measure the impedance again with the seams taped, and compare (boxwright box --before)";
    }
    match (has_sound, has_impedance) {
        (true, false) => "measure the impedance too, and give it with --also",
        (false, true) => "measure the response too, and give it with --also",
        _ => "unsolder one end of the part in question and measure it",
    }
}
