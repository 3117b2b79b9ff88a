//! What the callbacks and the calling thread tell each other, in atomics only.

use crate::audio::{Side, Trouble};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// Told by the calling thread or by a callback, read by the others; no order between the values is relied upon.
#[derive(Default)]
pub(super) struct Shared {
    /// Begin to play (after a silence).
    pub(super) go: AtomicBool,
    /// Fade out.
    pub(super) stop: AtomicBool,
    /// The streams are being closed: complaints don't count.
    pub(super) closing: AtomicBool,
    /// The first sample of the order has been handed to the device.
    pub(super) sounding: AtomicBool,
    /// The last one has, or the fade is over.
    pub(super) handed_over: AtomicBool,
    /// Recorded frames for which there was no room.
    pub(super) frames_dropped: AtomicU64,
    pub(super) output: Stream,
    pub(super) input: Stream,
}

/// What one stream has done.
#[derive(Default)]
pub(super) struct Stream {
    pub(super) calls: AtomicU64,
    pub(super) slips: AtomicU64,
    pub(super) gone: AtomicBool,
    pub(super) replaced: AtomicBool,
    pub(super) unexplained: AtomicU64,
    pub(super) other: AtomicU64,
}

impl Shared {
    pub(super) fn stream(&self, side: Side) -> &Stream {
        match side {
            Side::Output => &self.output,
            Side::Input => &self.input,
        }
    }

    /// Counts a complaint of the sound system; called from its own threads.
    pub(super) fn complain(&self, side: Side, kind: cpal::ErrorKind) {
        use cpal::ErrorKind as Kind;
        if self.closing.load(Ordering::Relaxed) {
            return;
        }
        let stream = self.stream(side);
        match kind {
            // Some systems report one or two while starting; they harm nothing before there is sound.
            Kind::Xrun if !self.sounding.load(Ordering::Relaxed) => {}
            Kind::Xrun => count(&stream.slips),
            Kind::DeviceNotAvailable | Kind::StreamInvalidated => stream.gone.store(true, Ordering::Relaxed),
            Kind::DeviceChanged => stream.replaced.store(true, Ordering::Relaxed),
            Kind::BackendError => count(&stream.unexplained),
            _ => count(&stream.other),
        }
    }

    pub(super) fn trouble(&self) -> Trouble {
        let both = |of: fn(&Stream) -> &AtomicU64| {
            of(&self.input).load(Ordering::Relaxed) + of(&self.output).load(Ordering::Relaxed)
        };
        Trouble {
            input_overruns: self.input.slips.load(Ordering::Relaxed),
            output_underruns: self.output.slips.load(Ordering::Relaxed),
            frames_dropped: self.frames_dropped.load(Ordering::Relaxed),
            unexplained_errors: both(|stream| &stream.unexplained),
            other_errors: both(|stream| &stream.other),
        }
    }
}

fn count(counter: &AtomicU64) {
    counter.fetch_add(1, Ordering::Relaxed);
}

#[cfg(test)]
mod tests {
    use super::*;
    use cpal::ErrorKind;

    #[test]
    fn complaints_count_by_kind_and_side_while_there_is_sound() {
        let shared = Shared::default();
        shared.complain(Side::Input, ErrorKind::Xrun);
        assert_eq!(shared.trouble(), Trouble::default());
        shared.sounding.store(true, Ordering::Relaxed);
        shared.complain(Side::Input, ErrorKind::Xrun);
        shared.complain(Side::Output, ErrorKind::Xrun);
        shared.complain(Side::Output, ErrorKind::Xrun);
        shared.complain(Side::Output, ErrorKind::BackendError);
        shared.complain(Side::Input, ErrorKind::RealtimeDenied);
        let expected = Trouble {
            input_overruns: 1,
            output_underruns: 2,
            frames_dropped: 0,
            unexplained_errors: 1,
            other_errors: 1,
        };
        assert_eq!(shared.trouble(), expected);
        assert!(shared.trouble().is_loss() && !Trouble::default().is_loss());
        shared.closing.store(true, Ordering::Relaxed);
        shared.complain(Side::Output, ErrorKind::DeviceNotAvailable);
        assert!(!shared.output.gone.load(Ordering::Relaxed));
        assert_eq!(shared.trouble(), expected);
    }
}
