//! `boxwright devices`: what could play and record.

use super::{Failure, tell};
use boxwright::MADE_BY;
use boxwright::audio::{DeviceFacts, Route, SideFacts, Simulated, devices};
use serde_json::{Value, json};
use std::process::ExitCode;

/// List sound devices with their rates and channels
///
/// The first word of each is its name for --output and --input; a part that only it has will do.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    /// No hints
    #[arg(long, short)]
    quiet: bool,
}

/// Lists the devices; the simulated bench is always there.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let mut problem = None;
    let mut there = devices().unwrap_or_else(|error| {
        problem = Some(format!("{error}\n  try: {}", error.advice()));
        Vec::new()
    });
    there.push(Simulated::facts());
    if args.json {
        let mut document = json!({
            "schema": "boxwright/devices/1",
            "made_by": MADE_BY,
            "inputs": [],
            "settings": {},
            "findings": [],
            "files": [],
            "devices": there.iter().map(device_document).collect::<Vec<_>>(),
        });
        if let Some(says) = &problem {
            document["problem"] = json!(says.lines().next());
        }
        tell::json(&document)?;
    } else {
        tell::result(&table(&there))?;
    }
    match problem {
        Some(says) => tell::hint(&format!("warning: only the simulated bench can be used: {says}")),
        None if there.len() == 1 && !args.quiet => {
            tell::hint("no sound device was found; connect an interface, or use the simulated bench");
        }
        None => {}
    }
    Ok(ExitCode::SUCCESS)
}

fn device_document(device: &DeviceFacts) -> Value {
    let side = |facts: &SideFacts| {
        let rates: Vec<Value> =
            facts.rates.iter().map(|range| json!({ "from_hz": range.from_hz, "to_hz": range.to_hz })).collect();
        json!({ "channels": facts.channels, "rates": rates, "default": facts.is_default })
    };
    let mut document = json!({
        "id": device.id,
        "name": device.name,
        "direct": device.route == Route::Direct,
    });
    for (key, facts) in [("output", &device.output), ("input", &device.input)] {
        facts.iter().for_each(|facts| document[key] = side(facts));
    }
    document
}

fn table(devices: &[DeviceFacts]) -> String {
    let mut text = String::new();
    for device in devices {
        text.push_str(&format!("{}\n  {}\n", device.id, device.name));
        for (word, facts) in [("output", &device.output), ("input", &device.input)] {
            let Some(facts) = facts else { continue };
            let plural = if facts.channels == 1 { "channel" } else { "channels" };
            let default = if facts.is_default { ", the system's choice" } else { "" };
            let rates = facts.rates_as_text();
            text.push_str(&format!("  {word:6}  {} {plural}, {rates}{default}\n", facts.channels));
        }
        if device.route == Route::ThroughSoundSystem {
            text.push_str("  a part of the sound system, which may change rate or level\n");
        }
    }
    text
}
