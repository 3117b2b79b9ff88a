//! Results that are read again. What must hold is in `properties/`.

#![no_main]

#[path = "../properties/document.rs"]
mod document;
#[path = "../properties/refusal.rs"]
mod refusal;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| document::check(bytes));
