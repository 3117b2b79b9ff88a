//! A box as it was found.

use super::{Traced, Wrinkle};
use crate::driver::Doubted;
use crate::enclosure::BoxedDriver;
use crate::quantity::Finding;
use num_complex::Complex64;

/// Kinds of boxes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // as they are named
pub enum BoxKind {
    Closed,
    Vented,
    PassiveRadiator,
}

impl BoxKind {
    /// Its name in documents and in a job.
    pub fn name(self) -> &'static str {
        match self {
            Self::Closed => "closed",
            Self::Vented => "vented",
            Self::PassiveRadiator => "passive-radiator",
        }
    }
}

/// A box found in the impedance of the driver in it.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundBox {
    /// Which kind was looked for.
    pub kind: BoxKind,
    /// The model at its best.
    pub model: BoxedDriver,
    /// What was found, by name, SI; what can't be had is absent. Names: `re_ohm`, `alpha`, `volume_m3`, `leakage`,
    /// `absorption`, `opening` (loss factors 1/Q), `mass_ratio`, `stiffness_ratio`, `friction_ratio`; closed: `fc_hz`,
    /// `qmc`, `qec`, `qtc`; open: `fb_hz`, `f_low_hz`, `f_high_hz`, and with a passive radiator `fp_hz`.
    pub numbers: Vec<(&'static str, Traced)>,
    /// Whether air leaks out.
    pub leak: Leak,
    /// Narrow resonances in what the model leaves.
    pub wrinkles: Vec<Wrinkle>,
    /// What the model with its wrinkles leaves at each point of the curve within the band, measured less model, ohm.
    pub left_ohm: Vec<Complex64>,
    /// Root mean square of that, in percent of |Z|.
    pub residual_percent: f64,
    /// Its mean square over what the noise explains; absent where the noise is not known.
    pub misfit_ratio: Option<f64>,
    /// By how much uncertainties were widened for what the model leaves; 1: not at all.
    pub widened_ratio: f64,
    /// What was fitted.
    pub band_hz: [f64; 2],
    /// What there is to say about trust.
    pub findings: Vec<Finding>,
}

/// Whether air leaks out of a box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leak {
    /// What the curve says.
    pub verdict: LeakVerdict,
    /// Q_L with its standard uncertainty; absent where no leak is seen.
    pub ql: Option<Doubted>,
    /// Q_L is above this with a probability of 95 %; absent where a leak is certain.
    pub ql_above: Option<f64>,
    /// Twice the logarithm of the likelihood ratio of leaky over airtight.
    pub evidence: f64,
}

/// What a curve says of a leak.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeakVerdict {
    /// There is one.
    Leaky,
    /// There is none that matters.
    Airtight,
    /// A leak that matters could hide in the doubt.
    Undecided,
}

impl FoundBox {
    /// A number by its name.
    pub fn number(&self, name: &str) -> Option<&Traced> {
        self.numbers.iter().find(|(known, _)| *known == name).map(|(_, number)| number)
    }

    /// The same with its whole uncertainty only.
    pub fn doubted(&self, name: &str) -> Option<Doubted> {
        self.number(name).map(Traced::doubted)
    }

    /// The model without its leak; none where it has none.
    pub fn without_leak(&self) -> Option<BoxedDriver> {
        let mut tight = self.model;
        (std::mem::take(&mut tight.enclosure.losses.leakage) > 0.0).then_some(tight)
    }

    /// The model's impedance with its wrinkles, ohm.
    pub fn impedance_ohm(&self, hz: f64) -> Complex64 {
        self.model.impedance_ohm(hz) + self.wrinkles.iter().map(|wrinkle| wrinkle.ohm(hz)).sum::<Complex64>()
    }
}
