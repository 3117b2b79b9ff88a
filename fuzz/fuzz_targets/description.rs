//! What lies beside a WAV. What must hold is in `properties/`.

#![no_main]

#[path = "../properties/description.rs"]
mod description;
#[path = "../properties/refusal.rs"]
mod refusal;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| description::check(bytes));
