//! The two streams, opened and closed on a thread of their own.
//!
//! A sound server that hangs blocks whoever asks it for a stream or closes one; here only that thread waits, and the
//! caller gives up after a while. The input is started first and the output once the input has moved.

use super::ear::Ear;
use super::host;
use super::player::Player;
use super::setup::Setup;
use super::shared::Shared;
use super::stored::Stored;
use crate::audio::{AudioError, Order, Side};
use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{BufferSize, I24, SampleFormat, SizedSample};
use rtrb::Consumer;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{self, Receiver, Sender};
use std::time::{Duration, Instant};

/// A device that plays nothing and records nothing for this long will not begin to.
pub(super) const STILL_S: f64 = 2.0;
/// Opening takes milliseconds on a healthy machine.
const OPENING_S: f64 = 5.0;
const CLOSING_S: f64 = 3.0;
/// How often a stream looks whether its device is still there when nothing comes.
const LOOK: Duration = Duration::from_millis(500);

/// Two streams that are running.
pub(super) struct Streams {
    hang_up: Option<Sender<()>>,
    closed: Receiver<()>,
    shared: Arc<Shared>,
}

/// What comes with them.
pub(super) struct Opened {
    pub(super) streams: Streams,
    pub(super) ring: Consumer<f32>,
    /// Frames of an output buffer and of an input buffer.
    pub(super) buffers: [usize; 2],
}

type Built = Result<(cpal::Stream, cpal::Stream, Consumer<f32>, [usize; 2]), AudioError>;

/// Opens and starts both streams.
pub(super) fn open(order: &Order, setups: [Setup; 2], shared: &Arc<Shared>) -> Result<Opened, AudioError> {
    let (answer, wait) = mpsc::channel();
    let (hang_up, hung_up) = mpsc::channel::<()>();
    let (done, closed) = mpsc::channel();
    let (its_order, its_shared) = (order.clone(), Arc::clone(shared));
    let keeper = move || {
        let _quiet = host::quiet();
        match build(&its_order, &setups, &its_shared) {
            Err(error) => drop(answer.send(Err(error))),
            Ok((output, input, ring, buffers)) => {
                if answer.send(Ok((ring, buffers))).is_ok() {
                    // Returns when the other end is dropped.
                    let _ = hung_up.recv();
                }
                its_shared.closing.store(true, Ordering::Relaxed);
                drop(output);
                drop(input);
            }
        }
        let _ = done.send(());
    };
    let doing = "opening a device";
    std::thread::Builder::new()
        .name("sound streams".to_owned())
        .spawn(keeper)
        .map_err(|error| AudioError::NoSoundSystem { says: error.to_string() })?;
    let waited_s = OPENING_S + STILL_S;
    let (ring, buffers) = wait
        .recv_timeout(Duration::from_secs_f64(waited_s))
        .map_err(|_| AudioError::NoAnswer { doing, waited_s })??;
    let streams = Streams { hang_up: Some(hang_up), closed, shared: Arc::clone(shared) };
    Ok(Opened { streams, ring, buffers })
}

impl Streams {
    /// Closes both; false when the sound system did not let go in time and was left to itself.
    pub(super) fn close(mut self) -> bool {
        self.shared.closing.store(true, Ordering::Relaxed);
        self.hang_up = None;
        self.closed.recv_timeout(Duration::from_secs_f64(CLOSING_S)).is_ok()
    }
}

fn build(order: &Order, [output, input]: &[Setup; 2], shared: &Arc<Shared>) -> Built {
    let (input_stream, ring) = with_buffer(input, |input| input_stream(order, input, shared))?;
    let (output_stream, ()) = with_buffer(output, |output| output_stream(order, output, shared))?;
    let refused = |setup: &Setup| {
        let (device, side) = (setup.name.clone(), setup.side);
        move |error: cpal::Error| AudioError::NotOpened { device, side, says: error.to_string() }
    };
    input_stream.play().map_err(refused(input))?;
    let began = Instant::now();
    while shared.input.calls.load(Ordering::Relaxed) == 0 {
        if began.elapsed().as_secs_f64() > STILL_S {
            return Err(AudioError::NeverStarted { device: input.name.clone(), side: Side::Input, waited_s: STILL_S });
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    output_stream.play().map_err(refused(output))?;
    let frames = |stream: &cpal::Stream, setup: &Setup| match (stream.buffer_size(), setup.config.buffer_size) {
        (Ok(frames), _) | (Err(_), BufferSize::Fixed(frames)) => frames as usize,
        _ => order.rate().frames(0.2),
    };
    let buffers = [frames(&output_stream, output), frames(&input_stream, input)];
    Ok((output_stream, input_stream, ring, buffers))
}

/// Opens with the wanted buffer, or with the device's own choice where it refuses that.
fn with_buffer<T>(
    setup: &Setup,
    open: impl Fn(&Setup) -> Result<(cpal::Stream, T), cpal::Error>,
) -> Result<(cpal::Stream, T), AudioError> {
    let mut its_choice = setup.clone();
    its_choice.config.buffer_size = BufferSize::Default;
    open(setup)
        .or_else(|first| match first.kind() {
            cpal::ErrorKind::UnsupportedConfig | cpal::ErrorKind::InvalidInput => open(&its_choice),
            _ => Err(first),
        })
        .map_err(|error| AudioError::NotOpened {
            device: setup.name.clone(),
            side: setup.side,
            says: error.to_string(),
        })
}

fn output_stream(order: &Order, setup: &Setup, shared: &Arc<Shared>) -> Result<(cpal::Stream, ()), cpal::Error> {
    fn typed<T: Stored + SizedSample>(
        order: &Order,
        setup: &Setup,
        shared: &Arc<Shared>,
    ) -> Result<cpal::Stream, cpal::Error> {
        let mut player = Player::new(order, usize::from(setup.config.channels), Arc::clone(shared));
        let errors = Arc::clone(shared);
        let complain = move |error: cpal::Error| errors.complain(Side::Output, error.kind());
        let fill = move |buffer: &mut [T], _: &cpal::OutputCallbackInfo| player.fill(buffer);
        setup.device.build_output_stream(setup.config, fill, complain, Some(LOOK))
    }
    let stream = match setup.format {
        SampleFormat::F32 => typed::<f32>(order, setup, shared),
        SampleFormat::I32 => typed::<i32>(order, setup, shared),
        SampleFormat::I24 => typed::<I24>(order, setup, shared),
        _ => typed::<i16>(order, setup, shared),
    }?;
    Ok((stream, ()))
}

fn input_stream(
    order: &Order,
    setup: &Setup,
    shared: &Arc<Shared>,
) -> Result<(cpal::Stream, Consumer<f32>), cpal::Error> {
    fn typed<T: Stored + SizedSample>(
        setup: &Setup,
        mut ear: Ear,
        shared: &Arc<Shared>,
    ) -> Result<cpal::Stream, cpal::Error> {
        let errors = Arc::clone(shared);
        let complain = move |error: cpal::Error| errors.complain(Side::Input, error.kind());
        let hear = move |buffer: &[T], _: &cpal::InputCallbackInfo| ear.hear(buffer);
        setup.device.build_input_stream(setup.config, hear, complain, Some(LOOK))
    }
    let (ear, ring) = Ear::new(order, usize::from(setup.config.channels), Arc::clone(shared));
    let stream = match setup.format {
        SampleFormat::F32 => typed::<f32>(setup, ear, shared),
        SampleFormat::I32 => typed::<i32>(setup, ear, shared),
        SampleFormat::I24 => typed::<I24>(setup, ear, shared),
        _ => typed::<i16>(setup, ear, shared),
    }?;
    Ok((stream, ring))
}
