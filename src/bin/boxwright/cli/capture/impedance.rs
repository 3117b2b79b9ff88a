//! `boxwright capture impedance`.

use super::chain::Setting;
use super::sweep::SweepArgs;
use super::take::{Beside, Ready, RecordArgs};
use super::{Failure, typed};
use crate::cli::jig::JigArgs;
use boxwright::job::{CaptureOrder, Known};
use boxwright::report::Moment;
use boxwright::signal::{Marks, Sequence, SweepSettings};

/// Impedance through a sense resistor
///
/// Wire the output through the sense resistor to the loudspeaker; one input taps the voltage before the resistor (drive),
/// the other one behind it, across the loudspeaker (load). A line or headphone output is enough; never connect an input to an
/// amplifier's output without a divider, and nothing grounded to a bridge-tied one. Set both inputs to the same gain. The voltage
/// stays small, so that the driver is measured at rest. The README has a drawing and the cautions; local electrical codes and
/// licensed practice come first.
///
/// Take one more capture with the clips joined, one with nothing, or one with a resistor that you know in place of the loudspeaker:
/// they tell what the inputs and the leads do (`boxwright impedance --short, --open, --known`). A treble driver needs `--from` two
/// octaves below its resonance and a low level. The recording is NAME.wav, its description NAME.toml; NAME.excitation.wav
/// and .toml are what was played. Nothing that exists is overwritten. Ctrl-C fades out and keeps what was recorded.
///
/// With `--output simulated` no sound card is needed: input 1 is then the drive, input 2 the load, --simulated-load what
/// hangs there, and NAME.truth.json tells what an analysis should find.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct ImpedanceArgs {
    /// Lowest frequency to be reported, well below the resonance [default: 10 Hz]
    #[arg(long, value_name = "HZ", value_parser = typed::frequency_hz, help_heading = "Sweep")]
    from: Option<f64>,
    #[command(flatten)]
    sweep: SweepArgs,
    /// How many sweeps, one after another; their spread tells how certain the result is, and whether the driver changes
    #[arg(long, value_name = "N", default_value_t = 3, help_heading = "Sweep")]
    repeats: u32,
    /// Silence after each sweep, at least 0.5 s; longer than the cone rings at its resonance
    #[arg(long, value_name = "S", default_value = "2", value_parser = typed::pause_s, help_heading = "Sweep")]
    pause: f64,
    /// Peak level, 0 is full scale; nothing louder is played [default: -30, or the job's if that is lower]
    #[arg(
        long, value_name = "DBFS", allow_hyphen_values = true, value_parser = typed::level_dbfs, help_heading = "Sweep"
    )]
    level_dbfs: Option<f64>,
    #[command(flatten)]
    jig: JigArgs,
    #[command(flatten)]
    record: RecordArgs,
}

/// What a person means who gives no --from: two octaves below the resonance of most drivers.
const USUAL_FROM_HZ: f64 = 10.0;

/// Said after a capture whose sense resistor nobody told.
const SENSE_UNKNOWN: &str =
    "the sense resistor's value is not in the description: give it as --sense-ohm, here or to the analysis";

/// The capture that was asked for, ready to be made.
pub fn ready(args: &ImpedanceArgs, when: String) -> Result<Ready, Failure> {
    let (setting, parts) = args.jig.setting(args.level_dbfs, &when)?;
    let sweep = args.sweep.settings(args.from, USUAL_FROM_HZ, setting.chain.rate)?;
    let known = Known {
        sense_ohm: parts.sense_ohm,
        gain_limit_db: parts.gain_limit_db,
        input_full_scale_v: parts.input_full_scale_v,
        ..args.record.known()
    };
    let order = args.order(sweep, &setting, when, known);
    let beside = Beside {
        record: &args.record,
        treble: args.sweep.treble(),
        moments: &[Moment::AmplifierOutput],
        last_hint: order.known.sense_ohm.is_none().then_some(SENSE_UNKNOWN),
    };
    Ready::new(setting, order, &beside)
}

impl ImpedanceArgs {
    fn order(&self, sweep: SweepSettings, setting: &Setting, when: String, known: Known) -> CaptureOrder {
        let level_dbfs = setting.chain.level_dbfs;
        let (repeats, pause_s) = (self.repeats, self.pause);
        CaptureOrder {
            sequence: Sequence { sweep, level_dbfs, repeats, marks: Marks::BeforeAndAfter, pause_s },
            chain: setting.chain.clone(),
            format: self.record.format(),
            out: self.record.out(setting),
            when,
            known,
        }
    }
}
