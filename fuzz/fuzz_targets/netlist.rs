//! Networks. What must hold is in `properties/`.

#![no_main]

#[path = "../properties/netlist.rs"]
mod netlist;
#[path = "../properties/refusal.rs"]
mod refusal;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| netlist::check(bytes));
