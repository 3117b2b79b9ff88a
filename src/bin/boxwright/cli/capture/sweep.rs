//! Options of a sweep that every capture has.

use super::typed;
use super::{Failure, sound::Treble};
use boxwright::job;
use boxwright::quantity::SampleRate;
use boxwright::signal::SweepSettings;

#[derive(Debug, clap::Args)]
pub struct SweepArgs {
    /// Highest frequency to be reported
    #[arg(long, value_name = "HZ", default_value = "20k", value_parser = typed::frequency_hz, help_heading = "Sweep")]
    to: f64,
    /// Play nothing below this, for the driver's sake [default: an octave below --from, or --from itself above 100 Hz]
    #[arg(long, value_name = "HZ", value_parser = typed::frequency_hz, help_heading = "Sweep")]
    lowest: Option<f64>,
    /// A treble driver is connected without its crossover: demands its lower limit (--lowest or --from)
    #[arg(long, help_heading = "Sweep")]
    treble: bool,
    /// Duration of one sweep
    #[arg(long, value_name = "S", default_value = "5", value_parser = typed::seconds, help_heading = "Sweep")]
    seconds: f64,
}

impl SweepArgs {
    /// The sweep from `from` on, or from `usual_from_hz` where that was not said.
    pub fn settings(&self, from: Option<f64>, usual_from_hz: f64, rate: SampleRate) -> Result<SweepSettings, Failure> {
        let [from_hz, lowest_hz] = self.limits_hz(from)?;
        Ok(SweepSettings {
            rate,
            from_hz: from_hz.unwrap_or(usual_from_hz),
            to_hz: self.to,
            lowest_hz,
            duration_s: self.seconds,
        })
    }

    /// The lowest frequency to be reported and the one below which nothing is played, as far as they were said.
    fn limits_hz(&self, from: Option<f64>) -> Result<[Option<f64>; 2], Failure> {
        if !self.treble {
            return Ok([from, self.lowest]);
        }
        let limit_hz =
            job::treble_limit_hz(self.lowest, from).map_err(|error| Failure::usage(error, error.advice()))?;
        Ok([Some(from.unwrap_or(limit_hz)), Some(limit_hz)])
    }

    /// What is connected.
    pub fn treble(&self) -> Treble {
        if self.treble { Treble::Yes } else { Treble::No }
    }
}
