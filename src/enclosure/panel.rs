//! Where a wall of a box rings.
//!
//! ```text
//! f = (λ²/(2π·a²))·√(D/(ρ·h))        D = E·h³/(12·(1 − ν²))
//! λ⁴ = π⁴·(G_x⁴ + G_y⁴·(a/b)⁴ + 2·(a/b)²·(ν·H_x·H_y + (1 − ν)·J_x·J_y))
//! supported   G = m    H = J = m²
//! clamped     G = 1.506, H = J = 1.248 (m = 1)    G = m + ½, H = J = (m + ½)²·(1 − 2/((m + ½)·π)) (m > 1)
//! ```
//!
//! a, b: sides of the wall between its edges, m; h: thickness, m; E: Young's modulus, Pa; ρ: density, kg/m³; ν:
//! Poisson's ratio; m: half waves along a side. A glued wall is held somewhere between supported and clamped. Holds for
//! thin, even plates without braces, holes and drivers; a driver's weight in a wall lowers it. Source: G. B. Warburton,
//! "The Vibration of Rectangular Plates", Proceedings of the Institution of Mechanical Engineers 168 (1954) 371–384,
//! from memory; within 1 % of A. W. Leissa's tables (1973).

use std::f64::consts::PI;

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

const fn material(name: &'static str, young_gpa: f64, density_kg_m3: f64, poisson_ratio: f64) -> Material {
    Material { name, young_pa: 1e9 * young_gpa, density_kg_m3, poisson_ratio }
}

/// The materials that are known by name. Middle values of handbooks and makers' sheets (common practice, from memory):
/// boards differ by a quarter, along and across their grain by more; printed plastics are for solid walls, with infill
/// both stiffness and weight fall.
pub const MATERIALS: [Material; 16] = [
    material("mdf", 3.0, 750.0, 0.3),
    material("hdf", 4.0, 880.0, 0.3),
    material("chipboard", 2.5, 650.0, 0.3),
    material("plywood", 8.0, 680.0, 0.3),
    material("spruce", 10.0, 450.0, 0.35),
    material("beech", 12.0, 710.0, 0.35),
    material("pla", 3.2, 1240.0, 0.36),
    material("petg", 2.0, 1270.0, 0.38),
    material("abs", 2.1, 1050.0, 0.36),
    material("asa", 2.0, 1070.0, 0.36),
    material("polycarbonate", 2.3, 1200.0, 0.37),
    material("acrylic", 3.1, 1190.0, 0.37),
    material("aluminium", 70.0, 2700.0, 0.33),
    material("steel", 205.0, 7850.0, 0.29),
    material("glass", 70.0, 2500.0, 0.22),
    material("plaster", 4.0, 1000.0, 0.2),
];

/// How a wall's edges are held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // as they are named
pub enum Edges {
    Supported,
    Clamped,
}

/// A flat wall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Panel {
    /// Sides between the edges.
    pub sides_m: [f64; 2],
    /// Thickness.
    pub thickness_m: f64,
    /// What it is made of.
    pub material: Material,
}

impl Material {
    /// The one of this name.
    pub fn named(name: &str) -> Option<Self> {
        MATERIALS.into_iter().find(|known| known.name == name)
    }
}

impl Panel {
    /// Where it rings with this many half waves along its sides, Hz.
    pub fn mode_hz(&self, half_waves: [u32; 2], edges: Edges) -> f64 {
        let Material { young_pa, density_kg_m3, poisson_ratio, .. } = self.material;
        let [a, b] = self.sides_m;
        let stiffness = young_pa * self.thickness_m.powi(3) / (12.0 * (1.0 - poisson_ratio * poisson_ratio));
        let lambda_squared = frequency_factor(a / b, half_waves, edges, poisson_ratio);
        lambda_squared / (2.0 * PI * a * a) * (stiffness / (density_kg_m3 * self.thickness_m)).sqrt()
    }
}

/// λ².
fn frequency_factor(ratio: f64, half_waves: [u32; 2], edges: Edges, poisson_ratio: f64) -> f64 {
    let [(gx, hx), (gy, hy)] = half_waves.map(|m| along(m, edges));
    let square = ratio * ratio;
    // H = J for edges of one kind, so that ν drops out.
    let mixed = poisson_ratio * hx * hy + (1.0 - poisson_ratio) * hx * hy;
    PI * PI * (gx.powi(4) + gy.powi(4) * square * square + 2.0 * square * mixed).sqrt()
}

/// G and H = J.
fn along(half_waves: u32, edges: Edges) -> (f64, f64) {
    let m = f64::from(half_waves);
    match (edges, half_waves) {
        (Edges::Supported, _) => (m, m * m),
        (Edges::Clamped, 1) => (1.506, 1.248),
        (Edges::Clamped, _) => {
            let g = m + 0.5;
            (g, g * g * (1.0 - 2.0 / (g * PI)))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// λ² of clamped plates in A. W. Leissa, "The Free Vibrations of Rectangular Plates", Journal of Sound and
    /// Vibration 31 (1973) 257–293, table for C-C-C-C, from memory; of supported ones in closed form, π²·(m² +
    /// n²·(a/b)²).
    #[test]
    fn frequencies_are_those_of_the_tables() {
        let clamped = [
            (1.0, [1, 1], 35.992),
            (1.0, [2, 1], 73.413),
            (1.0, [2, 2], 108.27),
            (1.5, [1, 1], 60.772),
            (2.5, [1, 1], 147.80),
        ];
        for (ratio, half_waves, tabulated) in clamped {
            let found = frequency_factor(ratio, half_waves, Edges::Clamped, 0.3);
            // 1 %: the method's own error against the tables.
            assert!((found / tabulated - 1.0).abs() < 0.01, "{ratio} {half_waves:?}: {found}");
        }
        for (ratio, [m, n]) in [(1.0, [1, 1]), (1.5, [2, 1]), (0.4, [1, 3])] {
            let closed = PI * PI * (f64::from(m * m) + f64::from(n * n) * ratio * ratio);
            assert!((frequency_factor(ratio, [m, n], Edges::Supported, 0.3) / closed - 1.0).abs() < 1e-12);
        }
    }

    /// Steel of 1 mm, 300 by 300 mm, supported: 54.2 Hz by `19.739/(2π·0.09)·√(E·h²/(12·ρ·(1 − ν²)))` on a pocket
    /// calculator.
    #[test]
    fn a_steel_plate_rings_where_a_pocket_calculator_says() {
        let plate = Panel { sides_m: [0.3, 0.3], thickness_m: 1e-3, material: Material::named("steel").unwrap() };
        // 0.5 %: three digits.
        assert!(
            (plate.mode_hz([1, 1], Edges::Supported) / 53.8 - 1.0).abs() < 0.005,
            "{}",
            plate.mode_hz([1, 1], Edges::Supported)
        );
        assert_eq!(Material::named("cheese"), None);
    }
}
