//! A take from the calling thread: empties the ring, keeps watch, knows when it is over.
//!
//! The end is a count of recorded frames after the last sample was handed to the output: half a second, and two buffers
//! of each direction on top, which is what can still be on its way.

use super::player::LEAD_S;
use super::setup::Setup;
use super::shared::Shared;
use super::streams::{self, STILL_S};
use crate::audio::meter::Meters;
use crate::audio::{AudioError, Ended, Hear, HearError, Lost, Order, Progress, Side, Take, Tell};
use rtrb::Consumer;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// How long the room may go on sounding before the tail ends, beyond what is in the buffers.
const TAIL_S: f64 = 0.5;
/// The ring is emptied this often.
const NAP: Duration = Duration::from_millis(5);
/// News for a person.
const NEWS_S: f64 = 0.1;
/// Errors without a name are harmless while samples come; alone for this long they mean that the device is gone.
const ONLY_ERRORS_S: f64 = 1.0;
/// Computer clocks and sound cards agree better than this (0.1 %); a larger difference is lost sound.
const CLOCK_RATIO: f64 = 1e-3;

/// Plays and records.
pub(super) fn run(
    order: &Order,
    setups: [Setup; 2],
    stop: &AtomicBool,
    hear: &mut Hear<'_>,
    tell: &mut Tell<'_>,
) -> Result<Take, AudioError> {
    let shared = Arc::new(Shared::default());
    let opened = streams::open(order, setups, &shared)?;
    shared.go.store(true, Ordering::Relaxed);
    let mut watcher = Watcher::new(order, &shared, opened.ring, opened.buffers);
    let ended = watcher.watch(stop, hear, tell);
    let is_closed = opened.streams.close();
    watcher.empty_ring(hear);
    if let Some(refusal) = watcher.refusal {
        return Err(AudioError::NotKept(refusal));
    }
    let mut take = watcher.take(ended);
    if !is_closed {
        take.remarks.push("the sound system did not let go of the device".to_owned());
    }
    Ok(take)
}

struct Watcher<'a> {
    order: &'a Order,
    shared: &'a Shared,
    ring: Consumer<f32>,
    buffers: [usize; 2],
    meters: Meters,
    /// The first samples that came: when, and how many frames.
    first: Option<(Instant, usize)>,
    last: Instant,
    told: Instant,
    /// Frames recorded when the last sample had been handed over.
    over_at: Option<usize>,
    moves: [Motion; 2],
    refusal: Option<HearError>,
}

/// When a stream last moved.
struct Motion {
    calls: u64,
    at: Instant,
}

impl<'a> Watcher<'a> {
    fn new(order: &'a Order, shared: &'a Shared, ring: Consumer<f32>, buffers: [usize; 2]) -> Self {
        let now = Instant::now();
        Self {
            order,
            shared,
            ring,
            buffers,
            meters: Meters::new(order.channels().inputs.len()),
            first: None,
            last: now,
            told: now,
            over_at: None,
            moves: [Motion { calls: 0, at: now }, Motion { calls: 0, at: now }],
            refusal: None,
        }
    }

    fn watch(&mut self, stop: &AtomicBool, hear: &mut Hear<'_>, tell: &mut Tell<'_>) -> Ended {
        loop {
            self.empty_ring(hear);
            if stop.load(Ordering::Relaxed) || self.refusal.is_some() {
                self.shared.stop.store(true, Ordering::Relaxed);
            }
            if let Some(ended) = self.lost().or_else(|| self.over()) {
                return ended;
            }
            if self.told.elapsed().as_secs_f64() > NEWS_S {
                self.told = Instant::now();
                self.tell(tell);
            }
            std::thread::sleep(NAP);
        }
    }

    fn empty_ring(&mut self, hear: &mut Hear<'_>) {
        let Ok(chunk) = self.ring.read_chunk(self.ring.slots()) else { return };
        let channels = self.order.channels().inputs.len();
        if chunk.is_empty() {
            return;
        }
        self.last = Instant::now();
        self.first.get_or_insert((self.last, chunk.len() / channels));
        let (before_seam, after_seam) = chunk.as_slices();
        for samples in [before_seam, after_seam] {
            if self.refusal.is_none() && !samples.is_empty() {
                self.meters.add(samples);
                self.refusal = hear(samples).err();
            }
        }
        chunk.commit_all();
    }

    /// How it shows that a device is gone, if it is.
    fn lost(&mut self) -> Option<Ended> {
        for (motion, side) in self.moves.iter_mut().zip([Side::Output, Side::Input]) {
            let stream = self.shared.stream(side);
            let calls = stream.calls.load(Ordering::Relaxed);
            if calls != motion.calls {
                *motion = Motion { calls, at: Instant::now() };
            }
            let still_s = motion.at.elapsed().as_secs_f64();
            let how = if stream.gone.load(Ordering::Relaxed) {
                Lost::Reported
            } else if stream.replaced.load(Ordering::Relaxed) {
                Lost::Replaced
            } else if still_s > ONLY_ERRORS_S && stream.unexplained.load(Ordering::Relaxed) > 0 {
                Lost::OnlyErrors
            } else if still_s > STILL_S {
                Lost::WentQuiet
            } else {
                continue;
            };
            return Some(Ended::DeviceLost { side, how });
        }
        None
    }

    fn tail_frames(&self) -> usize {
        self.order.rate().frames(TAIL_S) + 2 * (self.buffers[0] + self.buffers[1])
    }

    fn over(&mut self) -> Option<Ended> {
        let frames = self.meters.frames();
        if self.over_at.is_none() && self.shared.handed_over.load(Ordering::Relaxed) {
            self.over_at = Some(frames);
        }
        // A refusal ends as soon as the sound has faded: nobody takes the tail.
        let is_over = self.over_at.is_some_and(|at| self.refusal.is_some() || frames >= at + self.tail_frames());
        let is_stopped = self.shared.stop.load(Ordering::Relaxed);
        is_over.then_some(if is_stopped { Ended::Stopped } else { Ended::Complete })
    }

    fn tell(&mut self, tell: &mut Tell<'_>) {
        let rate = self.order.rate();
        let done_s = rate.seconds(self.meters.frames());
        let total_s = LEAD_S + self.order.duration_s() + rate.seconds(self.tail_frames());
        tell(&Progress { done_s, total_s, channels: &self.meters.news() });
    }

    fn take(&self, ended: Ended) -> Take {
        let rate = self.order.rate();
        let wall_clock_s =
            self.first.map_or(0.0, |(at, frames)| self.last.duration_since(at).as_secs_f64() + rate.seconds(frames));
        let mut take = Take {
            frames: self.meters.frames(),
            wall_clock_s,
            trouble: self.shared.trouble(),
            ended,
            channels: self.meters.whole(),
            remarks: Vec::new(),
        };
        for (facts, input) in take.channels.iter().zip(&self.order.channels().inputs) {
            if facts.is_all_zero() {
                take.remarks.push(format!("input channel {} gave nothing but zeros", input + 1));
            }
        }
        let short = take.frames_short(rate);
        let tolerance = 2.0 * self.buffers[1] as f64 + CLOCK_RATIO * take.frames as f64;
        if short.abs() > tolerance {
            let side = if short > 0.0 { "fewer" } else { "more" };
            take.remarks.push(format!("{:.0} frames {side} came than the computer's clock says", short.abs()));
        }
        take
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::Channels;
    use crate::quantity::SampleRate;
    use rtrb::{Producer, RingBuffer};

    fn order() -> Order {
        let channels = Channels { outputs: vec![0], inputs: vec![0, 1] };
        Order::new(SampleRate::new(1_000).unwrap(), vec![0.5; 100], channels).unwrap()
    }

    /// A watcher over streams with buffers of 50 and 100 frames, and the end of the ring where the recording comes in.
    fn watcher<'a>(order: &'a Order, shared: &'a Shared) -> (Watcher<'a>, Producer<f32>) {
        let (producer, ring) = RingBuffer::new(20_000);
        (Watcher::new(order, shared, ring, [50, 100]), producer)
    }

    fn record(producer: &mut Producer<f32>, frames: usize) {
        (0..2 * frames).for_each(|_| producer.push(0.25).unwrap());
    }

    /// Both streams last moved so long ago.
    fn still(watcher: &mut Watcher<'_>, still_s: f64) {
        let at = Instant::now().checked_sub(Duration::from_secs_f64(still_s)).unwrap();
        watcher.moves.iter_mut().for_each(|motion| motion.at = at);
    }

    #[test]
    fn a_lost_device_is_known_by_report_by_errors_alone_or_by_standstill() {
        let order = order();
        let lost = |still_s: f64, tell: &dyn Fn(&Shared)| {
            let shared = Shared::default();
            let (mut watcher, _producer) = watcher(&order, &shared);
            tell(&shared);
            still(&mut watcher, still_s);
            watcher.lost()
        };
        let because = |side, how| Some(Ended::DeviceLost { side, how });
        assert_eq!(lost(0.9, &|_| {}), None);
        assert_eq!(lost(1.9, &|_| {}), None);
        assert_eq!(lost(2.1, &|_| {}), because(Side::Output, Lost::WentQuiet));
        let complain = |kind| move |shared: &Shared| shared.complain(Side::Input, kind);
        assert_eq!(lost(0.9, &complain(cpal::ErrorKind::BackendError)), None);
        assert_eq!(lost(1.1, &complain(cpal::ErrorKind::BackendError)), because(Side::Input, Lost::OnlyErrors));
        assert_eq!(lost(0.0, &complain(cpal::ErrorKind::DeviceNotAvailable)), because(Side::Input, Lost::Reported));
        assert_eq!(lost(0.0, &complain(cpal::ErrorKind::DeviceChanged)), because(Side::Input, Lost::Replaced));
        // A stream that has just moved is alive, however long the watcher has slept.
        let moved = |shared: &Shared| {
            shared.output.calls.store(1, Ordering::Relaxed);
            shared.input.calls.store(1, Ordering::Relaxed);
        };
        assert_eq!(lost(5.0, &moved), None);
    }

    #[test]
    fn a_take_ends_half_a_second_and_two_buffers_each_way_after_the_last_sample() {
        let (order, shared) = (order(), Shared::default());
        let (mut watcher, mut producer) = watcher(&order, &shared);
        let mut kept = 0;
        let mut hear = |samples: &[f32]| {
            kept += samples.len();
            Ok(())
        };
        record(&mut producer, 700);
        watcher.empty_ring(&mut hear);
        assert_eq!(watcher.over(), None);
        shared.handed_over.store(true, Ordering::Relaxed);
        assert_eq!(watcher.over(), None);
        // 500 + 2·(50 + 100) frames.
        record(&mut producer, 799);
        watcher.empty_ring(&mut hear);
        assert_eq!(watcher.over(), None);
        record(&mut producer, 1);
        watcher.empty_ring(&mut hear);
        assert_eq!(watcher.over(), Some(Ended::Complete));
        shared.stop.store(true, Ordering::Relaxed);
        assert_eq!(watcher.over(), Some(Ended::Stopped));
        assert_eq!((kept, watcher.take(Ended::Complete).frames), (3_000, 1_500));
    }

    #[test]
    fn after_a_refusal_nothing_more_is_handed_over() {
        let (order, shared) = (order(), Shared::default());
        let (mut watcher, mut producer) = watcher(&order, &shared);
        let mut calls = 0;
        let mut hear = |_: &[f32]| {
            calls += 1;
            Err("no room".into())
        };
        for _ in 0..3 {
            record(&mut producer, 10);
            watcher.empty_ring(&mut hear);
        }
        assert_eq!(calls, 1);
        assert_eq!(watcher.refusal.map(|refusal| refusal.to_string()).as_deref(), Some("no room"));
    }

    #[test]
    fn silence_and_missing_time_are_remarked_on() {
        let (order, shared) = (order(), Shared::default());
        let (mut watcher, mut producer) = watcher(&order, &shared);
        (0..2_000).for_each(|at| producer.push(if at % 2 == 0 { 0.0 } else { 0.1 }).unwrap());
        watcher.empty_ring(&mut |_| Ok(()));
        assert_eq!(watcher.take(Ended::Complete).remarks, ["input channel 1 gave nothing but zeros"]);
        // The last samples came 300 ms after the first, and there were no more of them: 300 of 1,300 frames are short.
        watcher.last = watcher.first.unwrap().0 + Duration::from_millis(300);
        let remarks = watcher.take(Ended::Complete).remarks;
        assert!(remarks[1].starts_with("300 frames fewer"), "{remarks:?}");
    }
}
