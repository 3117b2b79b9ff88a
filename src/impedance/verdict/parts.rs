//! What the jig's own parts leave in doubt, or contradict: sense resistor, leads.
//!
//! No equation: thresholds, each with its reason.

use super::Evidence;
use crate::quantity::{Code, Finding, Severity};

/// Voice coils that loudspeakers are built with, generously, Ω: 2 Ω less 20 %, 32 Ω and what inductance adds.
const USUAL_COIL_OHM: [f64; 2] = [1.6, 40.0];
/// The usual slip with a resistor is a power of ten.
const SLIP: f64 = 10.0;
/// Inputs of one interface that are set alike are rarely 1.5 dB apart.
const MOST_GAIN_DB: f64 = 1.5;
/// Leads that are unknown by this share of the lowest impedance deserve a word, …
const LEAD_SHARE: f64 = 0.005;
/// … by this they spoil R_e and all that follows from it.
const LEAD_SPOILS_SHARE: f64 = 0.02;

/// Two limits that both hold are that far apart once in a thousand cases.
const SURE: f64 = 3.0;

pub(super) fn sense_resistor(evidence: &Evidence<'_>) -> Option<Finding> {
    let facts = &evidence.settings.facts;
    if let Some(found) = evidence.measured.sense {
        let off = found.value - facts.sense_ohm;
        let u_stated = facts.u_sense_ratio() * facts.sense_ohm;
        if off.abs() > SURE * found.u.hypot(u_stated) {
            return Some(Finding::new(
                Code::SenseResistor,
                Severity::Caution,
                format!(
                    "the captures tell a sense resistor of {found}, {} Ω was said; what they tell was used",
                    facts.sense_ohm
                ),
                "measure the resistor, and check the value of the known one",
            ));
        }
    }
    // Where open and known load tell the sense resistor itself, a gain is only a gain.
    let gain_db = if evidence.measured.sense.is_none() { evidence.measured.gain_db } else { None };
    if let Some(gain_db) = gain_db.filter(|gain_db| gain_db.abs() > MOST_GAIN_DB) {
        return Some(Finding::new(
            Code::SenseResistor,
            Severity::Caution,
            format!("as it was said, the load channel would have {gain_db:+.1} dB of gain over the drive channel"),
            "check the value of the sense resistor and of the known one, and set both inputs to the same gain",
        ));
    }
    let lowest_ohm = evidence.measured.minimum.ohm;
    let usual = |ohm: f64| (USUAL_COIL_OHM[0]..=USUAL_COIL_OHM[1]).contains(&ohm);
    let slipped = [lowest_ohm * SLIP, lowest_ohm / SLIP].into_iter().find(|ohm| usual(*ohm))?;
    let has_peak = !evidence.measured.peaks.is_empty();
    let why = match evidence.measured.gain_db {
        None => format!("a wrong value of the sense resistor would explain it (a slip of ten: {slipped:.2} Ω)"),
        Some(_) => "captures of another jig, or with another sense resistor, would explain it".to_owned(),
    };
    (!usual(lowest_ohm) && has_peak).then(|| {
        Finding::new(
            Code::SenseResistor,
            Severity::Caution,
            format!("the lowest impedance is {lowest_ohm:.3} Ω, which few loudspeakers have; {why}"),
            "compare with the driver's resistance by a meter; measure the sense resistor, or a known one in the load's place",
        )
    })
}

pub(super) fn leads(evidence: &Evidence<'_>) -> Option<Finding> {
    let (lead, facts) = (evidence.measured.lead, &evidence.settings.facts);
    let is_measured = evidence.calibrations.iter().any(|(name, ..)| *name == "short");
    if is_measured {
        let stated = facts.lead_ohm?;
        let u_stated = facts.u_lead_ohm();
        return ((lead.value - stated).abs() > 3.0 * lead.u.hypot(u_stated)).then(|| {
            Finding::new(
                Code::LeadResistance,
                Severity::Note,
                format!("the short tells leads of {lead}, {stated} Ω was said; what the short tells was taken off"),
                "leave --lead-ohm out when you give --short",
            )
        });
    }
    let share = lead.u / evidence.measured.minimum.ohm;
    let severity = if share > LEAD_SPOILS_SHARE { Severity::Caution } else { Severity::Note };
    (share > LEAD_SHARE).then(|| {
        let known = match facts.lead_ohm {
            Some(ohm) => format!("leads of {ohm} Ω were said"),
            None => "the leads' resistance is not known".to_owned(),
        };
        // Of next to nothing any lead is many times as much.
        let doubt = match 200.0 * share {
            percent if percent < 100.0 => format!("± {percent:.1} % of the lowest impedance of"),
            _ => "more than all of the lowest impedance of".to_owned(),
        };
        Finding::new(
            Code::LeadResistance,
            severity,
            format!("{known}: that leaves {doubt} {:.2} Ω in doubt", evidence.measured.minimum.ohm),
            "measure with the far ends of the leads together (--short), or give --lead-ohm",
        )
    })
}

/// Nothing in an unknown load tells a gain from a larger load: `1/H = (1 + R_s/Z)/k` holds for another Z with each k.
pub(super) fn input_gain(evidence: &Evidence<'_>) -> Option<Finding> {
    let facts = &evidence.settings.facts;
    if facts.gain_limit_db.is_some() || evidence.measured.gain_db.is_some() {
        return None;
    }
    // d ln Z = (1 + Z/R_s)·d ln k.
    let percent = |ohm: f64| 100.0 * (10f64.powf(0.1 / 20.0) - 1.0) * (1.0 + ohm / facts.sense_ohm);
    let lowest_ohm = evidence.measured.minimum.ohm;
    let at_peak = evidence.measured.peaks.iter().map(|peak| peak.ohm).fold(lowest_ohm, f64::max);
    Some(Finding::new(
        Code::InputGain,
        Severity::Caution,
        format!(
            "nothing tells that both inputs have one gain: each 0.1 dB between them moves the lowest impedance by {:.1} % \
             and the highest by {:.0} %; ± {:.1} dB is in the doubt, and two knobs can be further apart",
            percent(lowest_ohm),
            percent(at_peak),
            facts.gain_limit_db()
        ),
        "measure a known resistor in the load's place with the same knobs: --known WAV --known-ohm R; or say by how much \
         the inputs may differ",
    ))
}
