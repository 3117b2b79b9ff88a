//! The repeats of a sweep, cut out of a recording, compared and averaged.
//!
//! ```text
//! d_k = ⟨(y_k − median(y))²⟩
//! ```
//!
//! y_k: the recording of repeat k, aligned by content. A door or a cough makes one d_k stand out: such a repeat is left
//! out of the mean. Averaging K repeats lowers the noise by 10·log₁₀K dB.
//! Source: J. S. Bendat, A. G. Piersol, "Random Data", chapter 9, for the average; leaving out by distance from the
//! median is ours, because a mean would carry the disturbance into every distance.

use crate::signal::Plan;

/// What every repeat is cut to: frames of a recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cut {
    /// Frames kept before the arrival of the repeat's first frame.
    pub before: usize,
    /// Frames kept from there on.
    pub after: usize,
}

/// The repeats of one channel.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeats {
    /// The whole ones, aligned.
    pub pieces: Vec<Vec<f64>>,
    /// Which of the plan's repeats they are, from 0.
    pub numbers: Vec<usize>,
}

/// Room before the arrival: more than any loudspeaker's bass comes early.
const BEFORE_S: f64 = 0.05;
/// A repeat this much further from the median than its fellows was disturbed.
const DISTURBED_POWER_RATIO: f64 = 4.0;

impl Cut {
    /// As long as the excitation leaves silence after a repeat.
    pub fn of(plan: &Plan, rate_hz: f64, offset_frames: i64, recorded_frames: usize) -> Self {
        let before = (BEFORE_S * rate_hz) as usize;
        let next = |start: usize| {
            let mut sounds = plan.starts.iter().chain(&plan.mark_starts).copied().filter(|&other| other > start);
            sounds.by_ref().min()
        };
        // The shortest pause of all repeats; the last one may go on to the end of the recording.
        let end_of_recording = (recorded_frames as i64 - offset_frames).max(0) as usize;
        let after = plan
            .starts
            .iter()
            .map(|&start| {
                next(start).map_or(end_of_recording, |next| next.saturating_sub(before)).saturating_sub(start)
            })
            .min()
            .unwrap_or(end_of_recording);
        Self { before, after: after.max(plan.frames) }
    }
}

impl Repeats {
    /// The whole repeats of `recorded`, whose excitation lies at `offset_frames`.
    ///
    /// A recording that begins within the room before the first repeat is padded with silence there; one that ends
    /// within a sweep loses that repeat.
    pub fn cut(recorded: &[f64], plan: &Plan, offset_frames: i64, cut: Cut) -> Self {
        let (mut pieces, mut numbers) = (Vec::new(), Vec::new());
        for (number, &start) in plan.starts.iter().enumerate() {
            let first = offset_frames + start as i64;
            let whole = first >= 0 && first + plan.frames as i64 <= recorded.len() as i64;
            if whole {
                let from = first - cut.before as i64;
                let frame = |index: i64| usize::try_from(index).ok().and_then(|i| recorded.get(i)).copied();
                pieces.push((from..first + cut.after as i64).map(|index| frame(index).unwrap_or(0.0)).collect());
                numbers.push(number);
            }
        }
        Self { pieces, numbers }
    }

    /// Takes out the disturbed ones, given as indices into `pieces`.
    pub fn without(mut self, disturbed: &[usize]) -> Self {
        let mut index = 0;
        self.pieces.retain(|_| {
            index += 1;
            !disturbed.contains(&(index - 1))
        });
        index = 0;
        self.numbers.retain(|_| {
            index += 1;
            !disturbed.contains(&(index - 1))
        });
        self
    }

    /// The mean of all.
    pub fn mean(&self) -> Vec<f64> {
        let frames = self.pieces.iter().map(Vec::len).min().unwrap_or(0);
        let scale = 1.0 / self.pieces.len() as f64;
        (0..frames).map(|n| self.pieces.iter().map(|piece| piece[n]).sum::<f64>() * scale).collect()
    }

    /// Indices of the repeats that stand out from the median of at least three.
    pub fn disturbed(&self) -> Vec<usize> {
        if self.pieces.len() < 3 {
            return Vec::new();
        }
        let mut distances = vec![0.0; self.pieces.len()];
        let mut column = vec![0.0; self.pieces.len()];
        for n in 0..self.pieces[0].len() {
            self.pieces.iter().zip(&mut column).for_each(|(piece, value)| *value = piece[n]);
            column.sort_by(f64::total_cmp);
            let median = column[column.len() / 2];
            self.pieces.iter().zip(&mut distances).for_each(|(piece, sum)| *sum += (piece[n] - median).powi(2));
        }
        let mut sorted = distances.clone();
        sorted.sort_by(f64::total_cmp);
        let usual = sorted[sorted.len() / 2];
        let far: Vec<usize> =
            (0..distances.len()).filter(|&k| usual > 0.0 && distances[k] > DISTURBED_POWER_RATIO * usual).collect();
        // When most of them stand out there is no "usual" to measure by.
        if 2 * far.len() < self.pieces.len() { far } else { Vec::new() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::Random;
    use crate::signal::Kind;

    fn plan() -> Plan {
        Plan {
            kind: Kind::Sweep,
            level_dbfs: 0.0,
            band_hz: [20.0, 20_000.0],
            starts: vec![100, 400, 700],
            frames: 200,
            mark_starts: vec![],
            mark_frames: 0,
            sweep: None,
        }
    }

    #[test]
    fn repeats_are_cut_where_they_lie_and_averaged() {
        let recorded: Vec<f64> = (0..1_100).map(|n| f64::from(n % 300)).collect();
        let cut = Cut { before: 10, after: 250 };
        let repeats = Repeats::cut(&recorded, &plan(), 7, cut);
        assert_eq!(repeats.numbers, [0, 1, 2]);
        assert_eq!(repeats.mean()[..3], [97.0, 98.0, 99.0]);
        // Cut short in the third sweep: two are left.
        assert_eq!(Repeats::cut(&recorded[..850], &plan(), 7, cut).numbers, [0, 1]);
        assert_eq!(Repeats::cut(&recorded, &plan(), -150, cut).numbers, [1, 2]);
    }

    #[test]
    fn a_repeat_with_a_cough_in_it_is_found() {
        let mut random = Random::new(4);
        let mut pieces: Vec<Vec<f64>> = (0..4).map(|_| (0..2_000).map(|_| 0.01 * random.normal()).collect()).collect();
        let mut repeats = Repeats { pieces: pieces.clone(), numbers: vec![0, 1, 2, 3] };
        assert!(repeats.disturbed().is_empty());
        pieces[2][500..700].iter_mut().for_each(|x| *x += 0.1 * random.normal());
        repeats.pieces = pieces;
        assert_eq!(repeats.disturbed(), [2]);
        assert_eq!(repeats.without(&[2]).numbers, [0, 1, 3]);
    }
}
