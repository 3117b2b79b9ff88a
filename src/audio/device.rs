//! What a sound device says of itself, and how a person names the one that is meant.
//!
//! No equation: names, ranges, and one rule of choice.

use super::{AudioError, Channels};
use crate::quantity::SampleRate;
use crate::signal::SampleFormat;
use std::fmt;

/// The two devices of a card; often the same one.
#[derive(Debug, Clone, PartialEq)]
pub struct CardFacts {
    /// Where sound goes out.
    pub output: DeviceFacts,
    /// Where it comes in.
    pub input: DeviceFacts,
}

impl CardFacts {
    /// Checks that both devices have this rate and these channels, before anything sounds.
    ///
    /// # Errors
    /// As [`DeviceFacts::check`].
    pub fn check(&self, rate: SampleRate, channels: &Channels) -> Result<(), AudioError> {
        self.output.check(Side::Output, rate, &channels.outputs)?;
        self.input.check(Side::Input, rate, &channels.inputs)
    }
}

/// What a device says of itself.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceFacts {
    /// Names this device again tomorrow.
    pub id: String,
    /// For people.
    pub name: String,
    /// What it can play; `None` if nothing.
    pub output: Option<SideFacts>,
    /// What it can record; `None` if nothing.
    pub input: Option<SideFacts>,
    /// What lies between the program and the converters.
    pub route: Route,
}

/// One direction of a device.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SideFacts {
    /// Most channels at once.
    pub channels: usize,
    /// The rates it has, rising.
    pub rates: Vec<RateRange>,
    /// The formats of its samples that can be used here, finest first.
    pub formats: Vec<SampleFormat>,
    /// Whether the system would take this device if none were named.
    pub is_default: bool,
}

/// Rates from one to another; often the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct RateRange {
    /// The lowest, Hz.
    pub from_hz: u32,
    /// The highest, Hz.
    pub to_hz: u32,
}

/// What lies between the program and the converters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Route {
    /// Samples reach the hardware as they are.
    Direct,
    /// A part of the sound system, which may change rate, format or level without a word.
    ThroughSoundSystem,
}

/// Out or in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// What plays.
    Output,
    /// What records.
    Input,
}

impl fmt::Display for Side {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.write_str(match self {
            Self::Output => "output",
            Self::Input => "input",
        })
    }
}

/// More different single rates than this are a converter of the sound system, not a clock.
const WIDEST_CLOCK_HZ: u32 = 1_000;

impl DeviceFacts {
    /// Its facts in one direction.
    pub fn side(&self, side: Side) -> Option<&SideFacts> {
        match side {
            Side::Output => self.output.as_ref(),
            Side::Input => self.input.as_ref(),
        }
    }

    /// Checks that one direction has this rate and these channels (from 0).
    ///
    /// # Errors
    /// [`AudioError::Rate`] or `Channel`, with what it has instead; `NoDevice` if it lacks the direction.
    pub fn check(&self, side: Side, rate: SampleRate, channels: &[usize]) -> Result<(), AudioError> {
        let facts = self.side(side).ok_or(AudioError::NoDevice { side })?;
        if !facts.has_rate(rate) {
            let (device, has) = (self.name.clone(), facts.rates_as_text());
            return Err(AudioError::Rate { device, side, found_hz: rate.whole_hz(), has });
        }
        match channels.iter().find(|channel| **channel >= facts.channels) {
            Some(channel) => {
                let device = self.name.clone();
                Err(AudioError::Channel { device, side, found: channel + 1, has: facts.channels })
            }
            None => Ok(()),
        }
    }

    /// Whether the sound system may resample between this device and the program without saying so.
    pub fn may_resample(&self, side: Side) -> bool {
        let is_wide = |range: &RateRange| range.to_hz - range.from_hz > WIDEST_CLOCK_HZ;
        self.route == Route::ThroughSoundSystem && self.side(side).is_some_and(|facts| facts.rates.iter().any(is_wide))
    }
}

impl SideFacts {
    /// Whether it runs at this rate.
    pub fn has_rate(&self, rate: SampleRate) -> bool {
        self.rates.iter().any(|range| (range.from_hz..=range.to_hz).contains(&rate.whole_hz()))
    }

    /// Its rates for people: `44100, 48000 Hz`, `4000 to 192000 Hz`.
    pub fn rates_as_text(&self) -> String {
        let one = |range: &RateRange| match range {
            RateRange { from_hz, to_hz } if from_hz == to_hz => from_hz.to_string(),
            RateRange { from_hz, to_hz } => format!("{from_hz} to {to_hz}"),
        };
        let all: Vec<String> = self.rates.iter().map(one).collect();
        if all.is_empty() { "none".to_owned() } else { format!("{} Hz", all.join(", ")) }
    }
}

/// The one device of `there` that a person means by `asked`.
///
/// The whole id or name wins over a part of either (capital or not). Of several that fit, a single one with direct
/// access to the hardware is taken. An empty name means the system's own choice.
///
/// # Errors
/// [`AudioError::UnknownDevice`] or `AmbiguousDevice`, naming what there is; `NoDevice` if nothing has this direction.
pub fn choose<'a>(there: &'a [DeviceFacts], asked: &str, side: Side) -> Result<&'a DeviceFacts, AudioError> {
    let able: Vec<&DeviceFacts> = there.iter().filter(|device| device.side(side).is_some()).collect();
    if able.is_empty() {
        return Err(AudioError::NoDevice { side });
    }
    let wanted = asked.trim().to_lowercase();
    let with = |fits: &dyn Fn(&DeviceFacts) -> bool| -> Vec<&'a DeviceFacts> {
        able.iter().copied().filter(|device| fits(device)).collect()
    };
    let found = if wanted.is_empty() {
        with(&|device| device.side(side).is_some_and(|facts| facts.is_default))
    } else {
        [
            with(&|device| device.id == asked.trim()),
            with(&|device| device.name.to_lowercase() == wanted),
            with(&|device| device.name.to_lowercase().contains(&wanted) || device.id.to_lowercase().contains(&wanted)),
        ]
        .into_iter()
        .find(|found| !found.is_empty())
        .unwrap_or_default()
    };
    let direct: Vec<&DeviceFacts> = found.iter().copied().filter(|device| device.route == Route::Direct).collect();
    match (found.as_slice(), direct.as_slice()) {
        ([one], _) | (_, [one]) => Ok(one),
        ([], _) => Err(AudioError::UnknownDevice { side, asked: asked.to_owned(), there: list(&able) }),
        (several, _) => Err(AudioError::AmbiguousDevice { side, asked: asked.to_owned(), fits: list(several) }),
    }
}

fn list(devices: &[&DeviceFacts]) -> String {
    devices.iter().map(|device| format!("{} ({})", device.id, device.name)).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn device(id: &str, name: &str, route: Route) -> DeviceFacts {
        let side = SideFacts {
            channels: 2,
            rates: vec![RateRange { from_hz: 44_100, to_hz: 44_100 }, RateRange { from_hz: 48_000, to_hz: 48_000 }],
            formats: vec![SampleFormat::Float32],
            is_default: id == "b",
        };
        DeviceFacts { id: id.into(), name: name.into(), output: Some(side.clone()), input: Some(side), route }
    }

    fn bench() -> Vec<DeviceFacts> {
        use Route::{Direct, ThroughSoundSystem};
        vec![
            device("hw:1", "Blue Interface", Direct),
            device("plug:1", "Blue Interface, converted", ThroughSoundSystem),
            device("b", "Red Interface", ThroughSoundSystem),
            device("b2", "Red Interface two", ThroughSoundSystem),
        ]
    }

    #[test]
    fn a_device_is_named_by_id_by_name_or_by_a_part_only_it_has() {
        let there = bench();
        let chosen = |asked: &str| choose(&there, asked, Side::Output).map(|device| device.id.clone());
        for (asked, id) in [
            ("b", "b"),
            ("red interface", "b"),
            ("TWO", "b2"),
            ("plug", "plug:1"),
            // Two fit; only one reaches the hardware directly.
            ("blue", "hw:1"),
            ("", "b"),
        ] {
            assert_eq!(chosen(asked).unwrap(), id, "{asked}");
        }
    }

    #[test]
    fn a_name_that_fits_none_or_several_is_answered_with_what_there_is() {
        let there = bench();
        let none = choose(&there, "green", Side::Input).unwrap_err().to_string();
        assert!(none.contains("green") && there.iter().all(|device| none.contains(&device.id)), "{none}");
        let several = choose(&there, "red", Side::Input).unwrap_err();
        assert!(matches!(several, AudioError::AmbiguousDevice { .. }));
        assert!(several.to_string().contains("b2") && !several.to_string().contains("hw:1"), "{several}");
    }

    #[test]
    fn a_device_without_the_direction_is_no_candidate() {
        let mut there = bench();
        there.iter_mut().for_each(|device| device.input = None);
        assert!(matches!(choose(&there, "b", Side::Input), Err(AudioError::NoDevice { side: Side::Input })));
    }

    #[test]
    fn a_rate_or_channel_it_lacks_is_answered_with_those_it_has() {
        let device = &bench()[0];
        let rate = |hz| SampleRate::new(hz).unwrap();
        assert!(device.check(Side::Output, rate(48_000), &[0, 1]).is_ok());
        let error = device.check(Side::Output, rate(96_000), &[0]).unwrap_err().to_string();
        assert!(error.contains("96000") && error.contains("44100, 48000 Hz"), "{error}");
        let error = device.check(Side::Input, rate(48_000), &[0, 2]).unwrap_err().to_string();
        assert!(error.contains("channel 3") && error.contains("has 2"), "{error}");
    }

    #[test]
    fn only_a_range_of_rates_behind_the_sound_system_may_hide_a_resampler() {
        let mut there = bench();
        assert!(!there[2].may_resample(Side::Output));
        for device in &mut there {
            device.output =
                Some(SideFacts { rates: vec![RateRange { from_hz: 4_000, to_hz: 192_000 }], ..SideFacts::default() });
        }
        assert!(there[2].may_resample(Side::Output) && !there[0].may_resample(Side::Output));
    }
}
