//! The outline of a baffle as seen from a driver on it.
//!
//! ```text
//! d(φ) = |E(φ) − S|        n(φ) = d(φ)·cos β
//! ```
//!
//! S: the driver's place; E(φ): where a ray from S in the direction φ first meets the outline; β: angle between the ray and
//! the edge's normal there; n: distance to the line of that edge. Lengths in m, x to the right, y up, seen from the front.
//! Derivation: plane geometry.

use std::f64::consts::TAU;

/// What a baffle's front looks like.
#[derive(Debug, Clone, PartialEq)]
pub enum Outline {
    /// Corners, one after the other; the last is joined to the first.
    Polygon(Vec<[f64; 2]>),
    /// A disc around its centre.
    Circle {
        /// Its centre.
        centre_m: [f64; 2],
        /// Its diameter.
        diameter_m: f64,
    },
}

/// A piece of the outline as a driver sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Edge {
    /// Direction of the ray.
    pub direction: [f64; 2],
    /// d.
    pub distance_m: f64,
    /// n.
    pub normal_m: f64,
}

impl Outline {
    /// A rectangle whose lower left corner is at (0, 0).
    pub fn rectangle(width_m: f64, height_m: f64) -> Self {
        Self::Polygon(vec![[0.0, 0.0], [width_m, 0.0], [width_m, height_m], [0.0, height_m]])
    }

    /// The outline along `rays` equal angles from a place on it; `None` where the place is not on the baffle.
    pub(super) fn seen_from(&self, place_m: [f64; 2], rays: usize) -> Option<Vec<Edge>> {
        let angle = |ray: usize| TAU * (ray as f64 + 0.5) / rays as f64;
        (0..rays).map(|ray| self.edge(place_m, [angle(ray).cos(), angle(ray).sin()])).collect()
    }

    /// Where a ray from `place_m` leaves the baffle.
    fn edge(&self, place_m: [f64; 2], direction: [f64; 2]) -> Option<Edge> {
        match self {
            Self::Circle { centre_m, diameter_m } => {
                let from = [place_m[0] - centre_m[0], place_m[1] - centre_m[1]];
                let along = from[0] * direction[0] + from[1] * direction[1];
                let radius_m = diameter_m / 2.0;
                let inside = radius_m * radius_m - (from[0] * from[0] + from[1] * from[1]);
                let distance_m = (along * along + inside).max(0.0).sqrt() - along;
                let outward = (along + distance_m) / radius_m;
                (inside > 0.0).then_some(Edge { direction, distance_m, normal_m: distance_m * outward })
            }
            Self::Polygon(corners) => {
                let next = corners.iter().cycle().skip(1);
                let sides = corners.iter().zip(next).filter_map(|(from, to)| crossed(place_m, direction, *from, *to));
                let found: Vec<Edge> = sides.collect();
                // Inside, a ray leaves once more often than it enters.
                let first = found.iter().copied().min_by(|one, other| one.distance_m.total_cmp(&other.distance_m));
                first.filter(|_| found.len() % 2 == 1)
            }
        }
    }
}

/// Where a ray crosses a side, if it does.
fn crossed(place_m: [f64; 2], direction: [f64; 2], from: [f64; 2], to: [f64; 2]) -> Option<Edge> {
    let side = [to[0] - from[0], to[1] - from[1]];
    let start = [from[0] - place_m[0], from[1] - place_m[1]];
    let determinant = direction[0] * side[1] - direction[1] * side[0];
    if determinant == 0.0 {
        return None;
    }
    let distance_m = (start[0] * side[1] - start[1] * side[0]) / determinant;
    let share = (start[0] * direction[1] - start[1] * direction[0]) / determinant;
    let length_m = side[0].hypot(side[1]);
    let normal_m = (start[0] * side[1] - start[1] * side[0]).abs() / length_m;
    (distance_m > 0.0 && (0.0..1.0).contains(&share)).then_some(Edge { direction, distance_m, normal_m })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ray_ends_at_the_nearest_side_and_nothing_is_seen_from_beside_the_baffle() {
        let outline = Outline::rectangle(0.2, 0.3);
        let edge = outline.edge([0.05, 0.1], [0.6, 0.8]).unwrap();
        // To the right side 0.15/0.6 = 0.25 m, to the top 0.2/0.8 = 0.25 m: the corner.
        assert!((edge.distance_m - 0.25).abs() < 1e-12, "{edge:?}");
        let left = outline.edge([0.05, 0.1], [-0.8, 0.6]).unwrap();
        assert!((left.distance_m - 0.0625).abs() < 1e-12 && (left.normal_m - 0.05).abs() < 1e-12, "{left:?}");
        assert_eq!(outline.seen_from([0.25, 0.1], 16), None);
        let disc = Outline::Circle { centre_m: [0.0, 0.0], diameter_m: 0.2 };
        let edge = disc.edge([0.06, 0.0], [0.0, 1.0]).unwrap();
        assert!((edge.distance_m - 0.08).abs() < 1e-12 && (edge.normal_m - 0.064).abs() < 1e-12, "{edge:?}");
        assert_eq!(disc.seen_from([0.0, 0.11], 16), None);
    }
}
