//! A curve from any bytes: frequencies that rise, numbers that are numbers, and the same again once written.

use crate::refusal::of_file;
use boxwright::files::{Curve, Measure, curve_from, curve_text, impedance_of};
use boxwright::impedance::{minimum, peaks};
use std::path::Path;

/// Reads the bytes as a text table and checks what came of it.
pub fn check(bytes: &[u8]) {
    match curve_from(bytes, Path::new("t.csv")) {
        Ok(curve) => {
            sound(&curve);
            comes_back(&curve);
        }
        Err(error) => of_file(&error),
    }
}

/// What holds of every curve that was read.
pub fn sound(curve: &Curve) {
    let hz = &curve.frequency_hz;
    assert!(!hz.is_empty() && hz[0] > 0.0 && hz.windows(2).all(|pair| pair[0] < pair[1]), "{hz:?}");
    let columns = [Some(hz), Some(&curve.values), curve.phase_deg.as_ref(), curve.u.as_ref(), curve.u_noise.as_ref()];
    for column in columns.into_iter().flatten() {
        assert!(column.len() == hz.len() && column.iter().all(|number| number.is_finite()));
    }
    let unsigned =
        [curve.u.as_ref(), curve.u_noise.as_ref(), (curve.measure == Measure::MagnitudeOhm).then_some(&curve.values)];
    assert!(unsigned.into_iter().flatten().flatten().all(|number| *number >= 0.0));
    let says = curve.says();
    // Four notes at most.
    assert!(says.chars().count() <= 400 && !says.contains("NaN") && !says.contains("inf "), "{says}");
    assert!(curve.resolution_hz().is_none_or(|hz| hz > 0.0 && hz.is_finite()), "{:?}", curve.header);
    impedance(curve);
}

/// What `impedance` and `driver` look at first.
fn impedance(curve: &Curve) {
    let Ok(impedance) = impedance_of(curve) else { return };
    assert!(impedance.values().iter().all(|z| z.re.is_finite() && z.im.is_finite()));
    for column in [impedance.u_ohm(), impedance.u_common_ohm().map(<[f64]>::to_vec)].into_iter().flatten() {
        assert!(column.iter().all(|u| u.is_finite() && *u >= 0.0), "{column:?}");
    }
    if impedance.hz().len() > 300 {
        return;
    }
    for place in peaks(&impedance).into_iter().chain([minimum(&impedance)]) {
        assert!(place.hz.is_finite() && place.ohm.is_finite(), "{place:?}");
    }
}

fn comes_back(curve: &Curve) {
    let text = curve_text(curve);
    let again = curve_from(text.as_bytes(), Path::new("t.csv")).unwrap_or_else(|error| panic!("{error}: {text}"));
    let one_line = |text: &String| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let header: Vec<_> = curve.header.iter().map(|(key, value)| (one_line(key), one_line(value))).collect();
    let expected = Curve { header, notes: Vec::new(), ..curve.clone() };
    assert_eq!(again, expected, "{text}");
}
