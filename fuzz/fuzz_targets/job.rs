//! `job.toml` and data sheets. What must hold is in `properties/`.

#![no_main]

#[path = "../properties/job.rs"]
mod job;
#[path = "../properties/refusal.rs"]
mod refusal;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| job::check(bytes));
