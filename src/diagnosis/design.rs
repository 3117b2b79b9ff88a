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
    /// Leakage.
    pub ql: Option<f64>,
    /// Absorption.
    pub qa: Option<f64>,
    /// Vent or passive radiator.
    pub qp: Option<f64>,
    /// The vent, to say by how much to change its length.
    pub port: Option<Port>,
    /// The driver that it was designed with, to say which resonance was promised.
    pub driver: Option<SmallSignal>,
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
    /// As found.
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
        ("leakage", designed.ql.map(f64::recip)),
        ("absorption", designed.qa.map(f64::recip)),
        ("opening", designed.qp.map(f64::recip).filter(|_| found.kind != BoxKind::Closed)),
        ("fc_hz", closed.map(|closed| closed.fc_hz)),
        ("qtc", closed.map(|closed| closed.qtc)),
    ]
    .into_iter()
    .filter_map(|(name, wanted)| Some(beside(name, wanted?, doubted(name, found)?, designed, found)))
    .collect()
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
    let says = if !(sigmas.abs() > BEYOND) {
        match loss {
            true => "as designed, within the doubt".to_owned(),
            false => format!("as designed, within the doubt of {doubt_percent:.1} %"),
        }
    } else if loss {
        if sigmas > 0.0 { "more is lost than designed".to_owned() } else { "less is lost than designed".to_owned() }
    } else {
        let why = match name {
            "volume_m3" => why_volume(is.value / wanted, found),
            "fb_hz" => port_words(designed, is.value, wanted),
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

fn port_words(designed: &Designed, found_hz: f64, wanted_hz: f64) -> String {
    let longer = found_hz > wanted_hz;
    let Some(port) = designed.port else {
        let effective = 100.0 * ((found_hz / wanted_hz).powi(2) - 1.0);
        return format!(
            "; {} the vent by {:.0} % of its effective length (its length and about 1.5 radii)",
            if longer { "lengthen" } else { "shorten" },
            effective.abs()
        );
    };
    match port.retuned(found_hz, wanted_hz) {
        Some(to) => format!(
            "; {} the vent by {:.0} mm, from {:.0} to {:.0} mm",
            if longer { "lengthen" } else { "shorten" },
            1e3 * (to.length_m - port.length_m).abs(),
            1e3 * port.length_m,
            1e3 * to.length_m
        ),
        None => {
            "; shortening is not enough: even without any tube the tuning stays too low, take a wider vent".to_owned()
        }
    }
}
