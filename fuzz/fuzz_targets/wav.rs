//! Recordings. What must hold is in `properties/`.

#![no_main]

#[path = "../properties/refusal.rs"]
mod refusal;
#[path = "../properties/wav.rs"]
mod wav;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| wav::check(bytes));
