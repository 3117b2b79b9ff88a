//! How far off a curve is, beyond what it admits.
//!
//! ```text
//! e_b = max(|⟨d⟩_b| − ⟨2u⟩_b, 0)        d = L − L_reference, dB
//! ```
//!
//! ⟨⟩_b: mean over the points of a third of an octave b, within the curve's own valid band; u: standard uncertainty that the curve
//! states. The mean keeps one of a thousand noisy points from making an alarm, 2u is what the person is told.
//! A band is off in silence where e_b > 0.5 dB and no new caution or fault speaks of it: one with a `band_hz` that excludes b does not.

use boxwright::quantity::{Finding, Severity};
use boxwright::response::Analysis;

/// Off by more than this in silence is what must not be.
pub const TOLERATED_DB: f64 = 0.5;

/// A third of an octave of a curve.
#[derive(Clone, Copy)]
pub struct Band {
    pub from_hz: f64,
    pub to_hz: f64,
    /// ⟨d⟩ and ⟨2u⟩.
    pub off_db: f64,
    pub admitted_db: f64,
}

impl Band {
    pub fn excess_db(&self) -> f64 {
        (self.off_db.abs() - self.admitted_db).max(0.0)
    }

    pub fn middle_hz(&self) -> f64 {
        (self.from_hz * self.to_hz).sqrt()
    }

    /// Whether a finding warns of this band.
    pub fn is_warned_of_by(&self, finding: &Finding) -> bool {
        finding.severity >= Severity::Caution
            && finding.at.band_hz.is_none_or(|[from_hz, to_hz]| from_hz < self.to_hz && to_hz > self.from_hz)
    }
}

/// The bands of a curve against a reference level, where that has one.
pub fn bands(analysis: &Analysis, reference_db: impl Fn(f64) -> Option<f64>) -> Vec<Band> {
    let hz = analysis.response.grid.hz();
    let (level_db, u_db) = (analysis.response.magnitude_db(), analysis.response.u_db());
    thirds(hz, |at| Some([level_db[at] - reference_db(hz[at])?, 2.0 * u_db[at]]))
}

/// Means by thirds of an octave of how far each point is off and of what it admits, dB; of those points that have both.
pub fn thirds(hz: &[f64], of: impl Fn(usize) -> Option<[f64; 2]>) -> Vec<Band> {
    let mut bands = Vec::new();
    let mut first = 0;
    while first < hz.len() {
        let end = hz.partition_point(|&other| other < hz[first] * 2f64.powf(1.0 / 3.0)).max(first + 1);
        let points: Vec<[f64; 2]> = (first..end).filter_map(&of).collect();
        let mean = |part: usize| points.iter().map(|point| point[part]).sum::<f64>() / points.len() as f64;
        if !points.is_empty() {
            bands.push(Band { from_hz: hz[first], to_hz: hz[end - 1], off_db: mean(0), admitted_db: mean(1) });
        }
        first = end;
    }
    bands
}

/// A level between the points of a curve; none where it has no points nearby.
pub fn level_at(analysis: &Analysis, gain_db: f64) -> impl Fn(f64) -> Option<f64> {
    let hz: Vec<f64> = analysis.response.grid.hz().to_vec();
    let level_db = analysis.response.magnitude_db();
    move |wanted_hz| {
        let above = hz.partition_point(|&other| other < wanted_hz * 0.999);
        let near = hz.get(above).is_some_and(|&other| other < wanted_hz * 1.001);
        near.then(|| level_db[above] + gain_db)
    }
}
