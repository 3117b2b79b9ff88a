//! Text tables of curves. What must hold is in `properties/`.

#![no_main]

#[path = "../properties/curve.rs"]
mod curve;
#[path = "../properties/refusal.rs"]
mod refusal;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| curve::check(bytes));
