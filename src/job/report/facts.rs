//! What a result document says, by name. A report is made of whatever lies in a folder, so nothing is taken for granted:
//! what isn't there, or isn't of the kind that is asked for, is none.

use crate::files::frequency_text;
use crate::quantity::{Finding, Quantity};
use crate::report::Entry;
use serde_json::Value;

/// A document, or a part of one.
#[derive(Debug, Clone, Copy)]
pub(super) struct Facts<'a>(pub &'a Value);

impl<'a> Facts<'a> {
    /// The part with this name; dots lead deeper: `gate.length_ms`.
    pub fn at(self, name: &str) -> Option<Facts<'a>> {
        name.split('.').try_fold(self.0, |value, key| value.get(key)).filter(|value| !value.is_null()).map(Facts)
    }

    /// A text.
    pub fn text(self, name: &str) -> Option<&'a str> {
        self.at(name)?.0.as_str()
    }

    /// A number.
    pub fn number(self, name: &str) -> Option<f64> {
        self.at(name)?.0.as_f64()
    }

    /// Yes or no.
    pub fn is(self, name: &str) -> Option<bool> {
        self.at(name)?.0.as_bool()
    }

    /// A number with its doubt.
    pub fn quantity(self, name: &str) -> Option<Quantity> {
        serde_json::from_value(self.at(name)?.0.clone()).ok()
    }

    /// From and to.
    pub fn span(self, name: &str) -> Option<[f64; 2]> {
        serde_json::from_value(self.at(name)?.0.clone()).ok()
    }

    /// The elements of a list.
    pub fn all(self, name: &str) -> Vec<Facts<'a>> {
        let elements = self.at(name).and_then(|list| list.0.as_array());
        elements.map(|elements| elements.iter().map(Facts).collect()).unwrap_or_default()
    }

    /// The texts of a list.
    pub fn texts(self, name: &str) -> Vec<&'a str> {
        self.all(name).into_iter().filter_map(|element| element.0.as_str()).collect()
    }

    /// The parts of a table, by name.
    pub fn parts(self, name: &str) -> Vec<(&'a str, Facts<'a>)> {
        let table = self.at(name).and_then(|table| table.0.as_object());
        table.map(|table| table.iter().map(|(key, value)| (key.as_str(), Facts(value))).collect()).unwrap_or_default()
    }

    /// What was noticed.
    pub fn findings(self) -> Vec<Finding> {
        self.all("findings").into_iter().filter_map(|finding| serde_json::from_value(finding.0.clone()).ok()).collect()
    }

    /// A line with a number and its doubt, if it is there.
    pub fn line(self, called: &str, name: &str) -> Option<Entry> {
        self.quantity(name).map(|quantity| Entry::quantity(called, quantity))
    }

    /// `20 Hz to 20 kHz`, if it is there.
    pub fn band(self, name: &str) -> Option<String> {
        let [from_hz, to_hz] = self.span(name)?;
        Some(format!("{} to {}", frequency_text(from_hz), frequency_text(to_hz)))
    }

    /// The value that a column has at the point nearest to a frequency, within a thirtieth of an octave.
    pub fn column_at(self, frequencies: &str, column: &str, hz: f64) -> Option<f64> {
        let (frequencies, column) = (self.all(frequencies), self.all(column));
        let away = |at: usize| frequencies[at].0.as_f64().map_or(f64::INFINITY, |found| (found / hz).log2().abs());
        let nearest = (0..frequencies.len()).min_by(|a, b| away(*a).total_cmp(&away(*b)))?;
        column.get(nearest).filter(|_| away(nearest) < 1.0 / 30.0)?.0.as_f64()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_there_or_of_another_kind_is_none() {
        let value = serde_json::json!({
            "gate": { "length_ms": 4.5 }, "word": "x", "nothing": null, "fs": { "value": 92.0, "u": 0.5, "unit": "Hz" },
            "hz": [100, 1000, 10000], "db": [1.0, null, 3.0], "band": [20, 2000], "findings": [{ "code": "none" }, 3],
        });
        let facts = Facts(&value);
        assert_eq!(
            (facts.number("gate.length_ms"), facts.number("gate.x.y"), facts.number("word")),
            (Some(4.5), None, None)
        );
        assert!(facts.at("nothing").is_none() && facts.all("word").is_empty() && facts.findings().is_empty());
        assert_eq!(facts.line("f_s", "fs").unwrap().value.to_string(), "92.0 ± 1.0 Hz");
        assert_eq!(facts.band("band").as_deref(), Some("20 Hz to 2 kHz"));
        assert_eq!((facts.column_at("hz", "db", 101.0), facts.column_at("hz", "db", 1000.0)), (Some(1.0), None));
        assert_eq!(facts.column_at("hz", "db", 3000.0), None);
    }
}
