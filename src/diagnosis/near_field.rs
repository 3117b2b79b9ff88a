//! Levels close to cone and opening, which are fitted together with the impedance.
//!
//! ```text
//! r = (L − 20·log₁₀|f·U| − g)/u        g: weighted mean of what is left, one for each curve
//! ```
//!
//! Close to a source much smaller than the wavelength the pressure follows its volume acceleration, f·U; how close does
//! not matter, since only the shape over frequency counts. Cone: to [`CONE_TO`] times the tuning. Opening: to
//! [`OPENING_TO`] times it, beyond which the vent's own resonances and the cone's sound spoil it. Source: D. B. Keele,
//! "Low-Frequency Loudspeaker Assessment by Nearfield Sound-Pressure Measurement", J. Audio Eng. Soc. 22 (April 1974)
//! 154–162; the limits are common practice.

use crate::enclosure::BoxedDriver;

/// A level over frequency whose absolute height does not matter.
#[derive(Debug, Clone, PartialEq)]
pub struct NearLevel {
    /// Frequencies, rising.
    pub hz: Vec<f64>,
    /// Level of the pressure for a constant voltage at the terminals.
    pub level_db: Vec<f64>,
    /// Its standard uncertainty; absent where nothing tells it.
    pub u_db: Option<Vec<f64>>,
}

/// What was measured close to the box.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct NearField {
    /// In front of the cone.
    pub cone: Option<NearLevel>,
    /// In the mouth of the vent, or in front of the passive radiator.
    pub opening: Option<NearLevel>,
}

/// Above this multiple of the tuning the cone's level tells nothing of the box.
const CONE_TO: f64 = 4.0;
/// The opening's.
const OPENING_TO: f64 = 2.0;
/// A microphone moved by a millimetre, or a little of the other source: no level is better known (ours).
const LEAST_U_DB: f64 = 0.1;

impl NearField {
    /// Only what lies where it tells the box, tuned to about this.
    pub(super) fn within_reach(&self, tuning_hz: f64) -> Self {
        Self {
            cone: self.cone.as_ref().and_then(|level| level.up_to(CONE_TO * tuning_hz)),
            opening: self.opening.as_ref().and_then(|level| level.up_to(OPENING_TO * tuning_hz)),
        }
    }

    /// Residuals of both.
    pub(super) fn residuals(&self, boxed: &BoxedDriver) -> Vec<f64> {
        let cone = self.cone.as_ref().map(|level| level.residuals(|hz| hz * boxed.flows(hz).cone.norm()));
        let opening = self.opening.as_ref().map(|level| level.residuals(|hz| hz * boxed.flows(hz).opening.norm()));
        cone.into_iter().chain(opening).flatten().collect()
    }
}

impl NearLevel {
    fn up_to(&self, limit_hz: f64) -> Option<Self> {
        let count = self.hz.partition_point(|&hz| hz <= limit_hz);
        let cut = |column: &Vec<f64>| column[..count].to_vec();
        (count > 0).then(|| Self {
            hz: cut(&self.hz),
            level_db: cut(&self.level_db),
            u_db: self.u_db.as_ref().map(cut),
        })
    }

    fn residuals(&self, pressure: impl Fn(f64) -> f64) -> Vec<f64> {
        let off: Vec<f64> =
            self.hz.iter().zip(&self.level_db).map(|(&hz, level_db)| level_db - 20.0 * pressure(hz).log10()).collect();
        let u = |at: usize| self.u_db.as_ref().map_or(LEAST_U_DB, |u| u[at].hypot(LEAST_U_DB));
        let weights: Vec<f64> = (0..off.len()).map(|at| u(at).powi(-2)).collect();
        let gain_db =
            off.iter().zip(&weights).map(|(off, weight)| off * weight).sum::<f64>() / weights.iter().sum::<f64>();
        off.iter().zip(&weights).map(|(off, weight)| (gain_db - off) * weight.sqrt()).collect()
    }
}
