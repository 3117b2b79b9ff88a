//! What the input callback does: picks the kept channels and puts them into the ring.
//!
//! When the ring is full the newest frames are dropped whole and counted, so that channels never change places. Nothing
//! here allocates, locks or prints.

use super::shared::Shared;
use super::stored::Stored;
use crate::audio::Order;
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// A disk that stands still for this long costs nothing yet.
const RING_S: f64 = 10.0;

/// Empties the buffers of the input.
pub(super) struct Ear {
    channels: usize,
    keep: Vec<usize>,
    ring: Producer<f32>,
    shared: Arc<Shared>,
}

impl Ear {
    /// An ear for a stream of so many channels, and the other end of its ring.
    pub(super) fn new(order: &Order, channels: usize, shared: Arc<Shared>) -> (Self, Consumer<f32>) {
        let keep = order.channels().inputs.clone();
        Self::with_room(keep, channels, order.rate().frames(RING_S), shared)
    }

    /// The ring holds whole frames only, so that a frame never lies across its seam.
    fn with_room(keep: Vec<usize>, channels: usize, frames: usize, shared: Arc<Shared>) -> (Self, Consumer<f32>) {
        let (ring, other_end) = RingBuffer::new(frames * keep.len());
        (Self { channels, keep, ring, shared }, other_end)
    }

    /// Takes a buffer of whole frames, whatever its length.
    pub(super) fn hear<T: Stored>(&mut self, buffer: &[T]) {
        self.shared.input.calls.fetch_add(1, Ordering::Relaxed);
        let frames = buffer.len() / self.channels.max(1);
        let room = self.ring.slots() / self.keep.len().max(1);
        let taken = frames.min(room);
        if taken < frames {
            self.shared.frames_dropped.fetch_add((frames - taken) as u64, Ordering::Relaxed);
        }
        if let Ok(chunk) = self.ring.write_chunk_uninit(taken * self.keep.len()) {
            let keep = &self.keep;
            let whole = buffer.chunks_exact(self.channels.max(1));
            chunk.fill_from_iter(
                whole.flat_map(|frame| keep.iter().map(|at| frame.get(*at).map_or(0.0, |value| value.to_unit()))),
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drained(ring: &mut Consumer<f32>) -> Vec<f32> {
        std::iter::from_fn(|| ring.pop().ok()).collect()
    }

    #[test]
    fn the_kept_channels_arrive_in_the_order_asked_for_whatever_the_buffers() {
        let shared = Arc::new(Shared::default());
        let (mut ear, mut ring) = Ear::with_room(vec![2, 0], 3, 5, Arc::clone(&shared));
        let mut all = Vec::new();
        for first in 0..40i16 {
            // Frames of one and two alternately; channel c of frame n holds 100·n + c.
            let frames = 1 + first % 2;
            let buffer: Vec<i16> = (0..frames * 3).map(|at| 100 * (first + at / 3) + at % 3).collect();
            ear.hear(&buffer);
            all.extend(drained(&mut ring).into_iter().map(|value| (value * 32_768.0) as i16));
        }
        let expected: Vec<i16> = (0..40i16)
            .flat_map(|first| (0..1 + first % 2).flat_map(move |more| [100 * (first + more) + 2, 100 * (first + more)]))
            .collect();
        assert_eq!(all, expected);
        assert_eq!(shared.frames_dropped.load(Ordering::Relaxed), 0);
    }

    #[test]
    fn a_full_ring_drops_whole_frames_and_counts_them() {
        let shared = Arc::new(Shared::default());
        let (mut ear, mut ring) = Ear::with_room(vec![0, 1], 2, 3, Arc::clone(&shared));
        ear.hear(&[0.1f32, 0.2, 0.3, 0.4]);
        ear.hear(&[0.5f32, 0.6, 0.7, 0.8, 0.9, 1.0]);
        assert_eq!(drained(&mut ring), [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]);
        assert_eq!(shared.frames_dropped.load(Ordering::Relaxed), 2);
        assert_eq!(shared.input.calls.load(Ordering::Relaxed), 2);
    }
}
