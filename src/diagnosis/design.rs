//! What was designed beside what was found.
//!
//! ```text
//! significance = (found − designed)/u
//! ```
//!
//! Loss factors are compared as 1/Q. What a builder can do about a tuning follows from the port: L_eff grows as 1/f_b².

use super::{BoxKind, FoundBox};
use crate::driver::Doubted;
use crate::enclosure::{Port, SmallSignal, closed_box};
use crate::quantity::Air;

/// What a box was meant to be; SI, what is absent was not said.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Designed {
    /// Volume of its air.
    pub volume_m3: Option<f64>,
    /// Tuning of a vented box or one with a passive radiator.
    pub fb_hz: Option<f64>,
    /// The passive radiator's own resonance.
    pub fp_hz: Option<f64>,
    /// Leakage.
    pub ql: Option<f64>,
    /// Absorption.
    pub qa: Option<f64>,
    /// Vent or passive radiator.
    pub qp: Option<f64>,
    /// The vent, to say by how much to change its length.
    pub port: Option<Port>,
    /// The driver that is in it, to say which resonance that gives.
    pub driver: Option<SmallSignal>,
    /// Standard uncertainty of its V_as, as a part of it.
    pub u_vas_ratio: f64,
    /// The air that a port's tuning is reckoned with.
    pub air: Air,
}

/// One designed number beside the found one.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundAgainst {
    /// Its name, as in [`FoundBox::numbers`].
    pub name: &'static str,
    /// As designed, SI; a loss factor for losses.
    pub designed: f64,
    /// As found; for f_c and Q_tc the doubt of what the driver promises is in it.
    pub found: Doubted,
    /// By how many standard uncertainties they differ; positive: found is more.
    pub sigmas: f64,
    /// What it means, in a builder's words.
    pub says: String,
}

/// Beyond this many uncertainties a difference is no chance.
const BEYOND: f64 = 2.6;
/// Air that is kept at one temperature by filling yields as 1.4 times as much.
const ISOTHERMAL: f64 = 1.4;
/// Q_A of a filled box (common practice: 3 to 30).
const FILLED: f64 = 1.0 / 40.0;

/// Every designed number that was also found.
pub fn against_design(designed: &Designed, found: &FoundBox) -> Vec<FoundAgainst> {
    let fb_hz = designed.fb_hz.or_else(|| Some(designed.port?.fb_hz(designed.volume_m3?, &designed.air)));
    let closed =
        (found.kind == BoxKind::Closed).then(|| Some(closed_box(&designed.driver?, designed.volume_m3?))).flatten();
    let open_fb_hz = fb_hz.filter(|_| found.kind != BoxKind::Closed);
    [
        ("volume_m3", designed.volume_m3),
        ("fb_hz", open_fb_hz),
        ("fp_hz", designed.fp_hz.filter(|_| found.kind == BoxKind::PassiveRadiator)),
        ("leakage", designed.ql.map(f64::recip)),
        ("absorption", designed.qa.map(f64::recip)),
        ("opening", designed.qp.map(f64::recip).filter(|_| found.kind != BoxKind::Closed)),
        ("fc_hz", closed.map(|closed| closed.fc_hz)),
        ("qtc", closed.map(|closed| closed.qtc)),
    ]
    .into_iter()
    .filter_map(|(name, wanted)| {
        let is = doubted(name, found)?;
        let u = is.u.hypot(wanted? * promise_ratio(name, designed));
        Some(beside(name, wanted?, Doubted { u, ..is }, designed, found))
    })
    .collect()
}

/// The doubt of what the design itself promises, as a part of it: f_c and Q_tc go with √(1 + V_as/V).
fn promise_ratio(name: &str, designed: &Designed) -> f64 {
    match (name, &designed.driver, designed.volume_m3) {
        ("fc_hz" | "qtc", Some(driver), Some(volume_m3)) => {
            let alpha = driver.vas_m3 / volume_m3;
            0.5 * alpha / (1.0 + alpha) * designed.u_vas_ratio
        }
        _ => 0.0,
    }
}

/// A number, and a leak that can't be seen as none with its limit.
fn doubted(name: &str, found: &FoundBox) -> Option<Doubted> {
    found.doubted(name).or_else(|| match name {
        "leakage" => Some(Doubted { value: 0.0, u: 1.0 / found.leak.ql_above? / 1.645 }),
        _ => None,
    })
}

fn beside(name: &'static str, wanted: f64, is: Doubted, designed: &Designed, found: &FoundBox) -> FoundAgainst {
    let sigmas = (is.value - wanted) / is.u;
    let percent = 100.0 * (is.value / wanted - 1.0);
    let doubt_percent = 200.0 * is.u / wanted;
    let loss = ["leakage", "absorption", "opening"].contains(&name);
    let says = if sigmas.is_nan() || sigmas.abs() <= BEYOND {
        match loss {
            true => "as designed, within the doubt".to_owned(),
            false => format!("as designed, within the doubt of {doubt_percent:.1} %"),
        }
    } else if loss {
        if sigmas > 0.0 { "more is lost than designed".to_owned() } else { "less is lost than designed".to_owned() }
    } else {
        let why = match name {
            "volume_m3" => why_volume(is.value / wanted, found),
            "fb_hz" => port_words(designed, is.value, wanted, found),
            "fp_hz" if is.value > wanted => "; add mass to the passive radiator".to_owned(),
            "fp_hz" => "; take mass off the passive radiator".to_owned(),
            "fc_hz" | "qtc" => "; it follows from volume, losses and the driver".to_owned(),
            _ => String::new(),
        };
        format!("{percent:+.1} % against the design, the doubt is {doubt_percent:.1} %{why}")
    };
    FoundAgainst { name, designed: wanted, found: is, sigmas, says }
}

fn why_volume(ratio: f64, found: &FoundBox) -> String {
    let is_filled = found.doubted("absorption").is_some_and(|loss| loss.value > FILLED);
    match ratio {
        ratio if ratio < 1.0 => "; the driver, braces, the port and thick glue take air away".to_owned(),
        ratio if ratio <= ISOTHERMAL && is_filled => {
            "; filling explains as much (up to 40 %, usually 10 to 20 %), and the absorption says that there is some"
                .to_owned()
        }
        ratio if ratio <= ISOTHERMAL => {
            "; filling would explain as much, but the air absorbs little: measure the inside again".to_owned()
        }
        _ => "; no filling explains more than 40 %: check the driver's V_as and the inside".to_owned(),
    }
}

fn port_words(designed: &Designed, found_hz: f64, wanted_hz: f64, found: &FoundBox) -> String {
    let verb = |by_m: f64| if by_m > 0.0 { "lengthen" } else { "shorten" };
    let Some(port) = designed.port else {
        let effective = 100.0 * ((found_hz / wanted_hz).powi(2) - 1.0);
        return format!(
            "; {} the vent by {:.0} % of its effective length (its length and about 1.5 radii)",
            verb(effective),
            effective.abs()
        );
    };
    // With the volume found, the tuning tells how long the vent acts; without, it is taken to be as long as it was
    // designed.
    let acting = found.number("volume_m3").and_then(|volume| port.tuned_to(found_hz, volume.value, &designed.air));
    let is = acting.unwrap_or(port);
    let acts = acting.map_or(String::new(), |acting| {
        let [acting_mm, designed_mm] = [acting, port].map(|port| 1e3 * port.length_m);
        format!("; the vent acts as one of {acting_mm:.0} mm where {designed_mm:.0} mm were designed")
    });
    match is.retuned(found_hz, wanted_hz) {
        Some(to) => {
            let by_m = to.length_m - is.length_m;
            format!("{acts}; {} it by {:.0} mm for the designed tuning", verb(by_m), 1e3 * by_m.abs())
        }
        None => format!("{acts}; cutting it off is not enough: take a wider vent"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnosis::{Leak, LeakVerdict, Traced};
    use crate::driver::{DriverModel, Suspension, VoiceCoil};
    use crate::enclosure::{BoxedDriver, Enclosure, LossFactors, Moved, Opening, PortEnds};

    fn found(kind: BoxKind, numbers: Vec<(&'static str, f64, f64)>) -> FoundBox {
        let driver = DriverModel {
            re_ohm: 3.4,
            fs_hz: 110.0,
            qms: 4.0,
            qes: 0.7,
            voice_coil: VoiceCoil::Inductance { le_h: 2e-4 },
            suspension: Suspension::Plain,
        };
        let enclosure = Enclosure { alpha: 1.2, opening: Opening::None, losses: LossFactors::default() };
        let number = |(name, value, u_own)| (name, Traced { value, u_own, shared: Vec::new() });
        FoundBox {
            kind,
            model: BoxedDriver { driver, moved: Moved::NOTHING, enclosure },
            numbers: numbers.into_iter().map(number).collect(),
            leak: Leak { verdict: LeakVerdict::Airtight, ql: None, ql_above: Some(100.0), evidence: 0.0 },
            wrinkles: Vec::new(),
            left_ohm: Vec::new(),
            residual_percent: 0.1,
            misfit_ratio: Some(1.0),
            widened_ratio: 1.0,
            band_hz: [10.0, 20e3],
            findings: Vec::new(),
        }
    }

    #[test]
    fn a_volume_is_told_by_its_significance_and_its_cause() {
        let designed = Designed { volume_m3: Some(2e-3), ..Designed::default() };
        let says = |value: f64, u: f64, absorption: f64| {
            let found = found(BoxKind::Closed, vec![("volume_m3", value, u), ("absorption", absorption, 1e-3)]);
            let beside = against_design(&designed, &found);
            (beside[0].sigmas, beside[0].says.clone())
        };
        let (sigmas, words) = says(1.9e-3, 0.02e-3, 0.01);
        // (1.9 − 2.0)/0.02.
        assert!((sigmas + 5.0).abs() < 1e-9 && words.starts_with("-5.0 % against the design"), "{sigmas} {words}");
        assert!(words.contains("take air away"), "{words}");
        assert!(says(1.97e-3, 0.02e-3, 0.01).1.starts_with("as designed"));
        assert!(says(2.4e-3, 0.02e-3, 0.1).1.contains("filling explains as much"));
        assert!(says(2.4e-3, 0.02e-3, 0.01).1.contains("measure the inside again"));
        assert!(says(3.4e-3, 0.02e-3, 0.1).1.contains("no filling explains"));
    }

    /// A tube of 57 mm in 4 l where 45 mm were designed: cut 12 mm.
    #[test]
    fn a_vent_that_came_out_too_long_is_told_by_how_much() {
        let air = Air::default();
        let port = Port { diameter_m: 0.032, length_m: 0.045, count: 1, ends: PortEnds::FlangedFree };
        let built = Port { length_m: 0.057, ..port };
        let designed = Designed { volume_m3: Some(4e-3), port: Some(port), ..Designed::default() };
        let fb_hz = built.fb_hz(4e-3, &air);
        let with_volume = found(BoxKind::Vented, vec![("fb_hz", fb_hz, 0.1), ("volume_m3", 4e-3, 4e-5)]);
        let beside = against_design(&designed, &with_volume);
        let tuning = beside.iter().find(|beside| beside.name == "fb_hz").unwrap();
        let words = "acts as one of 57 mm where 45 mm were designed; shorten it by 12 mm";
        assert!(tuning.says.contains(words), "{}", tuning.says);
        assert!((tuning.designed / port.fb_hz(4e-3, &air) - 1.0).abs() < 1e-12);
        let wide = Designed { fb_hz: Some(200.0), ..designed };
        assert!(against_design(&wide, &with_volume).iter().any(|beside| beside.says.contains("take a wider vent")));
    }

    /// With V_as known to 10 % and α = 1.25 a promised f_c is known to 0.5·1.25/2.25·10 % = 2.8 %.
    #[test]
    fn a_promised_resonance_is_no_better_known_than_the_driver() {
        let driver = SmallSignal { fs_hz: 110.0, qts: 0.6, vas_m3: 2.5e-3 };
        let designed =
            Designed { volume_m3: Some(2e-3), driver: Some(driver), u_vas_ratio: 0.1, ..Designed::default() };
        let promised_hz = 110.0 * 2.25f64.sqrt();
        let beside = against_design(&designed, &found(BoxKind::Closed, vec![("fc_hz", promised_hz * 1.03, 0.01)]));
        let tuning = beside.iter().find(|beside| beside.name == "fc_hz").unwrap();
        assert!((tuning.found.u / promised_hz - 0.0278).abs() < 1e-4, "{tuning:?}");
        assert!(tuning.says.starts_with("as designed"), "{tuning:?}");
    }
}
