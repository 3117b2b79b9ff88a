//! An impedance as a curve of ohm and degrees, and back.
//!
//! ```text
//! Z = |Z|·e^{iφ}        u_common² = u² − u_noise²
//! ```
//!
//! The header line `# resolution_hz: X` says from which spacing on the noise of two points is independent. A curve that
//! gives u but not its parts is somebody else's: all of u then counts as noise.

use super::{Curve, Measure};
use crate::impedance::{Impedance, ImpedanceError};
use crate::quantity::FrequencyGrid;
use num_complex::Complex64;

/// The header's key for [`Impedance::resolution_hz`].
const RESOLUTION: &str = "resolution_hz";

/// The impedance that a curve of ohm and degrees holds, with its doubt where the curve has one.
///
/// # Errors
/// [`ImpedanceError::NotOhmAndDegrees`] for a curve in dB or without phase; `NotANumber`, `UnequalColumns`.
pub fn impedance_of(curve: &Curve) -> Result<Impedance, ImpedanceError> {
    let refuse = || ImpedanceError::NotOhmAndDegrees { found: curve.says() };
    let phase_deg = curve.phase_deg.as_ref().filter(|_| curve.measure == Measure::MagnitudeOhm).ok_or_else(refuse)?;
    let grid = FrequencyGrid::new(curve.frequency_hz.clone()).map_err(|_| refuse())?;
    let values = curve.values.iter().zip(phase_deg);
    let values = values.map(|(&ohm, degrees)| Complex64::from_polar(ohm, degrees.to_radians())).collect();
    let impedance = Impedance::new(grid, values)?;
    let Some(u_ohm) = &curve.u else { return Ok(impedance) };
    let u_noise_ohm = curve.u_noise.as_ref().unwrap_or(u_ohm);
    let common = |(u, noise): (&f64, &f64)| (u * u - noise * noise).max(0.0).sqrt();
    let u_common_ohm = u_ohm.iter().zip(u_noise_ohm).map(common).collect();
    let resolution_hz = curve.header_number(RESOLUTION);
    impedance.with_doubt(u_noise_ohm.clone(), u_common_ohm, resolution_hz)
}

/// The curve of an impedance, as it is written; `header` goes before what the impedance says of itself.
pub fn curve_of(impedance: &Impedance, mut header: Vec<(String, String)>) -> Curve {
    header.extend(impedance.resolution_hz().map(|hz| (RESOLUTION.to_owned(), hz.to_string())));
    Curve {
        measure: Measure::MagnitudeOhm,
        frequency_hz: impedance.hz().to_vec(),
        values: impedance.magnitude_ohm(),
        phase_deg: Some(impedance.values().iter().map(|value| value.arg().to_degrees()).collect()),
        u: impedance.u_ohm(),
        u_noise: impedance.u_noise_ohm().map(<[f64]>::to_vec),
        header,
        notes: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::{curve_from, curve_text};
    use std::path::Path;

    #[test]
    fn an_impedance_comes_back_from_its_table() {
        let grid = FrequencyGrid::new(vec![20.0, 40.0]).unwrap();
        let values = vec![Complex64::new(3.0, -4.0), Complex64::new(0.0, 2.0)];
        let doubted =
            Impedance::new(grid, values).unwrap().with_doubt(vec![0.3, 0.0], vec![0.4, 0.1], Some(0.5)).unwrap();
        let text = curve_text(&curve_of(&doubted, vec![("of".into(), "a test".into())]));
        assert!(text.starts_with(
            "# of: a test\n# resolution_hz: 0.5\nfrequency_hz,magnitude_ohm,phase_deg,u_ohm,u_noise_ohm\n20,5,"
        ));
        let read = impedance_of(&curve_from(text.as_bytes(), Path::new("z.csv")).unwrap()).unwrap();
        assert_eq!(
            (read.hz(), read.resolution_hz(), read.u_noise_ohm()),
            (doubted.hz(), Some(0.5), doubted.u_noise_ohm())
        );
        for (found, expected) in read.values().iter().zip(doubted.values()) {
            // 1e-15: magnitude and angle, and back.
            assert!((found - expected).norm() < 1e-15 * expected.norm(), "{found} {expected}");
        }
        for (found, expected) in read.u_common_ohm().unwrap().iter().zip([0.4, 0.1]) {
            // 1e-15: a hypotenuse, and back.
            assert!((found - expected).abs() < 1e-15, "{found}");
        }
    }

    #[test]
    fn what_is_no_impedance_is_refused_and_a_doubt_without_parts_is_noise() {
        let read = |text: &str| impedance_of(&curve_from(text.as_bytes(), Path::new("z")).unwrap());
        assert!(matches!(read("20,1,2\n"), Err(ImpedanceError::NotOhmAndDegrees { .. })));
        assert!(matches!(read("Hz, ohm\n20,1\n"), Err(ImpedanceError::NotOhmAndDegrees { .. })));
        assert_eq!(read("Hz, ohm, deg\n20,1,90\n").unwrap().u_ohm(), None);
        let doubted = read("frequency_hz,magnitude_ohm,phase_deg,u_ohm\n20,1,90,0.25\n").unwrap();
        assert_eq!((doubted.u_noise_ohm().unwrap(), doubted.u_common_ohm().unwrap()), (&[0.25][..], &[0.0][..]));
    }
}
