//! Which devices, channels, rate and level a run uses: what the person said, else what the job says, else a default.
//!
//! No equation: an order of precedence, and the two rules that protect driver and ears.

use crate::files::JobBench;
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
    /// Input with the reply.
    pub reply_channel: usize,
    /// Input with the loopback, if there is one.
    pub reference_channel: Option<usize>,
    /// Peak level; nothing louder is played.
    pub level_dbfs: f64,
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
/// Above this the person has to say that it is meant (ours: a tenth of the amplifier's power).
pub const LOUD_DBFS: f64 = -10.0;
const USUAL_RATE_HZ: u32 = 48_000;

/// Why no chain follows from what was said.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say what each field is
pub enum ChainError {
    #[error(transparent)]
    Rate(#[from] QuantityError),
    #[error("{channel} is both reply and reference, they are two inputs")]
    SameChannel { channel: usize },
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
/// A `reference_channel` of 0 in `said` means that there is none, whatever the job says. Without `output_channels` the
/// signal goes out on channel 1, and on 2 as well where a loopback is used.
///
/// # Errors
/// [`ChainError`] for channels that can't be told apart, a rate out of range, or a level that was not meant.
pub fn chain(said: &JobBench, job: &JobBench, loudness: Loudness) -> Result<Chain, ChainError> {
    let first = |said: &Option<String>, job: &Option<String>| said.clone().or(job.clone()).unwrap_or_default();
    let reference_channel = said.reference_channel.or(job.reference_channel).filter(|channel| *channel > 0);
    let usual_outputs = || if reference_channel.is_some() { vec![1, 2] } else { vec![1] };
    let chain = Chain {
        output: first(&said.output, &job.output),
        input: first(&said.input, &job.input),
        rate: SampleRate::new(said.rate_hz.or(job.rate_hz).unwrap_or(USUAL_RATE_HZ))?,
        output_channels: said
            .output_channels
            .clone()
            .or_else(|| job.output_channels.clone())
            .unwrap_or_else(usual_outputs),
        reply_channel: said.reply_channel.or(job.reply_channel).unwrap_or(1),
        reference_channel,
        level_dbfs: said.level_dbfs.or(job.level_dbfs).unwrap_or(USUAL_DBFS),
    };
    chain.check(loudness)?;
    Ok(chain)
}

impl Chain {
    fn check(&self, loudness: Loudness) -> Result<(), ChainError> {
        if self.reference_channel == Some(self.reply_channel) {
            return Err(ChainError::SameChannel { channel: self.reply_channel });
        }
        if self.reply_channel == 0 {
            return Err(ChainError::ChannelZero { what: "reply" });
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
            _ => Ok(()),
        }
    }

    /// The inputs that are used, reply first, counted from 1.
    pub fn used_inputs(&self) -> Vec<usize> {
        [Some(self.reply_channel), self.reference_channel].into_iter().flatten().collect()
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
            reply_channel: 1,
            reference_channel: Some(2),
            level_dbfs: -25.0,
        };
        assert_eq!(found, expected);
        let said = JobBench { reference_channel: Some(0), ..said };
        let found = chain(&said, &job, Loudness::Usual).unwrap();
        assert_eq!((found.reference_channel, found.output_channels), (None, vec![1]));
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
    fn channels_that_can_not_be_are_refused() {
        let said = |reply, reference| JobBench {
            reply_channel: Some(reply),
            reference_channel: Some(reference),
            ..JobBench::default()
        };
        let found = |said| chain(&said, &JobBench::default(), Loudness::Usual);
        assert!(matches!(found(said(2, 2)), Err(ChainError::SameChannel { channel: 2 })));
        assert!(matches!(found(said(0, 2)), Err(ChainError::ChannelZero { what: "reply" })));
        let outputs = JobBench { output_channels: Some(vec![1, 0]), ..JobBench::default() };
        assert!(matches!(found(outputs), Err(ChainError::ChannelZero { what: "output" })));
    }
}
