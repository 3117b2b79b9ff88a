//! From the names a person gave to the thing that plays and records.
//!
//! No equation: one choice.

use super::{AudioError, SIMULATED, Simulated, SimulatedSettings, SoundCard, open};

/// The card of these two devices; the simulated bench if either is called [`SIMULATED`] and the other the same or nothing.
///
/// # Errors
/// [`AudioError::HalfSimulated`] when a real device is to go with the simulated bench, `Bench` for settings that make
/// none, and what [`open`] gives.
pub fn connect(output: &str, input: &str, settings: &SimulatedSettings) -> Result<Box<dyn SoundCard>, AudioError> {
    let is_simulated = |name: &str| name.trim().eq_ignore_ascii_case(SIMULATED);
    match [output, input].map(is_simulated) {
        [false, false] => Ok(Box::new(open(output, input)?)),
        [true, false] if !input.trim().is_empty() => Err(AudioError::HalfSimulated { with: input.to_owned() }),
        [false, true] if !output.trim().is_empty() => Err(AudioError::HalfSimulated { with: output.to_owned() }),
        _ => Ok(Box::new(Simulated::of(settings.clone())?)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_name_is_enough_for_the_simulated_bench_and_no_real_device_goes_with_it() {
        let settings = SimulatedSettings::Loudspeaker(Box::default());
        let connected = |output, input| connect(output, input, &settings);
        for (output, input) in [("simulated", "simulated"), ("simulated", ""), ("", "Simulated")] {
            assert_eq!(connected(output, input).unwrap().describe().input.id, SIMULATED);
        }
        let Err(error) = connected("simulated", "card 1") else { panic!("was connected") };
        assert!(matches!(error, AudioError::HalfSimulated { ref with } if with == "card 1"), "{error}");
    }
}
