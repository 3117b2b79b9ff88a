//! Where a wall of a box rings.

/// What walls are made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Material {
    /// Its name on the command line and in a job.
    pub name: &'static str,
    /// Young's modulus.
    pub young_pa: f64,
    /// Density.
    pub density_kg_m3: f64,
    /// Poisson's ratio.
    pub poisson_ratio: f64,
}

/// The materials that are known by name.
pub const MATERIALS: [Material; 1] =
    [Material { name: "mdf", young_pa: 3.0e9, density_kg_m3: 750.0, poisson_ratio: 0.3 }];
