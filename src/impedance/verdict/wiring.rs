//! What is wired otherwise than it was said: swapped, upside down, open, shorted, another capture.
//!
//! No equation: thresholds, each with its reason.

use super::Evidence;
use crate::impedance::lateness::{LATE_RAD, VERY_LATE_RAD};
use crate::impedance::measure::middle;
use crate::quantity::{Code, Finding, Severity, Whereabouts};

/// Nearly all of the points.
const NEARLY_ALL: f64 = 0.95;
/// More than two inputs of one interface differ, were they set alike.
const ABOVE_ONE: f64 = 1.02;
/// Most of them: where inputs differ as well, a load far above the sense resistor hides the swap.
const MOST: f64 = 0.75;
/// A load that draws less than this share of what a short would, or lets through less than this of the drive's voltage.
const NOTHING: f64 = 0.02;
/// Inputs of one interface that are set alike are rarely 1.5 dB apart.
const MOST_GAIN_DB: f64 = 1.5;
/// An open load leaves the divider only the input itself, 10 kΩ or more, and the inputs' gains.
const LEAST_OPEN: f64 = 0.6;
/// Leads longer than any that a jig should have, Ω.
const MOST_LEAD_OHM: f64 = 1.5;
/// A known resistor whose voltage is this many times off is another one, or none; a slip of two in the sense resistor is less.
const FAR_OFF: f64 = 2.5;

/// A resistor's share is one; inputs that differ towards the bass make it change by some percent.
const MOST_SPREAD: f64 = 1.25;

/// From so many radians on a phase between the inputs moves an impedance like the sense resistor by more than a percent.
const COUNTS_FROM_RAD: f64 = 0.02;

/// Calibrations that can't be what they were given as: by how much of the drive's voltage their load channel holds.
pub(super) fn strangers(evidence: &Evidence<'_>) -> Vec<Finding> {
    let facts = &evidence.settings.facts;
    let of_calibration = |(name, shares): &(&'static str, Vec<f64>)| {
        let share = middle(shares.clone());
        if *name == "known" && spread(shares) > MOST_SPREAD {
            return Some(Finding::new(
                Code::Implausible,
                Severity::Fault,
                format!(
                    "known capture: its load channel's share of the drive's voltage changes {:.1} times over the band: what hung there is \
                     no resistor",
                    spread(shares)
                ),
                "give --known a capture with the known resistor on the clips; perhaps it was swapped with the loudspeaker's",
            ));
        }
        let divided = |ohm: f64| ohm / (ohm + facts.sense_ohm);
        let (fits, wanted) = match *name {
            "open" => (share > LEAST_OPEN, "nearly all of it"),
            "short" => (share < divided(MOST_LEAD_OHM), "next to nothing"),
            _ => {
                let expected = divided(facts.known_ohm.unwrap_or(facts.sense_ohm));
                ((expected / FAR_OFF..=expected * FAR_OFF).contains(&share), "its share by the resistors")
            }
        };
        (!fits).then(|| {
            Finding::new(
                Code::Implausible,
                Severity::Fault,
                format!(
                    "{name} capture: its load channel holds {:.1} % of the drive's voltage, where {wanted} is to be \
                     expected: this is no capture of that kind",
                    100.0 * share
                ),
                match *name {
                    "open" => "give --open a capture with nothing on the clips",
                    "short" => "give --short a capture with the far ends of the leads together",
                    _ => "give --known a capture with that resistor on the clips, and check its value and --sense-ohm",
                },
            )
        })
    };
    evidence.told_shares.iter().filter_map(of_calibration).collect()
}

/// From the lowest to the highest but for a tenth at both ends, which may be noise.
fn spread(shares: &[f64]) -> f64 {
    let mut sorted = shares.to_vec();
    sorted.sort_by(f64::total_cmp);
    let tenth = sorted.len() / 10;
    sorted[sorted.len() - 1 - tenth] / sorted[tenth].max(f64::MIN_POSITIVE)
}

/// A load takes power: what it lets through never has the opposite sign over the whole band.
pub(super) fn upside_down(evidence: &Evidence<'_>) -> Option<Finding> {
    let negative = evidence.share(|at| evidence.ratio.values[at].re < 0.0);
    if negative < NEARLY_ALL {
        return None;
    }
    let load = evidence.captures.load.load + 1;
    Some(Finding {
        at: Whereabouts { channel: Some(load), ..Whereabouts::default() },
        ..Finding::new(
            Code::ReversedPolarity,
            Severity::Fault,
            format!(
                "channel {load}, across the load, goes down where the drive goes up: one of the two is upside down"
            ),
            "swap signal and ground of one of the two taps, or the halves of a balanced cable, and measure again",
        )
    })
}

/// Across a load there is never more voltage than before the sense resistor, and 1 + R_s/Z of it when the two are swapped.
pub(super) fn swapped(evidence: &Evidence<'_>) -> Option<Finding> {
    let larger = evidence.share(|at| evidence.ratio.values[at].norm() > ABOVE_ONE);
    let varies = {
        let magnitudes: Vec<f64> = evidence.ratio.values.iter().map(|value| value.norm()).collect();
        let [least, most] = magnitudes.iter().fold([f64::MAX, 0.0], |[a, b], &m| [a.min(m), b.max(m)]);
        most / least > ABOVE_ONE
    };
    let sense_ohm = evidence.settings.facts.sense_ohm;
    // Seen the other way round the load would be one that can be.
    let other_way = evidence.share(|at| (sense_ohm / (evidence.ratio.values[at] - 1.0)).re > 0.0);
    let negative = evidence.share(|at| evidence.solved[at].ohm.re < 0.0);
    if larger.min(other_way) < MOST || (negative < MOST && evidence.measured.gain_db.is_none()) || !varies {
        return None;
    }
    let told = evidence.calibrations.iter().any(|(name, ..)| *name == "open" || *name == "known");
    // A calibrated gain of more than one explains it as well, where the result can be.
    let possible = evidence.share(|at| evidence.measured.impedance.values()[at].re > 0.0);
    if told && possible > NEARLY_ALL && evidence.measured.gain_db.is_some_and(|db| db > 0.0 && db < MOST_GAIN_DB) {
        return None;
    }
    let [drive, load] = [evidence.captures.load.drive + 1, evidence.captures.load.load + 1];
    Some(Finding {
        at: Whereabouts { channel: Some(load), ..Whereabouts::default() },
        ..Finding::new(
            Code::ChannelsSwapped,
            Severity::Fault,
            format!(
                "channel {load}, said to be across the load, has more voltage than channel {drive}, said to be before \
                 the sense resistor"
            ),
            format!("swap the two: --drive {load} --load {drive}"),
        )
    })
}

pub(super) fn nothing_connected(evidence: &Evidence<'_>) -> Option<Finding> {
    let is_open = evidence.share(|at| (evidence.open_ratio(at) - 1.0).norm() < NOTHING) > NEARLY_ALL;
    let is_short = evidence.share(|at| evidence.open_ratio(at).norm() < NOTHING) > NEARLY_ALL;
    let at = Whereabouts { channel: Some(evidence.captures.load.load + 1), ..Whereabouts::default() };
    let fault =
        |says: &str, advice: &str| Finding { at, ..Finding::new(Code::Implausible, Severity::Fault, says, advice) };
    if is_open {
        return Some(fault(
            "both channels hold the same: the load draws next to nothing",
            "connect the load, and check that the load channel taps behind the sense resistor; for a load far above the \
             sense resistor use a larger one",
        ));
    }
    is_short.then(|| {
        fault(
            "the load channel holds next to nothing of the drive: the load is a short, or its tap is not connected",
            "check the wires of the load channel, and that no wire shorts the load",
        )
    })
}

/// A load that gives back more than it takes is none.
pub(super) fn negative(evidence: &Evidence<'_>) -> Option<Finding> {
    let impedance = &evidence.measured.impedance;
    let u = impedance.u_ohm()?;
    let is_negative = |at: usize| impedance.values()[at].re < -2.0 * u[at];
    let points: Vec<usize> = (0..u.len()).filter(|&at| is_negative(at)).collect();
    // What makes it so bends the rest as well.
    let (&first, &last) = (points.first()?, points.last()?);
    let severity = if points.len() * 2 > u.len() { Severity::Fault } else { Severity::Caution };
    Some(Finding::new(
        Code::Implausible,
        severity,
        format!(
            "the resistance is below zero at {} of {} points between {:.1} and {:.0} Hz, which no load's is",
            points.len(),
            u.len(),
            impedance.hz()[first],
            impedance.hz()[last]
        ),
        "set both inputs to the same gain, and measure a known resistor too: --known WAV --known-ohm R",
    ))
}

/// Two inputs that are not read at one time.
pub(super) fn late(evidence: &Evidence<'_>) -> Option<Finding> {
    let late_s = evidence.late_s?;
    let [from_hz, to_hz] = evidence.band_hz()?;
    let at_end_rad = std::f64::consts::TAU * to_hz * late_s.abs();
    if at_end_rad < LATE_RAD {
        return None;
    }
    let [load, drive] = [evidence.captures.load.load + 1, evidence.captures.load.drive + 1];
    let (later, other) = if late_s > 0.0 { (load, drive) } else { (drive, load) };
    let counts_from_hz = (to_hz * COUNTS_FROM_RAD / at_end_rad).clamp(from_hz, to_hz);
    let severity = if at_end_rad > VERY_LATE_RAD { Severity::Fault } else { Severity::Caution };
    // A large one bends all that lies far from the sense resistor.
    let band_hz = (severity < Severity::Fault).then_some([counts_from_hz, to_hz]);
    Some(Finding {
        at: Whereabouts { channel: Some(later), band_hz, ..Whereabouts::default() },
        ..Finding::new(
            Code::InputDelay,
            severity,
            format!(
                "channel {later} comes {:.1} µs after channel {other} ({:.2} samples): no load turns the phase like that, and \
                 the impedance is bent from {counts_from_hz:.0} Hz on",
                1e6 * late_s.abs(),
                late_s.abs() * evidence.captures.load.recording.rate.hz()
            ),
            "record both channels by one converter, and leave out plug-ins that delay one of them",
        )
    })
}
