//! What is known of a driver before it went into its box.
//!
//! No equation: the numbers of its free-air fit with their covariance, and what a second curve told.

use crate::driver::{Doubted, DriverModel};

/// A driver from its own measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownDriver {
    /// The model in free air with its values.
    pub model: DriverModel,
    /// Covariance of its numbers in SI, in the order of [`natural_names`](crate::driver::natural_names).
    pub covariance: Vec<Vec<f64>>,
    /// Equivalent volume; absent when no second curve told it.
    pub vas_m3: Option<Doubted>,
    /// Area that moves the air.
    pub sd_m2: Option<Doubted>,
    /// Moving mass in free air.
    pub mms_kg: Option<Doubted>,
    /// Force factor.
    pub bl_tm: Option<Doubted>,
}
