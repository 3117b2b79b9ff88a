//! A driver: its parameters, whether they agree among themselves and with its data sheet.

use super::super::facts::Facts;
use super::super::told::{Shown, Told};
use crate::quantity::{Quantity, Unit};
use crate::report::{Entry, symbol};
use serde_json::Value;

/// The parameters in the textbooks' order.
const PARAMETERS: [&str; 11] = ["re", "fs", "qms", "qes", "qts", "vas", "sd", "mms", "cms", "rms", "bl"];

/// What a driver document tells.
pub(in super::super) fn told(facts: Facts<'_>) -> Told {
    let name = facts.text("name").unwrap_or("the driver");
    let mut numbers: Vec<Entry> = PARAMETERS.iter().filter_map(|key| facts.line(symbol(key), key)).collect();
    numbers.extend(facts.line("sensitivity at 2.83 V, 1 m, half space", "sensitivity"));
    let models = facts.text("voice_coil.model").zip(facts.text("suspension.model"));
    numbers.extend(models.map(|(coil, suspension)| Entry::text("model", format!("{coil}, {suspension}"))));
    numbers
        .extend(facts.number("residual_percent").map(|left| Entry::text("left over", format!("{left:.3} % of |Z|"))));
    numbers.extend(facts.all("agreements").into_iter().filter_map(agreement));
    numbers.extend(facts.all("datasheet.quantities").into_iter().filter_map(promise));
    let resonance = facts.quantity("fs").zip(facts.quantity("qts"));
    let verdict = resonance.map(|(fs, qts)| format!("{name}: resonance {fs}, total Q {qts}."));
    Told {
        heading: format!("What {name} really is"),
        prose: vec!["A model of the driver was fitted to its impedance; each number carries the doubt that curve and method leave.".into()],
        numbers,
        pictures: vec![Shown::open("driver", "Measured and fitted, and what the model leaves in percent.")],
        verdicts: verdict.into_iter().collect(),
    }
}

fn agreement(pair: Facts<'_>) -> Option<Entry> {
    let verdict = if pair.is("agree")? { "they agree" } else { "they do not agree" };
    let name = format!("{} and {}", pair.text("a")?.replace('-', " "), pair.text("b")?.replace('-', " "));
    Some(Entry::text(&name, format!("moving mass differs by {}: {verdict}", pair.quantity("difference")?)))
}

/// A promised number beside the found one.
fn promise(kept: Facts<'_>) -> Option<Entry> {
    let verdict = match (kept.is("significant")?, kept.is("beyond_usual")?) {
        (false, _) => "as promised",
        (true, false) => "off, as units of one production usually are",
        (true, true) => "off by more than units of one production usually are",
    };
    let unit = kept.at("promised.unit").and_then(|unit| serde_json::from_value::<Unit>(Value::clone(unit.0)).ok());
    let unit = unit.map_or(String::new(), |unit| format!(" {}", unit.symbol()));
    let found: Quantity = kept.quantity("found")?;
    let says = format!("promised {}{}, found {found}: {verdict}", kept.number("promised.value")?, unit.trim_end());
    Some(Entry::text(&format!("{} on the data sheet", symbol(kept.text("quantity")?)), says))
}
