//! `boxwright capture response`.

use super::chain::Setting;
use super::sweep::SweepArgs;
use super::take::{Beside, Ready, RecordArgs};
use super::{Failure, typed};
use crate::cli::loudspeaker::{AlsoSaid, LoudspeakerArgs};
use boxwright::job::{CaptureOrder, Known};
use boxwright::signal::{Marks, Sequence, SweepSettings};
use std::path::PathBuf;

/// Sound pressure through a microphone
///
/// Start with the amplifier turned down; `boxwright level` proposes a level. The recording is NAME.wav, its description
/// NAME.toml; NAME.excitation.wav and .toml are what was played. Nothing that exists is overwritten. Ctrl-C fades out and
/// keeps what was recorded; so does a device that goes away; both end with exit status 1.
///
/// With `--output simulated` no sound card is needed: input 1 is then a simulated microphone before a small loudspeaker on
/// output 1, input 2 a cable from output 2, and NAME.truth.json tells what an analysis should find. With
/// `--simulated-subwoofer` output 3 is a subwoofer in the same room.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct ResponseArgs {
    /// Lowest frequency to be reported [default: 20 Hz]
    #[arg(long, value_name = "HZ", value_parser = typed::frequency_hz, help_heading = "Sweep")]
    from: Option<f64>,
    #[command(flatten)]
    sweep: SweepArgs,
    /// How many sweeps, one after another; their spread tells how certain the result is
    #[arg(long, value_name = "N", default_value_t = 1, help_heading = "Sweep")]
    repeats: u32,
    /// Silence after each sweep, at least 0.5 s; longer than the room rings
    #[arg(long, value_name = "S", default_value = "1", value_parser = typed::pause_s, help_heading = "Sweep")]
    pause: f64,
    /// Peak level, 0 is full scale; nothing louder is played [default: the job's, else -20]
    #[arg(
        long, value_name = "DBFS", allow_hyphen_values = true, value_parser = typed::level_dbfs, help_heading = "Sweep"
    )]
    level_dbfs: Option<f64>,
    #[command(flatten)]
    chain: LoudspeakerArgs,
    /// Output from which the time marks sound, and only they, or `none` [default: the job's, else where the sweeps sound]
    ///
    /// So that captures of several loudspeakers at one seat, with the same --from and --to, have one zero of time without a
    /// loopback: name the same output in all, of a loudspeaker that reaches high, and the arrival of the sweep counts from that
    /// of its marks. That loudspeaker sounds too, at the same level: take care that it bears what is played.
    #[arg(long, value_name = "N", value_parser = typed::channel_or_none, help_heading = "Sound card")]
    marks_output: Option<usize>,
    #[command(flatten)]
    record: RecordArgs,
    /// The microphone's table: frequency, dB [default: the job's]
    #[arg(long, value_name = "FILE", help_heading = "For the record")]
    mic: Option<PathBuf>,
    /// From loudspeaker to microphone; a bare number is in metres [default: the job's]
    #[arg(long, value_name = "M", value_parser = typed::metres, help_heading = "For the record")]
    distance: Option<f64>,
}

/// What a person means who gives no --from.
const USUAL_FROM_HZ: f64 = 20.0;

/// The capture that was asked for, ready to be made.
pub fn ready(args: &ResponseArgs, when: String) -> Result<Ready, Failure> {
    let also = AlsoSaid { level_dbfs: args.level_dbfs, distance_m: args.distance, marks_output: args.marks_output };
    let setting = args.chain.setting(also, &when)?;
    let sweep = args.sweep.settings(args.from, USUAL_FROM_HZ, setting.chain.rate)?;
    let order = args.order(sweep, &setting, when);
    let beside = Beside { record: &args.record, treble: args.sweep.treble(), moments: &[], last_hint: None };
    Ready::new(setting, order, &beside)
}

impl ResponseArgs {
    fn order(&self, sweep: SweepSettings, setting: &Setting, when: String) -> CaptureOrder {
        let (chain, job, record) = (&setting.chain, &setting.job.bench, &self.record);
        CaptureOrder {
            sequence: Sequence {
                sweep,
                level_dbfs: chain.level_dbfs,
                repeats: self.repeats,
                marks: Marks::BeforeAndAfter,
                pause_s: self.pause,
            },
            chain: chain.clone(),
            format: record.format(),
            out: record.out(setting),
            when,
            known: Known {
                mic: self.mic.clone().or_else(|| job.mic.as_ref().map(|mic| setting.folder.join(mic))),
                mic_sensitivity_dbfs_at_94db: job.mic_sensitivity_dbfs_at_94db,
                distance_m: self.distance.or_else(|| self.chain.seat_distance_m(setting)).or(job.distance_m),
                ..record.known()
            },
        }
    }
}
