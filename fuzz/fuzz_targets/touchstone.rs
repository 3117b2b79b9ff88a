//! One-port files. What must hold is in `properties/`.

#![no_main]

#[path = "../properties/curve.rs"]
mod curve;
#[path = "../properties/refusal.rs"]
mod refusal;
#[path = "../properties/touchstone.rs"]
mod touchstone;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| touchstone::check(bytes));
