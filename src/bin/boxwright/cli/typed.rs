//! Numbers with units, for clap.

use super::chain::Level;
use boxwright::bench::{Cut, LIVING_ROOM_SEATS, Slope};
use boxwright::quantity::{Dimension, SampleRate, number_as_typed};
use boxwright::response::{Direction, OctaveFraction, Plane};
use boxwright::signal::SHORTEST_PAUSE_S;

/// `48 kHz`, `20`.
pub fn frequency_hz(text: &str) -> Result<f64, String> {
    number(text, Dimension::Frequency)
}

/// `5 s`, `500 ms`, `5`.
pub fn seconds(text: &str) -> Result<f64, String> {
    number(text, Dimension::Seconds)
}

/// `1 s`, `500 ms`: the silence after a sweep.
pub fn pause_s(text: &str) -> Result<f64, String> {
    let pause_s = seconds(text)?;
    if pause_s < SHORTEST_PAUSE_S {
        return Err(format!("{text:?} is too short, a room needs {SHORTEST_PAUSE_S} s or more to fall silent"));
    }
    Ok(pause_s)
}

/// `-20 dBFS`, `-20`.
pub fn level_dbfs(text: &str) -> Result<f64, String> {
    number(text, Dimension::Decibel)
}

/// `5`, `1/3`.
pub fn pure(text: &str) -> Result<f64, String> {
    number(text, Dimension::Pure)
}

/// `2.83 V`, `2.83`: more than nothing.
pub fn volts(text: &str) -> Result<f64, String> {
    positive(text, Dimension::Volt)
}

/// `10 ohm`, `4.7k`: more than nothing.
pub fn ohms(text: &str) -> Result<f64, String> {
    positive(text, Dimension::Ohm)
}

/// `50 mohm`, `0`.
pub fn ohms_or_none(text: &str) -> Result<f64, String> {
    let ohm = number(text, Dimension::Ohm)?;
    if ohm >= 0.0 { Ok(ohm) } else { Err(format!("{text:?} is less than 0")) }
}

/// `3`, `0.5`: more than nothing, in the option's own unit.
pub fn above_zero(text: &str) -> Result<f64, String> {
    positive(text, Dimension::Pure)
}

/// A number, or none where none is wanted.
#[derive(Debug, Clone, Copy)]
pub struct OrNone(pub Option<f64>);

/// `12`, `none`.
pub fn above_zero_or_none(text: &str) -> Result<OrNone, String> {
    if text == "none" { Ok(OrNone(None)) } else { Ok(OrNone(Some(above_zero(text)?))) }
}

/// A fraction of an octave, or none.
#[derive(Debug, Clone, Copy)]
pub struct SmoothedOver(pub Option<OctaveFraction>);

/// `1/12`, `none`: over how much of an octave levels are smoothed.
pub fn smoothing(text: &str) -> Result<SmoothedOver, String> {
    if text == "none" {
        return Ok(SmoothedOver(None));
    }
    let fraction = OctaveFraction::new(pure(text)?).map_err(|error| format!("{error}; {}", error.advice()))?;
    Ok(SmoothedOver(Some(fraction)))
}

/// `1%`, `0.1 %`, `5`: percent, as a ratio.
pub fn tolerance(text: &str) -> Result<f64, String> {
    let percent = number(text.trim().trim_end_matches('%').trim_end(), Dimension::Pure)?;
    if (0.0..100.0).contains(&percent) { Ok(0.01 * percent) } else { Err(format!("{text:?} is not within 0 to 100 %")) }
}

fn positive(text: &str, dimension: Dimension) -> Result<f64, String> {
    let value = number(text, dimension)?;
    if value > 0.0 { Ok(value) } else { Err(format!("{text:?} is not more than 0")) }
}

/// `5`, `0`: a length that may be nothing.
pub fn millimetres_or_none(text: &str) -> Result<f64, String> {
    let mm = number(text, Dimension::Millimetres)?;
    if mm >= 0.0 { Ok(mm) } else { Err(format!("{text:?} is less than 0")) }
}

/// `130`, `13 cm`: more than nothing.
pub fn millimetres(text: &str) -> Result<f64, String> {
    positive(text, Dimension::Millimetres)
}

/// `137`, `137 cm2`: more than nothing.
pub fn square_centimetres(text: &str) -> Result<f64, String> {
    positive(text, Dimension::SquareCentimetres)
}

/// `12`, `0.8 l`: more than nothing.
pub fn litres(text: &str) -> Result<f64, String> {
    positive(text, Dimension::Litres)
}

/// `10`, `0.01 kg`: more than nothing.
pub fn grams(text: &str) -> Result<f64, String> {
    positive(text, Dimension::Grams)
}

/// An uncertainty in mm.
pub fn u_mm(text: &str) -> Result<f64, String> {
    not_negative(text, Dimension::Millimetres)
}

/// An uncertainty in cm².
pub fn u_cm2(text: &str) -> Result<f64, String> {
    not_negative(text, Dimension::SquareCentimetres)
}

/// An uncertainty in l.
pub fn u_l(text: &str) -> Result<f64, String> {
    not_negative(text, Dimension::Litres)
}

/// An uncertainty in g.
pub fn u_g(text: &str) -> Result<f64, String> {
    not_negative(text, Dimension::Grams)
}

fn not_negative(text: &str, dimension: Dimension) -> Result<f64, String> {
    let value = number(text, dimension)?;
    if value >= 0.0 { Ok(value) } else { Err(format!("{text:?} is less than 0")) }
}

/// `21`, `-3 °C`.
pub fn celsius(text: &str) -> Result<f64, String> {
    number(text, Dimension::Celsius)
}

/// `98.5`, `98.5 kPa`.
pub fn kilopascal(text: &str) -> Result<f64, String> {
    number(text, Dimension::Kilopascal)
}

/// `20:2k`, `150:15000`: a band in Hz that rises.
pub fn band_hz(text: &str) -> Result<[f64; 2], String> {
    let (from, to) = text.split_once(':').ok_or_else(|| format!("{text:?} is no band; write FROM:TO, as 20:2k"))?;
    let band_hz = [frequency_hz(from)?, frequency_hz(to)?];
    if 0.0 <= band_hz[0] && band_hz[0] < band_hz[1] {
        Ok(band_hz)
    } else {
        Err(format!("{text:?} is no band that rises"))
    }
}

/// `1` (between −1 and 1), `-0.5:1 dB`: limits in dB.
pub fn limits_db(text: &str) -> Result<[f64; 2], String> {
    let limits_db = match text.split_once(':') {
        Some((from, to)) => [level_dbfs(from)?, level_dbfs(to)?],
        None => level_dbfs(text).map(|limit_db| [-limit_db, limit_db])?,
    };
    if limits_db[0] < limits_db[1] { Ok(limits_db) } else { Err(format!("{text:?} leaves nothing between the limits")) }
}

/// `48 kHz`, `44100`: a whole number of hertz that a sound card may have.
pub fn rate(text: &str) -> Result<SampleRate, String> {
    let hz = number(text, Dimension::Frequency)?;
    let whole = hz.round();
    // A millionth of a hertz: `44.1k` is not exact in binary.
    if !(0.0..=f64::from(u32::MAX)).contains(&whole) || (hz - whole).abs() > 1e-6 {
        return Err(format!("{text:?} is no whole number of hertz"));
    }
    SampleRate::new(whole as u32).map_err(|error| format!("{error}; {}", error.advice()))
}

/// `0.5 m`, `500 mm`, `0.5`.
pub fn metres(text: &str) -> Result<f64, String> {
    let metres = number(text, Dimension::Metres)?;
    if metres > 0.0 { Ok(metres) } else { Err(format!("{text:?} is no distance above 0")) }
}

/// `4.3x3.4x2.45`: three lengths in m.
pub fn sides_m(text: &str) -> Result<[f64; 3], String> {
    let sides = text.split(['x', '×']).map(metres).collect::<Result<Vec<f64>, String>>()?;
    <[f64; 3]>::try_from(sides).map_err(|_| format!("{text:?} is not length x width x height, such as 4.3x3.4x2.45"))
}

/// `0.9,1.45,1.0`: a place in m.
pub fn place_m(text: &str) -> Result<[f64; 3], String> {
    let place = text.split(',').map(|part| number(part, Dimension::Metres)).collect::<Result<Vec<f64>, String>>()?;
    <[f64; 3]>::try_from(place).map_err(|_| format!("{text:?} is not three lengths, such as 0.9,1.45,1.0"))
}

/// `LR4:80`, `BW2:120 Hz`: a filter of a receiver and its corner.
pub fn cut(text: &str) -> Result<Cut, String> {
    let refuse = || format!("{text:?} is no filter; write BW2, BW4, LR2 or LR4 with its corner, as LR4:80");
    let (name, corner) = text.split_once(':').ok_or_else(refuse)?;
    let slope = match name.trim().to_ascii_uppercase().as_str() {
        "BW2" => Slope::Butterworth2,
        "BW4" => Slope::Butterworth4,
        "LR2" => Slope::LinkwitzRiley2,
        "LR4" => Slope::LinkwitzRiley4,
        _ => return Err(refuse()),
    };
    Ok(Cut { slope, corner_hz: frequency_hz(corner)? })
}

/// `2.5`, `2.5 ms`: a delay that may be nothing, in s.
pub fn milliseconds_as_s(text: &str) -> Result<f64, String> {
    not_negative(text, Dimension::Milliseconds).map(|ms| 1e-3 * ms)
}

/// `sofa`, `3.1,0.75,0.05`: a seat of the simulated living room, or a place in m.
pub fn seat_m(text: &str) -> Result<[f64; 3], String> {
    match LIVING_ROOM_SEATS.into_iter().find(|(name, _)| *name == text.trim()) {
        Some((_, seat_m)) => Ok(seat_m),
        None => place_m(text).map_err(|error| {
            let names = LIVING_ROOM_SEATS.map(|(name, _)| name);
            format!("{error}, and no seat; seats are {}", names.join(", "))
        }),
    }
}

/// `10`, `v-10`: degrees off the axis, to the side or vertical.
pub fn direction(text: &str) -> Result<Direction, String> {
    let (plane, degrees) = match text.trim().strip_prefix('v') {
        Some(degrees) => (Plane::Vertical, degrees),
        None => (Plane::Horizontal, text),
    };
    let angle_deg = number(degrees.trim().trim_end_matches('°'), Dimension::Pure)?;
    Direction::new(plane, angle_deg).map_err(|error| format!("{error}; {}", error.advice()))
}

/// `12`, `-50 ppm`.
pub fn ppm(text: &str) -> Result<f64, String> {
    number(text.trim().trim_end_matches("ppm"), Dimension::Pure)
}

/// `-88`, `none`.
pub fn level_or_none(text: &str) -> Result<Level, String> {
    if text == "none" { Ok(Level(None)) } else { Ok(Level(Some(level_dbfs(text)?))) }
}

/// A channel, counted from 1.
pub fn channel(text: &str) -> Result<usize, String> {
    match text.trim().parse() {
        Ok(channel) if channel > 0 => Ok(channel),
        _ => Err(format!("{text:?} is no channel; channels count from 1")),
    }
}

/// A channel, counted from 1, or 0 for `none`.
pub fn channel_or_none(text: &str) -> Result<usize, String> {
    if text == "none" { Ok(0) } else { channel(text) }
}

fn number(text: &str, dimension: Dimension) -> Result<f64, String> {
    number_as_typed(text, dimension).map_err(|error| format!("{error}; {}", error.advice()))
}
