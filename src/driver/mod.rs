//! What drives: the driver behind an impedance, by its model, its fit, and what moves.

mod added_mass;
mod admission;
mod air_load;
mod alike;
mod candidate;
mod choice;
mod error;
mod evidence;
mod fit;
mod kind;
mod mechanics;
mod method;
mod model;
mod moving;
mod parameters;
mod plausible;
mod promise;
mod resonance;
mod shift;
mod start;
mod suspension;
mod test_box;
mod three_point;
mod verdict;
mod voice_coil;
mod weighting;
mod whiteness;

#[cfg(test)]
mod reference;

pub use added_mass::{grown_mass_kg, mass_growth};
pub(crate) use admission::{resonance_of, smaller_resonance};
pub use air_load::{Mounting, air_load_kg};
pub use alike::{
    Alike, CommonCurve, Comparison, FALSE_ALARM, MOST_DIFFERENT_DB, UnitCurve, Verdict, compared, differences,
    odd_one_out,
};
pub(crate) use choice::inflation;
pub use error::DriverError;
pub use evidence::{Doubted, Evidence};
pub use fit::{Candidate, DriverFit, FitSettings, SuspensionKind, ThreePoint, VoiceCoilKind, fit_driver};
pub use mechanics::{DATA_SHEET_V, Radiator, Resonance, equivalent_volume_m3};
pub use method::{Agreement, Method, MethodResult};
pub use model::DriverModel;
pub use moving::{DriverParameters, driver_parameters};
pub use parameters::natural_names;
pub(crate) use parameters::{Shape, natural_slopes, searched};
pub use promise::{Kept, Promise, Promised, promises_kept};
pub(crate) use start::starts;
pub use suspension::Suspension;
pub use test_box::{BoxedCone, more_air_in_box_kg, stiffness_ratio_by_damping, stiffness_ratio_by_resonance};
pub use voice_coil::VoiceCoil;
pub(crate) use weighting::{Noise, Weighting, shares};
