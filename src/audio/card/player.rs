//! What the output callback does: silence, the signal, silence; and a fade when somebody wants quiet.
//!
//! ```text
//! y[n] = x[n]·(1 + cos πk/K)/2       k frames after the stop, K frames of fade
//! ```
//!
//! x: the order's samples; those of marks apart go to their own output. Nothing here allocates, locks or prints.

use super::shared::Shared;
use super::stored::Stored;
use crate::audio::{FADE_OUT_S, Order};
use crate::signal::fall;
use std::ops::Range;
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// Silence after the word to go, so that everything has settled and the recording shows its noise.
pub(super) const LEAD_S: f64 = 0.5;

/// Fills the buffers of the output.
#[derive(Clone)]
pub(super) struct Player {
    samples: Vec<f64>,
    peak: f64,
    lead: usize,
    at: usize,
    fade: usize,
    faded: Option<usize>,
    /// Which channels play the samples …
    on: Vec<bool>,
    /// … and which those of the marks.
    marks_on: Vec<bool>,
    marks: Vec<Range<usize>>,
    shared: Arc<Shared>,
}

impl Player {
    /// A player for a stream of so many channels.
    pub(super) fn new(order: &Order, channels: usize, shared: Arc<Shared>) -> Self {
        let rate = order.rate();
        let on: Vec<bool> = (0..channels).map(|channel| order.channels().outputs.contains(&channel)).collect();
        let (marks, marks_on) = match order.marks_apart() {
            Some(marks) => (marks.spans.clone(), (0..channels).map(|channel| channel == marks.output).collect()),
            None => (Vec::new(), on.clone()),
        };
        Self {
            samples: order.play().to_vec(),
            peak: order.peak(),
            lead: rate.frames(LEAD_S),
            at: 0,
            fade: rate.frames(FADE_OUT_S).max(1),
            faded: None,
            on,
            marks_on,
            marks,
            shared,
        }
    }

    /// Fills a buffer of whole frames, whatever its length.
    pub(super) fn fill<T: Stored>(&mut self, buffer: &mut [T]) {
        self.shared.output.calls.fetch_add(1, Ordering::Relaxed);
        let is_going = self.shared.go.load(Ordering::Relaxed);
        if self.faded.is_none() && self.shared.stop.load(Ordering::Relaxed) {
            self.faded = Some(0);
        }
        for frame in buffer.chunks_mut(self.on.len().max(1)) {
            let is_mark = self.marks.iter().any(|span| span.contains(&self.at));
            let sample = if is_going { self.next() } else { 0.0 };
            let on = if is_mark { &self.marks_on } else { &self.on };
            for (value, is_on) in frame.iter_mut().zip(on) {
                *value = T::from_unit(if *is_on { sample } else { 0.0 });
            }
        }
        if self.is_over() {
            self.shared.handed_over.store(true, Ordering::Relaxed);
        }
    }

    fn next(&mut self) -> f64 {
        if self.is_over() {
            return 0.0;
        }
        let gain = match &mut self.faded {
            Some(frames) => {
                *frames += 1;
                fall(*frames as f64 / self.fade as f64)
            }
            None => 1.0,
        };
        if self.lead > 0 {
            self.lead -= 1;
            return 0.0;
        }
        if self.at == 0 {
            self.shared.sounding.store(true, Ordering::Relaxed);
        }
        let sample = self.samples[self.at] * gain;
        self.at += 1;
        sample.clamp(-self.peak, self.peak)
    }

    fn is_over(&self) -> bool {
        self.at >= self.samples.len() || self.faded.is_some_and(|frames| frames >= self.fade)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::{Channels, MarksApart};
    use crate::quantity::SampleRate;

    /// 1 kHz rate: the lead is 500 frames, the fade 30.
    fn player(play: Vec<f64>, outputs: &[usize], channels: usize) -> (Player, Arc<Shared>) {
        let shared = Arc::new(Shared::default());
        let kept = Channels { outputs: outputs.to_vec(), inputs: vec![0] };
        let order = Order::new(SampleRate::new(1_000).unwrap(), play, kept).unwrap();
        (Player::new(&order, channels, Arc::clone(&shared)), shared)
    }

    /// What a device gets that asks for buffers of these many frames.
    fn played(player: &mut Player, channels: usize, buffers: &[usize]) -> Vec<f32> {
        let mut all = Vec::new();
        for frames in buffers {
            let mut buffer = vec![9.0f32; frames * channels];
            player.fill(&mut buffer);
            all.extend(buffer);
        }
        all
    }

    #[test]
    fn nothing_sounds_before_the_word_to_go() {
        let (mut player, shared) = player(vec![0.5; 10], &[0], 1);
        assert_eq!(played(&mut player, 1, &[1_000]), vec![0.0; 1_000]);
        assert!(!shared.sounding.load(Ordering::Relaxed) && !shared.handed_over.load(Ordering::Relaxed));
        assert_eq!(shared.output.calls.load(Ordering::Relaxed), 1);
    }

    #[test]
    fn the_signal_is_whole_on_the_wanted_channels_whatever_the_buffers() {
        let ramp: Vec<f64> = (1..=20).map(|at| f64::from(at) / 32.0).collect();
        let (mut player, shared) = player(ramp.clone(), &[2, 0], 3);
        shared.go.store(true, Ordering::Relaxed);
        let all = played(&mut player, 3, &[333, 166, 1, 0, 7, 1, 5, 30]);
        for (frame, values) in all.chunks(3).enumerate() {
            let expected = frame.checked_sub(500).and_then(|at| ramp.get(at)).map_or(0.0, |sample| *sample as f32);
            assert_eq!(values, [expected, 0.0, expected], "frame {frame}");
        }
        assert!(shared.handed_over.load(Ordering::Relaxed));
    }

    #[test]
    fn marks_apart_go_to_their_channel_alone_whatever_the_buffers() {
        let ramp: Vec<f64> = (1..=20).map(|at| f64::from(at) / 32.0).collect();
        let channels = Channels { outputs: vec![0, 2], inputs: vec![0] };
        let marks = MarksApart { output: 1, spans: vec![0..3, 18..20] };
        let order = Order::new(SampleRate::new(1_000).unwrap(), ramp, channels).unwrap().with_marks_apart(marks);
        let shared = Arc::new(Shared::default());
        let mut player = Player::new(&order, 3, Arc::clone(&shared));
        shared.go.store(true, Ordering::Relaxed);
        let all = played(&mut player, 3, &[499, 2, 1, 17, 30]);
        for (frame, values) in all.chunks(3).enumerate() {
            let expected = [0, 1, 2].map(|channel| {
                let at = frame.checked_sub(500);
                at.and_then(|at| order.signal_on(channel).get(at).copied()).map_or(0.0, |sample| sample as f32)
            });
            assert_eq!(values, expected, "frame {frame}");
        }
        assert!(all[500 * 3 + 1] > 0.0 && all[503 * 3] > 0.0);
    }

    #[test]
    fn a_stop_fades_along_half_a_cosine_within_its_time_and_stays_silent() {
        let (mut player, shared) = player(vec![-0.5; 400], &[0], 1);
        shared.go.store(true, Ordering::Relaxed);
        played(&mut player, 1, &[600]);
        shared.stop.store(true, Ordering::Relaxed);
        let after = played(&mut player, 1, &[10, 50]);
        for (at, value) in after.iter().enumerate() {
            let ratio = ((at + 1) as f64 / 30.0).min(1.0);
            let expected = -0.25 * (1.0 + (std::f64::consts::PI * ratio).cos());
            // 1e-7: rounding to a float of this size.
            assert!((f64::from(*value) - expected).abs() < 1e-7, "{at}: {value} {expected}");
        }
        assert!(shared.handed_over.load(Ordering::Relaxed));
        assert_eq!(played(&mut player, 1, &[500]), vec![0.0; 500]);
    }

    #[test]
    fn a_stop_during_the_lead_never_lets_the_signal_out() {
        let (mut player, shared) = player(vec![0.5; 400], &[0], 1);
        shared.go.store(true, Ordering::Relaxed);
        shared.stop.store(true, Ordering::Relaxed);
        assert_eq!(played(&mut player, 1, &[100, 1_000]), vec![0.0; 1_100]);
        assert!(shared.handed_over.load(Ordering::Relaxed) && !shared.sounding.load(Ordering::Relaxed));
    }
}
