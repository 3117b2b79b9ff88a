//! A resistor, a coil or a capacitor with its losses.
//!
//! ```text
//! resistor Y = 1/R        coil Y = 1/(R_s + jωL)        capacitor Y = 1/(R_s + 1/(jωC))
//! ```
//!
//! R in ohm, L in henry, C in farad, R_s: resistance in series with it (dcr of a coil, esr of a capacitor).
//! A part that is broken open carries no current; a shorted one is as good as a wire.

use num_complex::Complex64;

/// What a part is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// In ohm.
    Resistor,
    /// In henry.
    Coil,
    /// In farad.
    Capacitor,
}

/// Whether a part does what it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Condition {
    /// It does.
    #[default]
    Sound,
    /// Nothing passes: a joint that was not soldered, a broken lead.
    Open,
    /// A wire.
    Shorted,
}

/// A part between two nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// As in the drawing: `C2`.
    pub name: String,
    /// What it is.
    pub kind: Kind,
    /// Ohm, henry or farad.
    pub value: f64,
    /// R_s.
    pub series_ohm: f64,
    /// The nodes at its ends, places in the netlist's list.
    pub nodes: [usize; 2],
    /// Whether it does what it is.
    pub condition: Condition,
}

/// A wire of a few centimetres.
const WIRE_OHM: f64 = 1e-3;

impl Part {
    /// Y, siemens, at an angular frequency above zero, rad/s.
    pub fn admittance_s(&self, omega: f64) -> Complex64 {
        match self.condition {
            Condition::Open => return Complex64::ZERO,
            Condition::Shorted => return Complex64::new(1.0 / WIRE_OHM, 0.0),
            Condition::Sound => {}
        }
        match self.kind {
            Kind::Resistor => Complex64::new(1.0 / (self.value + self.series_ohm), 0.0),
            Kind::Coil => Complex64::new(self.series_ohm, omega * self.value).inv(),
            Kind::Capacitor => Complex64::new(self.series_ohm, -1.0 / (omega * self.value)).inv(),
        }
    }

    /// How its admittance follows the logarithm of its value, siemens; nothing for a broken one.
    pub(super) fn slope_s(&self, omega: f64) -> Complex64 {
        if self.condition != Condition::Sound {
            return Complex64::ZERO;
        }
        let by_value_ohm = match self.kind {
            Kind::Resistor => Complex64::new(self.value, 0.0),
            Kind::Coil => Complex64::new(0.0, omega * self.value),
            // 1/(jωC) falls as C grows.
            Kind::Capacitor => Complex64::new(0.0, 1.0 / (omega * self.value)),
        };
        -self.admittance_s(omega).powi(2) * by_value_ohm
    }

    /// What it turns into heat when this voltage is across it, W; the voltage rms.
    pub fn heat_w(&self, omega: f64, across_v: Complex64) -> f64 {
        (across_v * (self.admittance_s(omega) * across_v).conj()).re
    }
}

impl Kind {
    /// As people call it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Resistor => "resistor",
            Self::Coil => "coil",
            Self::Capacitor => "capacitor",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(kind: Kind, value: f64, series_ohm: f64) -> Part {
        Part { name: "X1".into(), kind, value, series_ohm, nodes: [0, 1], condition: Condition::Sound }
    }

    #[test]
    fn heat_is_the_current_squared_times_the_resistance() {
        let omega = 3000.0;
        for one in [part(Kind::Coil, 1e-3, 0.4), part(Kind::Capacitor, 10e-6, 0.1), part(Kind::Resistor, 4.7, 0.0)] {
            let across_v = Complex64::new(1.5, -2.0);
            let current = (one.admittance_s(omega) * across_v).norm_sqr();
            let ohm = if one.kind == Kind::Resistor { 4.7 } else { one.series_ohm };
            // 1e-12: a few roundings.
            assert!((one.heat_w(omega, across_v) / (current * ohm) - 1.0).abs() < 1e-12, "{one:?}");
        }
    }
}
