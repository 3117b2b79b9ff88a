//! A number whose doubt is told by where it comes from, so that two such numbers can be compared.
//!
//! ```text
//! u² = u_own² + Σ s_k²        u²(b − a) = u_own,a² + u_own,b² + Σ (s_b,k − s_a,k)²
//! ```
//!
//! u_own: standard uncertainty from this measurement alone. s_k: by how much the number moves when the k-th independent
//! part of the doubt about what both measurements lean on (the driver's parameters) moves by its standard uncertainty.
//! A doubt that both share drops out of their difference. Source: JCGM 102:2011, section 6 (propagation); the split is
//! ours.

use crate::driver::Doubted;

/// A number with its doubt by origin.
#[derive(Debug, Clone, PartialEq)]
pub struct Traced {
    /// The value, SI.
    pub value: f64,
    /// Standard uncertainty from this measurement alone.
    pub u_own: f64,
    /// s_k; empty where nothing is shared.
    pub shared: Vec<f64>,
}

impl Traced {
    /// The whole standard uncertainty.
    pub fn u(&self) -> f64 {
        self.shared.iter().fold(self.u_own, |u, s| u.hypot(*s))
    }

    /// Value and whole uncertainty.
    pub fn doubted(&self) -> Doubted {
        Doubted { value: self.value, u: self.u() }
    }

    /// This number less `before`, what both lean on dropped out.
    pub fn less(&self, before: &Self) -> Doubted {
        let shared = |of: &Self, k: usize| of.shared.get(k).copied().unwrap_or(0.0);
        let parts = self.shared.len().max(before.shared.len());
        let apart = (0..parts).map(|k| shared(self, k) - shared(before, k));
        let u = apart.fold(self.u_own.hypot(before.u_own), f64::hypot);
        Doubted { value: self.value - before.value, u }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_two_numbers_share_drops_out_of_their_difference() {
        let a = Traced { value: 2.0, u_own: 0.3, shared: vec![4.0, 1.0] };
        let b = Traced { value: 5.0, u_own: 0.4, shared: vec![4.0, 1.0] };
        // 3, 4, 5 in tenths.
        let less = b.less(&a);
        assert!((less.value - 3.0).abs() < 1e-12 && (less.u - 0.5).abs() < 1e-12, "{less:?}");
        // √(0.09 + 16 + 1).
        assert!((a.u() - 17.09f64.sqrt()).abs() < 1e-12);
        let alone = Traced { value: 5.0, u_own: 0.4, shared: Vec::new() };
        assert!((alone.less(&a).u - 17.25f64.sqrt()).abs() < 1e-12);
    }
}
