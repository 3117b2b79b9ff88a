//! A curve as columns that are compared, averaged or joined.

use super::{Curve, Measure};
use crate::response::Sampled;

/// Level, phase and doubt of a curve; those of an impedance in dB of |Z|.
pub fn sampled_of(curve: &Curve) -> Sampled {
    let ohm = curve.measure == Measure::MagnitudeOhm;
    let db = |value: &f64| if ohm { 20.0 * value.log10() } else { *value };
    let u = curve.u.iter().flatten().zip(&curve.values);
    let per_ohm = 20.0 / std::f64::consts::LN_10;
    Sampled {
        hz: curve.frequency_hz.clone(),
        level_db: curve.values.iter().map(db).collect(),
        phase_rad: curve.phase_deg.iter().flatten().map(|degrees| degrees.to_radians()).collect(),
        u_db: u.map(|(u, value)| if ohm { per_ohm * u / value } else { *u }).collect(),
    }
}
