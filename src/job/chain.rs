//! Which devices, channels, rate and level a run uses: what the person said, else what the job says, else a default.
//!
//! No equation: an order of precedence, and the two rules that protect driver and ears.

use crate::files::{CaptureKind, JobBench};
use crate::quantity::{QuantityError, SampleRate};

/// The chain of a run, with every choice made. Channels count from 1, as the person counts them.
#[derive(Debug, Clone, PartialEq)]
pub struct Chain {
    /// Device that plays; empty for the system's own choice.
    pub output: String,
    /// Device that records; empty for the system's own choice.
    pub input: String,
    /// Frames a second.
    pub rate: SampleRate,
    /// Outputs that play.
    pub output_channels: Vec<usize>,
    /// Output from which the time marks sound, and only they; absent: from the same as the rest.
    pub marks_output: Option<usize>,
    /// What the inputs hold.
    pub inputs: Inputs,
    /// Peak level; nothing louder is played.
    pub level_dbfs: f64,
}

/// What the inputs hold, counted from 1; it decides what a capture is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Inputs {
    /// Sound pressure.
    Response {
        /// Input with the reply.
        reply_channel: usize,
        /// Input with the loopback, if there is one.
        reference_channel: Option<usize>,
    },
    /// The two taps of the impedance jig.
    Impedance {
        /// Input before the sense resistor.
        drive_channel: usize,
        /// Input behind it, across the load.
        load_channel: usize,
    },
}

impl Inputs {
    /// What a capture of these is made for.
    pub fn kind(self) -> CaptureKind {
        match self {
            Self::Response { .. } => CaptureKind::Response,
            Self::Impedance { .. } => CaptureKind::Impedance,
        }
    }

    /// The inputs that are used with what they are called: the reply first, the drive first.
    pub fn roles(self) -> Vec<(&'static str, usize)> {
        match self {
            Self::Response { reply_channel, reference_channel } => {
                let reference = reference_channel.map(|channel| ("reference", channel));
                std::iter::once(("reply", reply_channel)).chain(reference).collect()
            }
            Self::Impedance { drive_channel, load_channel } => vec![("drive", drive_channel), ("load", load_channel)],
        }
    }
}

/// Whether a level that is loud for most loudspeakers is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Loudness {
    /// No: a level above [`LOUD_DBFS`] is a slip of the finger.
    Usual,
    /// The person said so.
    Meant,
}

/// A level for a first try (ours: 20 dB below full scale is a hundredth of the amplifier's power).
pub const USUAL_DBFS: f64 = -20.0;
/// A level for the impedance of a driver that stays in its small-signal range (ours: of a line output of 5 V at full scale it
/// leaves 0.16 V, which behind 10 Ω move a small woofer by 0.05 mm at its resonance).
pub const USUAL_JIG_DBFS: f64 = -30.0;
/// Above this the person has to say that it is meant (ours: a tenth of the amplifier's power).
pub const LOUD_DBFS: f64 = -10.0;
const USUAL_RATE_HZ: u32 = 48_000;

/// Why no chain follows from what was said.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum ChainError {
    #[error(transparent)]
    Rate(#[from] QuantityError),
    #[error("{channel} is both {one} and {other}, they are two inputs")]
    SameChannel { channel: usize, one: &'static str, other: &'static str },
    #[error("channel 0 was named as {what}, channels count from 1")]
    ChannelZero { what: &'static str },
    #[error("{found_dbfs} dBFS is loud: above {LOUD_DBFS} dBFS ears and drivers are at risk")]
    Loud { found_dbfs: f64 },
    #[error("a level of {found_dbfs} dBFS, full scale is 0 dBFS")]
    OverFullScale { found_dbfs: f64 },
}

impl ChainError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Rate(error) => error.advice(),
            Self::SameChannel { one: "drive", .. } => "give --drive and --load different inputs",
            Self::SameChannel { .. } => {
                "give --reply and --reference different inputs, or --reference none without a loopback"
            }
            Self::ChannelZero { .. } => "count from 1, as the labels on the interface do",
            Self::Loud { .. } => {
                "begin with a lower --level-dbfs, and add --loud when you know that everything bears it"
            }
            Self::OverFullScale { .. } => "give a level below full scale, for example --level-dbfs -20",
        }
    }
}

/// The chain from what the person said (`said`), then the job (`job`), then the defaults.
///
/// A `reference_channel` or `marks_output` of 0 in `said` means that there is none, whatever the job says. Without `output_channels` the
/// signal goes out on channel 1, and on 2 as well where a loopback is used.
///
/// # Errors
/// [`ChainError`] for channels that can't be told apart, a rate out of range, or a level that was not meant.
pub fn chain(said: &JobBench, job: &JobBench, loudness: Loudness) -> Result<Chain, ChainError> {
    let reference_channel = said.reference_channel.or(job.reference_channel).filter(|channel| *channel > 0);
    let reply_channel = said.reply_channel.or(job.reply_channel).unwrap_or(1);
    let usual = Usual {
        outputs: if reference_channel.is_some() { vec![1, 2] } else { vec![1] },
        level_dbfs: job.level_dbfs.unwrap_or(USUAL_DBFS),
    };
    let marks_output = said.marks_output.or(job.marks_output).filter(|output| *output > 0);
    let chain = Chain::new(said, job, Inputs::Response { reply_channel, reference_channel }, usual)?;
    Chain { marks_output, ..chain }.checked(loudness)
}

/// The chain of an impedance jig, likewise: drive on input 1, load on input 2, if nobody says otherwise.
///
/// The job's level is meant for loudspeakers in a room: here it counts only where it is lower than [`USUAL_JIG_DBFS`]. So is its
/// output for the marks, which does not count at all.
///
/// # Errors
/// As [`chain`].
pub fn jig_chain(said: &JobBench, job: &JobBench, loudness: Loudness) -> Result<Chain, ChainError> {
    let inputs = Inputs::Impedance {
        drive_channel: said.drive_channel.or(job.drive_channel).unwrap_or(1),
        load_channel: said.load_channel.or(job.load_channel).unwrap_or(2),
    };
    let level_dbfs = job.level_dbfs.map_or(USUAL_JIG_DBFS, |level_dbfs| level_dbfs.min(USUAL_JIG_DBFS));
    Chain::new(said, job, inputs, Usual { outputs: vec![1], level_dbfs })?.checked(loudness)
}

/// What is taken where nobody says anything.
struct Usual {
    outputs: Vec<usize>,
    level_dbfs: f64,
}

impl Chain {
    fn new(said: &JobBench, job: &JobBench, inputs: Inputs, usual: Usual) -> Result<Self, ChainError> {
        let first = |said: &Option<String>, job: &Option<String>| said.clone().or(job.clone()).unwrap_or_default();
        let outputs = said.output_channels.clone().or_else(|| job.output_channels.clone());
        Ok(Self {
            output: first(&said.output, &job.output),
            input: first(&said.input, &job.input),
            rate: SampleRate::new(said.rate_hz.or(job.rate_hz).unwrap_or(USUAL_RATE_HZ))?,
            output_channels: outputs.unwrap_or(usual.outputs),
            marks_output: None,
            inputs,
            level_dbfs: said.level_dbfs.unwrap_or(usual.level_dbfs),
        })
    }

    fn checked(self, loudness: Loudness) -> Result<Self, ChainError> {
        let roles = self.inputs.roles();
        if let [(one, channel), (other, same)] = roles[..]
            && channel == same
        {
            return Err(ChainError::SameChannel { channel, one, other });
        }
        if let Some((what, _)) = roles.iter().find(|(_, channel)| *channel == 0) {
            return Err(ChainError::ChannelZero { what });
        }
        if self.output_channels.contains(&0) {
            return Err(ChainError::ChannelZero { what: "output" });
        }
        let found_dbfs = self.level_dbfs;
        if found_dbfs > 0.0 {
            return Err(ChainError::OverFullScale { found_dbfs });
        }
        match loudness {
            Loudness::Usual if found_dbfs > LOUD_DBFS => Err(ChainError::Loud { found_dbfs }),
            _ => Ok(self),
        }
    }

    /// The inputs that are used, in the order of [`Inputs::roles`], counted from 1.
    pub fn used_inputs(&self) -> Vec<usize> {
        self.inputs.roles().into_iter().map(|(_, channel)| channel).collect()
    }

    /// Outputs, counted from 0 as the sound card's side does.
    pub fn outputs_from_0(&self) -> Vec<usize> {
        self.output_channels.iter().map(|channel| channel - 1).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_said_wins_over_the_job_and_the_job_over_the_default() {
        let job = JobBench {
            output: Some("job".into()),
            level_dbfs: Some(-33.0),
            reference_channel: Some(2),
            ..JobBench::default()
        };
        let said = JobBench { level_dbfs: Some(-25.0), input: Some("mine".into()), ..JobBench::default() };
        let found = chain(&said, &job, Loudness::Usual).unwrap();
        let expected = Chain {
            output: "job".into(),
            input: "mine".into(),
            rate: SampleRate::new(48_000).unwrap(),
            output_channels: vec![1, 2],
            marks_output: None,
            inputs: Inputs::Response { reply_channel: 1, reference_channel: Some(2) },
            level_dbfs: -25.0,
        };
        assert_eq!(found, expected);
        let said = JobBench { reference_channel: Some(0), ..said };
        let found = chain(&said, &job, Loudness::Usual).unwrap();
        let inputs = Inputs::Response { reply_channel: 1, reference_channel: None };
        assert_eq!((found.inputs, found.output_channels), (inputs, vec![1]));
    }

    #[test]
    fn marks_have_an_output_of_their_own_where_somebody_names_one_and_never_on_a_jig() {
        let at = |marks_output| JobBench { marks_output: Some(marks_output), ..JobBench::default() };
        let none = JobBench::default();
        let found = |said: &JobBench, job: &JobBench| chain(said, job, Loudness::Usual).unwrap().marks_output;
        assert_eq!([found(&none, &none), found(&none, &at(1)), found(&at(3), &at(1))], [None, Some(1), Some(3)]);
        assert_eq!(found(&at(0), &at(1)), None);
        assert_eq!(jig_chain(&none, &at(1), Loudness::Usual).unwrap().marks_output, None);
    }

    #[test]
    fn a_loud_level_has_to_be_meant() {
        let at = |level_dbfs| JobBench { level_dbfs: Some(level_dbfs), ..JobBench::default() };
        let found = |level_dbfs, loudness| chain(&at(level_dbfs), &JobBench::default(), loudness);
        assert!(found(-10.0, Loudness::Usual).is_ok());
        assert!(matches!(found(-9.9, Loudness::Usual), Err(ChainError::Loud { .. })));
        assert!(found(-9.9, Loudness::Meant).is_ok());
        assert!(matches!(found(0.1, Loudness::Meant), Err(ChainError::OverFullScale { .. })));
        // A job can't make it loud unseen either.
        let job = chain(&JobBench::default(), &at(-3.0), Loudness::Usual);
        assert!(matches!(job, Err(ChainError::Loud { .. })));
    }

    #[test]
    fn a_jig_is_driven_quietly_whatever_the_job_plays_in_its_room() {
        let none = JobBench::default();
        let at = |level_dbfs| JobBench { level_dbfs: Some(level_dbfs), ..JobBench::default() };
        let found = |said: &JobBench, job: &JobBench| jig_chain(said, job, Loudness::Usual).unwrap();
        let usual = found(&none, &none);
        assert_eq!(usual.inputs, Inputs::Impedance { drive_channel: 1, load_channel: 2 });
        assert_eq!((usual.level_dbfs, usual.output_channels), (-30.0, vec![1]));
        assert_eq!(found(&none, &at(-14.0)).level_dbfs, -30.0);
        assert_eq!(found(&none, &at(-40.0)).level_dbfs, -40.0);
        assert_eq!(found(&at(-14.0), &none).level_dbfs, -14.0);
        let job = JobBench { drive_channel: Some(4), load_channel: Some(3), ..JobBench::default() };
        assert_eq!(found(&none, &job).used_inputs(), [4, 3]);
        let same = JobBench { load_channel: Some(4), ..job };
        let refused = jig_chain(&none, &same, Loudness::Usual);
        assert!(matches!(refused, Err(ChainError::SameChannel { channel: 4, one: "drive", .. })), "{refused:?}");
    }

    #[test]
    fn channels_that_can_not_be_are_refused() {
        let said = |reply, reference| JobBench {
            reply_channel: Some(reply),
            reference_channel: Some(reference),
            ..JobBench::default()
        };
        let found = |said| chain(&said, &JobBench::default(), Loudness::Usual);
        assert!(matches!(found(said(2, 2)), Err(ChainError::SameChannel { channel: 2, .. })));
        assert!(matches!(found(said(0, 2)), Err(ChainError::ChannelZero { what: "reply" })));
        let outputs = JobBench { output_channels: Some(vec![1, 0]), ..JobBench::default() };
        assert!(matches!(found(outputs), Err(ChainError::ChannelZero { what: "output" })));
    }
}
