//! A one-port file from any bytes: an impedance, and the same again once written.

use crate::curve::sound;
use crate::refusal::of_file;
use boxwright::files::{curve_from, impedance_of, touchstone_text};
use std::path::Path;

/// Reads the bytes as a one-port file and checks what came of it.
pub fn check(bytes: &[u8]) {
    let name = Path::new("t.s1p");
    let curve = match curve_from(bytes, name) {
        Ok(curve) => curve,
        Err(error) => return of_file(&error),
    };
    sound(&curve);
    let impedance = impedance_of(&curve).expect("a one-port is an impedance");
    let text = touchstone_text(&impedance, &[("a # b".into(), "! c\n1 2 3".into())]);
    let again = impedance_of(&curve_from(text.as_bytes(), name).expect("what was written can be read"));
    let again = again.expect("a one-port is an impedance");
    assert_eq!(again.hz(), impedance.hz());
    for (is, was) in again.values().iter().zip(impedance.values()) {
        // 1e-13: to magnitude and degrees and back. 1e-300: there doubles have fewer digits.
        assert!((is - was).norm() <= 1e-13 * was.norm() + 1e-300, "{is} {was}");
    }
}
