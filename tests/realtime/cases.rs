//! The cases; each says what it measured, or what was wrong.

use super::content::{SECOND_GAIN, best_delay, convolved, noise, place, response};
use boxwright::audio::{
    AudioError, Channels, Ended, LevelSettings, Lost, Order, Proposal, Side, SoundCard, Take, devices, measure_level,
    open,
};
use boxwright::quantity::SampleRate;
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

const RATE_HZ: u32 = 48_000;
const CARD: &str = "alsa:virtual";

fn rate() -> Result<SampleRate, String> {
    SampleRate::new(RATE_HZ).map_err(|error| error.to_string())
}

fn says(error: AudioError) -> String {
    format!("{error}; {}", error.advice())
}

fn order(play: &[f64]) -> Result<Order, String> {
    let channels = Channels { outputs: vec![0, 1], inputs: vec![0, 1] };
    Order::new(rate()?, play.to_vec(), channels).map_err(says)
}

/// A take whose news are followed: both channels, the take, and whether `act` had its moment.
fn take(play: &[f64], mut act: impl FnMut(f64, &AtomicBool)) -> Result<([Vec<f32>; 2], Take), String> {
    let mut card = open(CARD, CARD).map_err(says)?;
    let stop = AtomicBool::new(false);
    let mut heard = [Vec::new(), Vec::new()];
    let mut hear = |frames: &[f32]| {
        for frame in frames.chunks_exact(2) {
            heard[0].push(frame[0]);
            heard[1].push(frame[1]);
        }
        Ok(())
    };
    let take = card.take(&order(play)?, &stop, &mut hear, &mut |news| act(news.done_s, &stop)).map_err(says)?;
    if heard[0].len() != take.frames {
        return Err(format!("{} frames were handed over, the take says {}", heard[0].len(), take.frames));
    }
    Ok((heard, take))
}

/// Every sample of every take is compared with what was played. The tolerance is zero: the plain path is float from
/// end to end, at a volume of 1.
pub fn whole(takes: &str) -> Result<String, String> {
    let takes: u64 = takes.parse().map_err(|_| "how many takes?".to_owned())?;
    let mut whole = 0;
    let mut bad = Vec::new();
    let mut offsets = Vec::new();
    for seed in 1..=takes {
        let played = noise(4 * RATE_HZ as usize, seed);
        let (heard, take) = take(&played, |_, _| {})?;
        match compared(&heard, &played) {
            Ok(at) if take.ended == Ended::Complete && !take.trouble.is_loss() && take.remarks.is_empty() => {
                whole += 1;
                offsets.push(at);
            }
            Ok(_) => bad.push(format!("take {seed}: whole, but {take:?}")),
            Err(found) => bad.push(format!("take {seed}: {found}; {:?} {:?}", take.ended, take.trouble)),
        }
    }
    let [least, most] = [offsets.iter().min(), offsets.iter().max()].map(|at| at.copied().unwrap_or(0));
    let text = format!("{whole} of {takes} takes exact in every sample of both channels (start at {least} to {most})");
    if bad.is_empty() { Ok(text) } else { Err(format!("{text}; {}", bad.join("; "))) }
}

fn compared(heard: &[Vec<f32>; 2], played: &[f64]) -> Result<usize, String> {
    let at = place(&heard[0], played, 0.0).ok_or("the signal is not in the recording")?;
    for (channel, heard) in heard.iter().enumerate() {
        let same = |(heard, played): &(&f32, &f64)| f64::from(**heard) == **played;
        let frames = heard[at..].iter().zip(played);
        if frames.len() < played.len() {
            return Err(format!("channel {channel}: {} frames of {} are there", frames.len(), played.len()));
        }
        let right = frames.clone().filter(same).count();
        if right < played.len() {
            let first = frames.clone().position(|pair| !same(&pair)).unwrap_or(0);
            return Err(format!(
                "channel {channel}: {} of {} differ, from {first} on",
                played.len() - right,
                played.len()
            ));
        }
        let outside = heard[..at].iter().chain(&heard[at + played.len()..]).filter(|sample| **sample != 0.0).count();
        if outside > 0 {
            return Err(format!("channel {channel}: {outside} samples outside the signal are not silent"));
        }
    }
    Ok(at)
}

/// With a response in the path, the first input is the convolution of signal and response, and the second one what was
/// played.
pub fn speaker() -> Result<String, String> {
    let played = noise(RATE_HZ as usize, 5);
    let filtered = convolved(&played, &response());
    against(&played, [&filtered, &played])
}

/// With two responses in the path, both inputs are convolutions of the same output.
pub fn jig() -> Result<String, String> {
    let played = noise(RATE_HZ as usize, 5);
    let first = convolved(&played, &response());
    let second: Vec<f64> = first.iter().map(|sample| SECOND_GAIN * sample).collect();
    against(&played, [&first, &second])
}

fn against(played: &[f64], expected: [&[f64]; 2]) -> Result<String, String> {
    let (heard, take) = take(played, |_, _| {})?;
    let at = best_delay(&heard[0], expected[0], heard[0].len().saturating_sub(expected[0].len()));
    let power = |samples: &mut dyn Iterator<Item = f64>| samples.map(|sample| sample * sample).sum::<f64>();
    let rest_db = |channel: usize| {
        let pairs = heard[channel][at..].iter().zip(expected[channel]);
        let rest = power(&mut pairs.map(|(heard, expected)| f64::from(*heard) - expected));
        // Never better than 32-bit floats are: keeps an exact channel finite.
        10.0 * (rest / power(&mut expected[channel].iter().copied())).max(1e-18).log10()
    };
    let [first_db, second_db] = [rest_db(0), rest_db(1)];
    let text =
        format!("inputs differ from what they should be by {first_db:.1} and {second_db:.1} dB; {:?}", take.ended);
    // −100 dB is 0.0001 dB of level at the strongest frequencies: the convolver works in 32-bit floats.
    if first_db.max(second_db) < -100.0 && take.ended == Ended::Complete { Ok(text) } else { Err(text) }
}

/// A card that gives no sign of life from the start is an error after a bounded time.
pub fn dead() -> Result<String, String> {
    let rate = rate()?;
    let began = Instant::now();
    let taken = open(CARD, CARD).and_then(|mut card| {
        let channels = Channels { outputs: vec![0], inputs: vec![0] };
        let order = Order::new(rate, vec![0.0; 10], channels)?;
        card.take(&order, &AtomicBool::new(false), &mut |_| Ok(()), &mut |_| {})
    });
    let after_s = began.elapsed().as_secs_f64();
    match taken {
        Err(error @ (AudioError::NeverStarted { .. } | AudioError::NoAnswer { .. })) if after_s < 18.0 => {
            Ok(format!("{error}, after {after_s:.2} s"))
        }
        other => Err(format!("{other:?} after {after_s:.2} s")),
    }
}

/// A stop fades along the raised cosine within 50 ms, and nothing follows.
pub fn stop() -> Result<String, String> {
    let played = noise(20 * RATE_HZ as usize, 6);
    let mut asked_at = None;
    let (heard, take) = take(&played, |done_s, stop| {
        if done_s > 3.0 && asked_at.is_none() {
            asked_at = Some((done_s, Instant::now()));
            stop.store(true, Ordering::Relaxed);
        }
    })?;
    let (asked_s, asked) = asked_at.ok_or("the take was over before the stop")?;
    let returned_s = asked.elapsed().as_secs_f64();
    let heard = &heard[0];
    let at = place(heard, &played, 0.0).ok_or("the signal is not in the recording")?;
    let is_full = |frame: &usize| f64::from(heard[at + frame]) == played[*frame];
    let full = (0..heard.len() - at).take_while(is_full).count();
    let last = heard.iter().rposition(|sample| *sample != 0.0).unwrap_or(0) - at;
    let fade_ms = 1e3 * (last - full) as f64 / f64::from(RATE_HZ);
    let louder = (0..=last).any(|frame| f64::from(heard[at + frame].abs()) > played[frame].abs());
    // Largest step of the gain from one frame to the next, where the signal is large enough to tell it.
    let gain = |frame: usize| f64::from(heard[at + frame]) / played[frame];
    let frames: Vec<usize> = (full..last).filter(|frame| played[*frame].abs() > 0.03).collect();
    let step = frames.windows(2).map(|pair| (gain(pair[1]) - gain(pair[0])).abs() / (pair[1] - pair[0]) as f64);
    let steepest = step.fold(0.0, f64::max);
    let later_ms = 1e3 * ((at + full) as f64 / f64::from(RATE_HZ) - asked_s);
    let text = format!(
        "faded in {fade_ms:.1} ms, steepest step {steepest:.5} a frame; the fade began at most {later_ms:.0} ms after the \
         request, the take returned {returned_s:.2} s after it; {:?}",
        take.ended
    );
    // The steepest slope of a raised cosine of K = 1,440 frames is π/2K = 0.00109 a frame.
    let good = (25.0..=50.0).contains(&fade_ms) && steepest < 0.0012 && !louder && take.ended == Ended::Stopped;
    if good && returned_s < 3.0 { Ok(text) } else { Err(text) }
}

/// A card that goes away in the middle ends the take within 3 s, and what was recorded is there and right.
pub fn lost(script: &str, how: &str) -> Result<String, String> {
    let played = noise(20 * RATE_HZ as usize, 7);
    let mut went = None;
    let (heard, take) = take(&played, |done_s, _| {
        if done_s > 3.0 && went.is_none() {
            let began = Instant::now();
            went = Some((Command::new(script).arg(how).status(), began));
        }
    })?;
    let (done, went) = went.ok_or("the take was over before the card went")?;
    let ended_s = went.elapsed().as_secs_f64();
    if !done.is_ok_and(|status| status.success()) {
        return Err(format!("{script} {how} did not work"));
    }
    let at = place(&heard[0], &played, 0.0).ok_or("the signal is not in the recording")?;
    let right = heard[0][at..].iter().zip(&played).take_while(|(heard, played)| f64::from(**heard) == **played).count();
    let kept_s = right as f64 / f64::from(RATE_HZ);
    let text = format!(
        "{how}: ended {ended_s:.2} s after the command was given, {kept_s:.2} s of the signal kept exactly; {:?}",
        take.ended
    );
    let is_right = matches!((how, take.ended), (_, Ended::DeviceLost { how: Lost::WentQuiet, .. }))
        || (how == "unplug" && matches!(take.ended, Ended::DeviceLost { .. }));
    if is_right && ended_s < 3.0 && kept_s > 1.5 { Ok(text) } else { Err(text) }
}

/// A program that stands still for a second: whether or not sound is lost by it (this server waits), the take says that
/// a second is missing by the clock.
pub fn stall() -> Result<String, String> {
    let played = noise(6 * RATE_HZ as usize, 8);
    let mut stalled = None;
    let (heard, take) = take(&played, |done_s, _| {
        if done_s > 3.0 && stalled.is_none() {
            let script = format!("kill -STOP {0}; sleep 1; kill -CONT {0}", std::process::id());
            stalled = Some(Command::new("sh").args(["-c", &script]).spawn());
        }
    })?;
    let mut child = stalled.ok_or("the take was over before the stall")?.map_err(|error| error.to_string())?;
    child.wait().map_err(|error| error.to_string())?;
    let short_s = take.frames_short(rate()?) / f64::from(RATE_HZ);
    let content = if compared(&heard, &played).is_ok() { "whole" } else { "cut" };
    let text = format!("{short_s:.3} s short by the clock, content {content}; {:?}, {:?}", take.trouble, take.remarks);
    // One buffer of the input is 0.17 s; the second is cut short or drawn out by at most that.
    let is_told = take.remarks.iter().any(|remark| remark.contains("fewer"));
    if is_told && (0.8..1.2).contains(&short_s) { Ok(text) } else { Err(text) }
}

/// When the recording can't be kept, the sound stops and the reason comes back.
pub fn full_disk() -> Result<String, String> {
    let mut card = open(CARD, CARD).map_err(says)?;
    let began = Instant::now();
    let mut hear = |_: &[f32]| match began.elapsed().as_secs_f64() {
        ..2.0 => Ok(()),
        _ => Err("no room left".into()),
    };
    let order = order(&noise(20 * RATE_HZ as usize, 9))?;
    let taken = card.take(&order, &AtomicBool::new(false), &mut hear, &mut |_| {});
    let after_s = began.elapsed().as_secs_f64();
    match taken {
        Err(error @ AudioError::NotKept(_)) if after_s < 4.0 => Ok(format!("{error}, after {after_s:.2} s")),
        other => Err(format!("{other:?} after {after_s:.2} s")),
    }
}

/// The card's input runs fast by so much: the end of the signal comes later by that share.
pub fn drift(ppm: &str) -> Result<String, String> {
    let ppm: f64 = ppm.parse().map_err(|_| "how many ppm?".to_owned())?;
    let played = noise(8 * RATE_HZ as usize, 10);
    let (heard, take) = take(&played, |_, _| {})?;
    let end = played.len() - 8_000;
    let first = best_delay(&heard[0], &played[..4_000], heard[0].len() - 4_000);
    let last = best_delay(&heard[0], &played[end..end + 4_000], heard[0].len() - 4_000);
    let found_ppm = 1e6 * ((last as f64 - first as f64) / end as f64 - 1.0);
    let text = format!("{found_ppm:.0} ppm found, {ppm:.0} ppm asked for; {:?}", take.ended);
    // The card has steps of one sample a second (21 ppm), and places are whole samples (3 ppm here).
    if (found_ppm - ppm).abs() < 14.0 { Ok(text) } else { Err(text) }
}

/// The level of a straight connection: the reply is as loud as the tone.
pub fn level() -> Result<String, String> {
    let mut card = open(CARD, CARD).map_err(says)?;
    let settings = LevelSettings::quiet(rate()?, Channels { outputs: vec![0], inputs: vec![0, 1] });
    let report = measure_level(&mut card, &settings, &AtomicBool::new(false), &mut |_| {}).map_err(says)?;
    let text = format!("{:?}, {:?}", report.proposal, report.channels);
    let Proposal::PlayAtLimit { level_dbfs, reply_dbfs } = report.proposal else { return Err(text) };
    let silent =
        report.channels[1].reply.peak == 0.0 && report.take.remarks.iter().any(|remark| remark.contains("channel 2"));
    // 0.001 dB: the peak of a sampled 1 kHz tone at 48 kHz is met exactly, in 32-bit floats.
    if level_dbfs == -20.0 && (reply_dbfs + 20.0).abs() < 0.001 && silent {
        Ok(format!("limit {level_dbfs} dBFS proposed, reply {reply_dbfs:.4} dBFS; the silent channel was named"))
    } else {
        Err(text)
    }
}

/// What the card lacks is named together with what it has; stand-ins are not listed, converters are known.
pub fn refusals() -> Result<String, String> {
    let listed = devices().map_err(says)?;
    let converts = |id: &str| {
        let device = listed.iter().find(|device| device.id == id);
        device.map(|device| [Side::Output, Side::Input].map(|side| device.may_resample(side)))
    };
    let is_right = converts(CARD) == Some([false; 2]) && converts("alsa:virtual_any") == Some([true; 2]);
    if !is_right || converts("alsa:null").is_some() {
        return Err(format!("listed: {listed:?}"));
    }
    let refused = |hz: u32, inputs: Vec<usize>, name: &str| -> Result<String, String> {
        let rate = SampleRate::new(hz).map_err(|error| error.to_string())?;
        let order = Order::new(rate, vec![0.0; 10], Channels { outputs: vec![0], inputs }).map_err(says)?;
        let taken = open(name, name)
            .and_then(|mut card| card.take(&order, &AtomicBool::new(false), &mut |_| Ok(()), &mut |_| {}));
        taken.map_or_else(|error| Ok(error.to_string()), |take| Err(format!("was taken: {take:?}")))
    };
    let rate = refused(96_000, vec![0], CARD)?;
    let channel = refused(RATE_HZ, vec![0, 5], CARD)?;
    let unknown = refused(RATE_HZ, vec![0], "moon")?;
    let several = refused(RATE_HZ, vec![0], "virt")?;
    let wanted = [
        (&rate, "96000 Hz; it has 48000 Hz"),
        (&channel, "channel 6; it has 2"),
        (&unknown, "\"moon\"; there is alsa:virtual"),
        (&several, "several"),
    ];
    match wanted.iter().find(|(found, wanted)| !found.contains(wanted)) {
        Some((found, wanted)) => Err(format!("{found:?} does not say {wanted:?}")),
        None => Ok(format!("{rate} | {channel} | {unknown} | {several}")),
    }
}
