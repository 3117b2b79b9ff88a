//! Requests to the page, which belongs to the program: its modules are taken in here as they are in `main.rs`.

#![no_main]
#![allow(dead_code)] // the program runs what is only looked at here

#[path = "../../src/bin/boxwright/cli/mod.rs"]
mod cli;
#[path = "../../src/bin/boxwright/page/mod.rs"]
mod page;

thread_local! {
    static PAGE: page::hostile::Besieged = page::hostile::Besieged::new();
}

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| PAGE.with(|page| page.ask(bytes)));
