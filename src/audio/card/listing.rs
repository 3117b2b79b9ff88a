//! The devices of this machine, asked one by one what they can do.
//!
//! Asking opens each device, and a sound server that hangs does not answer: it is done on a thread of its own and given
//! up after a while.

use super::host;
use super::setup::{FORMATS, as_recorded};
use crate::audio::{AudioError, DeviceFacts, RateRange, Side, SideFacts};
use cpal::SupportedStreamConfigRange;
use cpal::traits::{DeviceTrait, HostTrait};
use std::sync::mpsc;
use std::time::Duration;

/// A device with what it said of itself.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub(super) device: cpal::Device,
    pub(super) facts: DeviceFacts,
    pub(super) output: Vec<SupportedStreamConfigRange>,
    pub(super) input: Vec<SupportedStreamConfigRange>,
}

/// A machine with many devices takes a second or two.
const PATIENCE_S: f64 = 10.0;

/// Every device that could serve.
pub(super) fn found() -> Result<Vec<Found>, AudioError> {
    let (answer, wait) = mpsc::channel();
    let asker = move || {
        let _quiet = host::quiet();
        // Nobody waits any more if this fails.
        let _ = answer.send(ask());
    };
    let doing = "listing its devices";
    std::thread::Builder::new()
        .name("sound devices".to_owned())
        .spawn(asker)
        .map_err(|error| AudioError::NoSoundSystem { says: error.to_string() })?;
    wait.recv_timeout(Duration::from_secs_f64(PATIENCE_S))
        .map_err(|_| AudioError::NoAnswer { doing, waited_s: PATIENCE_S })?
}

fn ask() -> Result<Vec<Found>, AudioError> {
    let host = host::host()?;
    let id_of = |device: Option<cpal::Device>| device.and_then(|device| device.id().ok()).map(|id| id.to_string());
    let defaults = [id_of(host.default_output_device()), id_of(host.default_input_device())];
    let devices = host.devices().map_err(|error| AudioError::NoSoundSystem { says: error.to_string() })?;
    Ok(devices.filter_map(|device| one(device, &defaults)).collect())
}

/// `None` for what is no device or can neither play nor record.
fn one(device: cpal::Device, defaults: &[Option<String>; 2]) -> Option<Found> {
    let id = device.id().ok()?.to_string();
    if !host::is_device(&id) {
        return None;
    }
    let name = device.description().map_or_else(|_| id.clone(), |description| description.name().to_owned());
    let output = usable(device.supports_output().then(|| device.supported_output_configs().ok()).flatten());
    let input = usable(device.supports_input().then(|| device.supported_input_configs().ok()).flatten());
    let is_default = |side: usize| defaults[side].as_ref() == Some(&id);
    let facts = DeviceFacts {
        output: side_facts(&output, is_default(0)),
        input: side_facts(&input, is_default(1)),
        route: host::route(&id),
        name,
        id,
    };
    (facts.output.is_some() || facts.input.is_some()).then_some(Found { device, facts, output, input })
}

/// Those with a sample format that is understood here.
fn usable(offered: Option<impl Iterator<Item = SupportedStreamConfigRange>>) -> Vec<SupportedStreamConfigRange> {
    offered.into_iter().flatten().filter(|range| FORMATS.contains(&range.sample_format())).collect()
}

fn side_facts(offered: &[SupportedStreamConfigRange], is_default: bool) -> Option<SideFacts> {
    let channels = offered.iter().map(|range| usize::from(range.channels())).max()?;
    let mut rates: Vec<RateRange> = offered
        .iter()
        .map(|range| RateRange { from_hz: range.min_sample_rate(), to_hz: range.max_sample_rate() })
        .collect();
    rates.sort_unstable();
    rates.dedup();
    let has = |format: &cpal::SampleFormat| offered.iter().any(|range| range.sample_format() == *format);
    let formats = FORMATS.into_iter().filter(has).filter_map(as_recorded).collect();
    Some(SideFacts { channels, rates, formats, is_default })
}

impl Found {
    /// What it offers in one direction.
    pub(super) fn offered(&self, side: Side) -> &[SupportedStreamConfigRange] {
        match side {
            Side::Output => &self.output,
            Side::Input => &self.input,
        }
    }
}
