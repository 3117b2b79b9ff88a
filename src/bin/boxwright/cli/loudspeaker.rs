//! Options of the chain that measures sound pressure: its inputs, and the simulated loudspeaker in its room.

use super::chain::{CardArgs, Level, Setting, Stand, seed};
use super::{Failure, typed};
use boxwright::audio::SimulatedSettings;
use boxwright::bench::{BenchSettings, Room, Surroundings};
use boxwright::files::JobBench;
use boxwright::job;
use clap::ValueEnum;
use serde_json::{Value, json};

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
    /// What surrounds the simulated loudspeaker
    #[arg(long, value_enum, value_name = "ROOM", default_value = "small", help_heading = "Simulated bench")]
    simulated_room: SimulatedRoom,
    /// How fast the simulated recorder's clock runs
    #[arg(
        long, value_name = "PPM", default_value = "12", allow_hyphen_values = true, value_parser = typed::ppm,
        help_heading = "Simulated bench"
    )]
    simulated_drift_ppm: f64,
    /// Noise on the simulated microphone, or `none`
    #[arg(
        long, value_name = "DBFS", default_value = "-88", allow_hyphen_values = true,
        value_parser = typed::level_or_none, help_heading = "Simulated bench"
    )]
    simulated_noise_dbfs: Level,
    /// Where the simulated bench's chance starts: the same number gives the same noise [default: another one each time]
    #[arg(long, value_name = "N", help_heading = "Simulated bench")]
    simulated_seed: Option<u64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum SimulatedRoom {
    None,
    Small,
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
        let bench = self.bench(also.distance_m.or(job.bench.distance_m), when);
        let document = document(&bench);
        let stand = Stand { settings: SimulatedSettings::Loudspeaker(Box::new(bench)), document };
        self.card.setting(chain, (job, folder), stand)
    }

    fn bench(&self, distance_m: Option<f64>, when: &str) -> BenchSettings {
        let mut bench =
            BenchSettings { seed: self.simulated_seed.unwrap_or_else(|| seed(when)), ..BenchSettings::default() };
        bench.distance_m = distance_m.unwrap_or(bench.distance_m);
        bench.interface.drift_ppm = self.simulated_drift_ppm;
        bench.microphone.noise_dbfs = self.simulated_noise_dbfs.0;
        bench.surroundings = match self.simulated_room {
            SimulatedRoom::None => Surroundings::Anechoic,
            SimulatedRoom::Small => Surroundings::Room(Room::default()),
        };
        bench
    }
}

/// The simulated bench, for documents.
fn document(bench: &BenchSettings) -> Value {
    json!({
        "room": if bench.surroundings == Surroundings::Anechoic { "none" } else { "small" },
        "drift_ppm": bench.interface.drift_ppm,
        "noise_dbfs": bench.microphone.noise_dbfs.map_or(json!("none"), |level_dbfs| json!(level_dbfs)),
        "seed": bench.seed,
        "distance_m": bench.distance_m,
    })
}
