//! What can be said of a capture before anybody analyses it.
//!
//! No equation: what the sound card's side counted, put into words. What only the content can tell belongs to the analysis.

use super::chain::Chain;
use crate::audio::{ChannelFacts, Ended, Take};
use crate::quantity::{Code, Finding, Severity, Whereabouts};

/// A sample this near to full scale was most likely cut off there (0.001 dB, a few steps of 16 bits).
const FULL: f64 = 0.9999;

/// What was noticed while this take was made.
pub(super) fn findings(take: &Take, chain: &Chain) -> Vec<Finding> {
    let mut found = Vec::new();
    found.extend(ending(take));
    found.extend(loss(take));
    for channel in chain.used_inputs() {
        found.extend(take.channels.get(channel - 1).and_then(|facts| about_channel(channel, facts)));
    }
    // That a channel is silent has been said of those that matter.
    let others = take.remarks.iter().filter(|remark| !remark.contains("nothing but zeros"));
    found.extend(others.map(|remark| about_remark(remark)));
    found
}

fn ending(take: &Take) -> Option<Finding> {
    let (says, advice) = match take.ended {
        Ended::Complete => return None,
        Ended::Stopped => ("the capture was stopped before its end".to_owned(), "take it again for a whole one"),
        Ended::DeviceLost { side, .. } => {
            (format!("the {side} device went away during the capture"), "check cables and power, then take it again")
        }
    };
    Some(Finding::new(Code::Truncated, Severity::Fault, says, advice))
}

fn loss(take: &Take) -> Option<Finding> {
    let trouble = take.trouble;
    let says = format!(
        "samples were lost: input too late {} times, output too late {} times, {} frames dropped before the disk",
        trouble.input_overruns, trouble.output_underruns, trouble.frames_dropped
    );
    let advice = "take it again with fewer programs running";
    trouble.is_loss().then(|| Finding::new(Code::Dropout, Severity::Fault, says, advice))
}

fn about_channel(channel: usize, facts: &ChannelFacts) -> Option<Finding> {
    let (code, says, advice) = if facts.is_all_zero() {
        let advice = "check the cable, the input's switch and whether the program may use the microphone";
        (Code::TooQuiet, format!("input channel {channel} gave nothing but zeros"), advice)
    } else if facts.meter.peak >= FULL {
        let advice = "turn the input's gain down or lower --level-dbfs, then take it again";
        (Code::Clipped, format!("input channel {channel} reached full scale"), advice)
    } else {
        return None;
    };
    let at = Whereabouts { channel: Some(channel), ..Whereabouts::default() };
    Some(Finding { at, ..Finding::new(code, Severity::Fault, says, advice) })
}

fn about_remark(remark: &str) -> Finding {
    if remark.contains("resample") {
        let advice = "choose the hardware's own entry in `boxwright devices` if there is one";
        return Finding::new(Code::Processed, Severity::Caution, remark.to_owned(), advice);
    }
    Finding::new(Code::Dropout, Severity::Caution, remark.to_owned(), "take it again if the analysis finds a break")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::{Lost, Meter, Side, Trouble};
    use crate::files::JobBench;
    use crate::job::{Loudness, chain};

    fn take(peaks: [f64; 2]) -> Take {
        let facts = |peak| ChannelFacts { meter: Meter { peak, rms: 0.5 * peak }, ..ChannelFacts::default() };
        Take {
            frames: 10,
            wall_clock_s: 1.0,
            trouble: Trouble::default(),
            ended: Ended::Complete,
            channels: peaks.map(facts).to_vec(),
            remarks: Vec::new(),
        }
    }

    fn codes(take: &Take) -> Vec<(Code, Severity)> {
        let chain = chain(&JobBench::default(), &JobBench::default(), Loudness::Usual).unwrap();
        findings(take, &chain).iter().map(|finding| (finding.code, finding.severity)).collect()
    }

    #[test]
    fn a_good_take_has_no_findings_and_each_fault_has_its_own() {
        assert_eq!(codes(&take([0.5, 0.0])), [], "a channel that is not used may be silent");
        assert_eq!(codes(&take([0.0, 0.5])), [(Code::TooQuiet, Severity::Fault)]);
        assert_eq!(codes(&take([1.0, 0.5])), [(Code::Clipped, Severity::Fault)]);
        let lost = Ended::DeviceLost { side: Side::Input, how: Lost::Reported };
        assert_eq!(codes(&Take { ended: lost, ..take([0.5; 2]) }), [(Code::Truncated, Severity::Fault)]);
        let trouble = Trouble { output_underruns: 1, ..Trouble::default() };
        assert_eq!(codes(&Take { trouble, ..take([0.5; 2]) }), [(Code::Dropout, Severity::Fault)]);
        let remarks = vec![
            "300 frames fewer came than the computer's clock says".to_owned(),
            "the input x is a part of the sound system, which may resample without saying so".to_owned(),
        ];
        let expected = [(Code::Dropout, Severity::Caution), (Code::Processed, Severity::Caution)];
        assert_eq!(codes(&Take { remarks, ..take([0.5; 2]) }), expected);
    }
}
