//! How often damaged captures are noticed, and clean ones accused.
//!
//!     cargo run --release --example damage_table -- response|impedance [CAPTURES] [SEED]
#![allow(clippy::unwrap_used, clippy::print_stdout)] // an example may stop, and prints

mod impedance;
mod jig_damage;
mod jig_scene;
mod loudspeaker;
mod response;
mod response_damage;
mod response_error;
mod row;
mod scene;
mod waveform;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |at: usize, usual: u64| arguments.get(at).and_then(|text| text.parse().ok()).unwrap_or(usual);
    let (captures, seed) = (number(1, 40), number(2, 1));
    match arguments.first().map(String::as_str) {
        Some("response") => response::table(captures, seed),
        Some("impedance") => impedance::table(captures, seed),
        _ => println!("damage_table response|impedance [CAPTURES] [SEED]"),
    }
}
