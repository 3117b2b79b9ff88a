//! Options of the chain that measures sound pressure: its inputs, and the simulated loudspeakers in their room.

use super::chain::{CardArgs, Setting, Stand};
use super::simulated::{SimulatedArgs, document};
use super::{Failure, typed};
use boxwright::audio::SimulatedSettings;
use boxwright::files::JobBench;
use boxwright::job;

#[derive(Debug, clap::Args)]
pub struct LoudspeakerArgs {
    /// Input with the microphone; inputs count from 1 [default: the job's, else 1]
    #[arg(long, value_name = "N", value_parser = typed::channel, help_heading = "Sound card")]
    reply: Option<usize>,
    /// Input with the loopback of the output, or `none` [default: the job's, else none]
    #[arg(long, value_name = "N", value_parser = typed::channel_or_none, help_heading = "Sound card")]
    reference: Option<usize>,
    #[command(flatten)]
    card: CardArgs,
    #[command(flatten)]
    simulated: SimulatedArgs,
}

/// What a command knows of the chain beside these options.
#[derive(Debug, Clone, Copy, Default)]
pub struct AlsoSaid {
    pub level_dbfs: Option<f64>,
    pub distance_m: Option<f64>,
    /// From 1, or 0 for none whatever the job says.
    pub marks_output: Option<usize>,
}

impl LoudspeakerArgs {
    /// Makes every choice and finds the devices.
    ///
    /// `when` makes the simulated bench's chance another one each time, where no seed was given.
    pub fn setting(&self, also: AlsoSaid, when: &str) -> Result<Setting, Failure> {
        let (job, folder) = self.card.job()?;
        let said = JobBench {
            reply_channel: self.reply,
            reference_channel: self.reference,
            marks_output: also.marks_output,
            ..self.card.said(also.level_dbfs)
        };
        let chain = job::chain(&said, &job.bench, self.card.loudness());
        let bench = self.simulated.bench(also.distance_m, job.bench.distance_m, when)?;
        let document = document(&bench);
        let stand = Stand { settings: SimulatedSettings::Loudspeaker(Box::new(bench)), document };
        self.card.setting(chain, (job, folder), stand)
    }

    /// From the simulated loudspeaker to the seat that was asked for, if that is what is measured.
    pub fn seat_distance_m(&self, setting: &Setting) -> Option<f64> {
        self.simulated.seat_distance_m().filter(|_| setting.is_simulated())
    }
}
