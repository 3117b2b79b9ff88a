//! Which sound system is asked, and what it must not print. The one place that differs between operating systems.

use crate::audio::{AudioError, Route};

/// The sound system of this machine.
#[cfg(target_os = "linux")]
pub(super) fn host() -> Result<cpal::Host, AudioError> {
    // By name: another one compiled in would become the default and behave differently.
    cpal::host_from_id(cpal::HostId::Alsa).map_err(unreachable_host)
}

/// The sound system of this machine.
#[cfg(not(target_os = "linux"))]
pub(super) fn host() -> Result<cpal::Host, AudioError> {
    cpal::host_from_id(cpal::default_host().id()).map_err(unreachable_host)
}

fn unreachable_host(error: cpal::Error) -> AudioError {
    AudioError::NoSoundSystem { says: error.to_string() }
}

/// Keeps the sound library from writing to standard error on this thread, as long as the answer lives.
#[cfg(target_os = "linux")]
pub(super) fn quiet() -> impl Sized {
    alsa::Output::local_error_handler().ok()
}

/// Keeps the sound library from writing to standard error on this thread; elsewhere it does not.
#[cfg(not(target_os = "linux"))]
pub(super) fn quiet() -> impl Sized {}

/// Whether an entry is a device at all, and not a stand-in, a converter alone, or another spelling of one.
///
/// Source of the names: the configuration that comes with the ALSA library.
#[cfg(target_os = "linux")]
pub(super) fn is_device(id: &str) -> bool {
    const STAND_INS: [&str; 4] = ["null", "oss", "jack", "speex"];
    const CONVERTERS: [&str; 5] = ["lavrate", "samplerate", "speexrate", "upmix", "vdownmix"];
    const SAME_CARD_AGAIN: [&str; 9] =
        ["surround", "front", "rear", "center_lfe", "side", "dmix", "dsnoop", "iec958", "usbstream"];
    let name = id.strip_prefix("alsa:").unwrap_or(id);
    let kind = name.split(':').next().unwrap_or(name);
    let is_numbered =
        name.split_once("CARD=").is_some_and(|(_, card)| card.starts_with(|first: char| first.is_ascii_digit()));
    !(STAND_INS.contains(&kind)
        || CONVERTERS.contains(&kind)
        || SAME_CARD_AGAIN.iter().any(|again| kind.starts_with(again))
        || is_numbered)
}

/// Whether an entry is a device at all.
#[cfg(not(target_os = "linux"))]
pub(super) fn is_device(_id: &str) -> bool {
    true
}

/// What lies between the program and the converters of this entry.
#[cfg(target_os = "linux")]
pub(super) fn route(id: &str) -> Route {
    if id.strip_prefix("alsa:").unwrap_or(id).starts_with("hw:") { Route::Direct } else { Route::ThroughSoundSystem }
}

/// What lies between the program and the converters: shared access through the system's mixer.
#[cfg(not(target_os = "linux"))]
pub(super) fn route(_id: &str) -> Route {
    Route::ThroughSoundSystem
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;

    #[test]
    fn stand_ins_converters_and_second_spellings_are_no_devices() {
        for id in
            ["alsa:null", "alsa:lavrate", "alsa:surround51:CARD=A,DEV=0", "alsa:hw:CARD=0,DEV=0", "alsa:dmix:CARD=A"]
        {
            assert!(!is_device(id), "{id}");
        }
        for id in ["alsa:hw:CARD=A,DEV=0", "alsa:default", "alsa:sysdefault:CARD=A", "alsa:pipewire", "alsa:card"] {
            assert!(is_device(id), "{id}");
        }
    }

    #[test]
    fn only_the_hardware_entry_is_direct() {
        assert_eq!(route("alsa:hw:CARD=A,DEV=0"), Route::Direct);
        assert_eq!(route("alsa:plughw:CARD=A,DEV=0"), Route::ThroughSoundSystem);
        assert_eq!(route("alsa:default"), Route::ThroughSoundSystem);
    }
}
