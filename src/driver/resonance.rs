//! Where an impedance peaks, and how far each peak stands out.
//!
//! ```text
//! prominence = |Z|(peak) − the higher of the two lowest |Z| that lie between it and higher ground
//! ```
//!
//! The measure of how high a mountain stands above the saddle to a higher one; at an end of the curve lower ground goes
//! on.

/// A local maximum of |Z|.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Peak {
    /// Index of the point.
    pub(crate) at: usize,
    /// How far it stands out, ohm.
    pub(crate) prominence_ohm: f64,
}

/// Peaks of |Z| away from the ends, the one that stands out most first.
pub(super) fn peaks(magnitude_ohm: &[f64]) -> Vec<Peak> {
    let lowest_to_higher = |at: usize, points: &mut dyn Iterator<Item = usize>| {
        let height = magnitude_ohm[at];
        points.map(|point| magnitude_ohm[point]).take_while(|&ohm| ohm <= height).fold(height, f64::min)
    };
    let mut found: Vec<Peak> = (1..magnitude_ohm.len().saturating_sub(1))
        .filter(|&at| magnitude_ohm[at] > magnitude_ohm[at - 1] && magnitude_ohm[at] >= magnitude_ohm[at + 1])
        .map(|at| {
            let left = lowest_to_higher(at, &mut (0..at).rev());
            let right = lowest_to_higher(at, &mut (at + 1..magnitude_ohm.len()));
            Peak { at, prominence_ohm: magnitude_ohm[at] - left.max(right) }
        })
        .collect();
    found.sort_by(|a, b| b.prominence_ohm.total_cmp(&a.prominence_ohm));
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_peak_stands_out_from_the_saddle_to_higher_ground() {
        let found = peaks(&[5.0, 30.0, 7.0, 12.0, 8.0, 60.0]);
        // 30 over the lower ground beside it (5 to the left, 7 to the right of it before 60); 12 over 8.
        assert_eq!(found, [Peak { at: 1, prominence_ohm: 23.0 }, Peak { at: 3, prominence_ohm: 4.0 }]);
        assert!(peaks(&[1.0, 2.0, 3.0]).is_empty() && peaks(&[]).is_empty());
    }
}
