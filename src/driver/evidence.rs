//! What is known of a driver besides its free-air curve, and the numbers of all of it with their covariance.
//!
//! No equation: an order of numbers. Two curves of one jig share its common doubt; it is taken as independent between
//! them, which matters only for R_e, and there to the safe side.

use super::{DriverError, DriverFit, Mounting, Resonance};
use crate::math::Correlated;
use crate::quantity::Air;

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubted {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// What is known of a driver besides its free-air curve; SI.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Evidence {
    /// Area that moves the air: the cone and half of its surround.
    pub sd_m2: Option<Doubted>,
    /// The curve with a mass on the cone, and the mass.
    pub with_mass: Option<(DriverFit, Doubted)>,
    /// The curve in an airtight box, and the volume of its air.
    pub in_box: Option<(DriverFit, Doubted)>,
    /// A moving mass that is known already, air included.
    pub mms_kg: Option<Doubted>,
    /// How the driver stood for its free-air curve.
    pub mounting: Mounting,
    /// The air.
    pub air: Air,
}

/// Where the numbers of a fit stand among all.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Place {
    first: usize,
    names: Vec<&'static str>,
}

impl Place {
    /// The resonance that they hold.
    pub fn resonance(&self, numbers: &[f64]) -> Resonance {
        let of = |name: &str| self.names.iter().position(|&known| known == name).map(|at| numbers[self.first + at]);
        let needed = |name| of(name).unwrap_or(f64::NAN);
        Resonance {
            re_ohm: needed("re_ohm"),
            fs_hz: needed("fs_hz"),
            qms: needed("qms"),
            qes: needed("qes"),
            lambda: of("lambda").unwrap_or(0.0),
        }
    }

    /// Where they end.
    pub fn end(&self) -> usize {
        self.first + self.names.len()
    }
}

/// All numbers in one order; what is not known has no place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Numbers {
    pub all: Correlated,
    pub free: Place,
    pub sd: Option<usize>,
    pub loaded: Option<Place>,
    pub added: Option<usize>,
    pub boxed: Option<Place>,
    pub volume: Option<usize>,
    /// How much heavier the air is in the box, in parts of its own doubt: 0 ± 1.
    pub more_air: Option<usize>,
    pub mms: Option<usize>,
}

impl Numbers {
    /// # Errors
    /// [`DriverError::NotAMeasure`] for a mass, volume or area that is not above zero.
    pub fn of(free: &DriverFit, evidence: &Evidence) -> Result<Self, DriverError> {
        let mut all = Correlated { values: Vec::new(), covariance: Vec::new() };
        let free = append_fit(&mut all, free);
        let sd = evidence.sd_m2.map(|sd| append(&mut all, "cone area", sd)).transpose()?;
        let (mut loaded, mut added, mut boxed, mut volume, mut more_air) = (None, None, None, None, None);
        if let Some((fit, mass)) = &evidence.with_mass {
            loaded = Some(append_fit(&mut all, fit));
            added = Some(append(&mut all, "added mass", *mass)?);
        }
        if let Some((fit, content)) = &evidence.in_box {
            boxed = Some(append_fit(&mut all, fit));
            volume = Some(append(&mut all, "test box's volume", *content)?);
            more_air = Some(append_unchecked(&mut all, Doubted { value: 0.0, u: 1.0 }));
        }
        let mms = evidence.mms_kg.map(|mass| append(&mut all, "moving mass", mass)).transpose()?;
        Ok(Self { all, free, sd, loaded, added, boxed, volume, more_air, mms })
    }
}

fn append_fit(all: &mut Correlated, fit: &DriverFit) -> Place {
    let first = all.values.len();
    let names = fit.names.clone();
    all.values.extend(&fit.values);
    for row in &mut all.covariance {
        row.resize(first + names.len(), 0.0);
    }
    for own in &fit.covariance {
        let mut row = vec![0.0; first];
        row.extend(own);
        all.covariance.push(row);
    }
    Place { first, names }
}

fn append(all: &mut Correlated, what: &'static str, known: Doubted) -> Result<usize, DriverError> {
    let usable = known.value.is_finite() && known.value > 0.0 && known.u.is_finite() && known.u >= 0.0;
    if !usable {
        return Err(DriverError::NotAMeasure { what, found: known.value, u: known.u });
    }
    Ok(append_unchecked(all, known))
}

fn append_unchecked(all: &mut Correlated, known: Doubted) -> usize {
    let at = all.values.len();
    all.values.push(known.value);
    for row in &mut all.covariance {
        row.push(0.0);
    }
    let mut row = vec![0.0; at];
    row.push(known.u * known.u);
    all.covariance.push(row);
    at
}
