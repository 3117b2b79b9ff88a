//! The sound card in real time: one case after another against the virtual card. Started by `tests/realtime/run`,
//! which provides the card; not a part of `cargo test`.

mod cases;
mod content;
mod impedance;
mod program;
mod results;

use std::process::ExitCode;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let found = match words.as_slice() {
        ["write-response", path] => content::write_response(path),
        ["whole", takes] => cases::whole(takes),
        ["jig"] => cases::jig(),
        ["dead"] => cases::dead(),
        ["speaker"] => cases::speaker(),
        ["stop"] => cases::stop(),
        ["lost", script, how] => cases::lost(script, how),
        ["stall"] => cases::stall(),
        ["full-disk"] => cases::full_disk(),
        ["drift", ppm] => cases::drift(ppm),
        ["level"] => cases::level(),
        ["refusals"] => cases::refusals(),
        ["program-devices"] => program::devices(),
        ["program-captures", times] => program::captures(times),
        ["program-unplugged", script] => program::unplugged(script),
        ["program-killed"] => program::killed(),
        ["program-interrupted"] => program::interrupted(),
        ["results-flat", times] => results::flat(times),
        ["results-path"] => results::path(),
        ["write-impedance", path] => impedance::write_jig(path),
        ["impedance"] => impedance::captured(),
        ["results-clock", ppm] => results::clock(ppm),
        _ => Err(format!("no case is called {words:?}")),
    };
    let (word, says, code) = match found {
        Ok(says) => ("ok  ", says, ExitCode::SUCCESS),
        Err(says) => ("FAIL", says, ExitCode::FAILURE),
    };
    report(&format!("{word} {}: {says}", words.first().unwrap_or(&"nothing")));
    code
}

/// The one line that the person who started the run reads.
#[allow(clippy::print_stdout)]
fn report(line: &str) {
    println!("{line}");
}
