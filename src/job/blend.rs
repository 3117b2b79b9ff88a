//! From the curves of satellite and subwoofer on disk to the setting with which they join best: the files, the limits, the result.

use super::Pictures;
use super::blend_curves::{AtSeats, at_seats};
use super::blend_document::{document, predicted_curves};
use super::blend_limits::{Limits, limits};
use super::blend_pictures::pictures;
use super::record::Ran;
use super::results_folder::{Listing, make_folder, overwritten, replace_document};
use super::simulate::sums;
use crate::blend::{
    BlendError, Candidate, Choices, Filters, Found, Polarity, Setting, Shape, best_setting, level_match_db, overlap_hz,
};
use crate::files::{self, BlendDocument, FileError, WrittenFile};
use crate::quantity::Air;
use crate::report::{Picture, ReportError};
use crate::response::OctaveFraction;
use std::path::{Path, PathBuf};

/// Satellite and subwoofer that are to be blended.
#[derive(Debug, Clone, PartialEq)]
pub struct BlendOrder {
    /// The satellite's curves, one a seat.
    pub satellite: Vec<PathBuf>,
    /// The subwoofer's, in the same order.
    pub subwoofer: Vec<PathBuf>,
    /// Captures with both playing and nothing changed, in the same order; or none.
    pub both: Vec<PathBuf>,
    /// Names of the seats.
    pub seats: Vec<String>,
    /// Crossover frequencies, Hz.
    pub crossovers_hz: Vec<f64>,
    /// The satellite's filters.
    pub high_pass: Vec<Option<Shape>>,
    /// The subwoofer's.
    pub low_pass: Vec<Option<Shape>>,
    /// Frequencies of the latter; absent: that of the crossover.
    pub low_pass_hz: Option<Vec<f64>>,
    /// Delays of the satellite, s; absent: around the difference of the arrivals.
    pub delay_s: Option<[f64; 2]>,
    /// How much louder than matched the subwoofer may be, dB.
    pub boost_db: f64,
    /// The subwoofer's only gain, dB; absent: any around the match.
    pub gain_db: Option<f64>,
    /// Which polarities the receiver or subwoofer has.
    pub polarities: Vec<Polarity>,
    /// Where ripple counts; absent: an octave to each side of the crossover.
    pub band_hz: Option<[f64; 2]>,
    /// Ripple is that of levels over so much; absent: as they are.
    pub smoothing: Option<OctaveFraction>,
    /// The delay error that shall spoil least, s.
    pub delay_error_s: f64,
    /// The satellite's lowest useful frequency; absent: its −6 dB.
    pub lowest_hz: Option<f64>,
    /// The subwoofer's highest; absent: its −6 dB.
    pub highest_hz: Option<f64>,
    /// The satellite's own curve, free of the room.
    pub alone: Option<PathBuf>,
    /// A simulation that says how far the satellite's cone goes, and its loudspeaker.
    pub simulation: Option<(PathBuf, Option<String>)>,
    /// How loud the satellite has to play, dB re 20 µPa at 1 m.
    pub loud_db: Option<f64>,
    /// Filters that were in the way while measuring: the satellite's, the subwoofer's.
    pub filtered: [Option<FilteredBy>; 2],
    /// Length, width, height of the room.
    pub room_m: Option<[f64; 3]>,
    /// Where results go; absent: in a folder `blend` beside the first curve.
    pub out: Option<PathBuf>,
    /// Whether pictures are drawn.
    pub pictures: Pictures,
    /// The command that asks for it, for the record.
    pub ran: Ran,
}

/// A filter that was in the way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FilteredBy {
    /// Its family and order.
    pub shape: Shape,
    /// Its frequency.
    pub hz: f64,
}

/// What was found.
pub struct Blended {
    /// The result as a document.
    pub document: BlendDocument,
    /// The pictures, by name.
    pub pictures: Vec<(String, Picture)>,
    /// Where the result files are.
    pub folder: PathBuf,
}

/// Why satellite and subwoofer could not be blended.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each carries its own message
pub enum BlendJobError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Blend(#[from] BlendError),
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error("{}: {source}", path.display())]
    Both { path: PathBuf, source: BlendError },
    #[error("{}: an impedance in ohm, where a response in dB is needed", path.display())]
    Impedance { path: PathBuf },
    #[error("{}: it has no phase, without which nothing can be added", path.display())]
    NoPhase { path: PathBuf },
    #[error("{}: its time has no zero in common with the other curve of its seat", path.display())]
    NoTimeReference { path: PathBuf },
    #[error("{what}: {found}, seats: {needed}")]
    NotOneEach { what: &'static str, found: usize, needed: usize },
    #[error("two seats are called {name:?}")]
    SeatTwice { name: String },
    #[error("the subwoofer may be {found_db} dB louder than matched, the range is {least_db} to {most_db} dB")]
    Boost { found_db: f64, least_db: f64, most_db: f64 },
    #[error("a room with a side of {side_m} m, the most is {most_m} m")]
    Room { side_m: f64, most_m: f64 },
    #[error("{what} needs {needs}")]
    Needs { what: &'static str, needs: &'static str },
    #[error("{}: the curve does not cover {from_hz:.0} to {to_hz:.0} Hz, beside which its end is looked for", path.display())]
    NoReference { path: PathBuf, from_hz: f64, to_hz: f64 },
    #[error("{}: the results would take its place", path.display())]
    OverInput { path: PathBuf },
}

impl BlendJobError {
    /// What the person can do next, one sentence in the imperative.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::File(error) => error.advice(),
            Self::Blend(error) | Self::Both { source: error, .. } => error.advice(),
            Self::Report(error) => error.advice(),
            Self::Impedance { .. } => "give responses only",
            Self::NoPhase { .. } => "give the response.csv of a capture, or a table with a third column of degrees",
            Self::NoTimeReference { .. } => {
                "capture with a loopback (--reference) or with the marks from one loudspeaker (--marks-output), or add --both with a capture of both playing"
            }
            Self::NotOneEach { .. } => "give one curve a seat, in the order of --seats",
            Self::SeatTwice { .. } => "give each seat a name of its own",
            Self::Boost { .. } => "give --boost-db a number within",
            Self::Room { .. } => "give the sides in metres",
            Self::Needs { .. } => "give both, or neither",
            Self::NoReference { .. } => "give a curve that reaches that far",
            Self::OverInput { .. } => "give --out another folder",
        }
    }

    /// Whether the order itself can't be, whatever the files hold.
    pub fn is_usage(&self) -> bool {
        matches!(
            self,
            Self::NotOneEach { .. }
                | Self::SeatTwice { .. }
                | Self::Boost { .. }
                | Self::Room { .. }
                | Self::Needs { .. }
        )
    }
}

/// The crossover frequencies that receivers usually have, Hz (common practice: steps of ten).
pub const USUAL_CROSSOVERS_HZ: [f64; 17] =
    [40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0, 110.0, 120.0, 130.0, 140.0, 150.0, 160.0, 170.0, 180.0, 190.0, 200.0];
/// Where a person sets the crossover who knows nothing else (common practice).
const WITHOUT_HELP_HZ: f64 = 80.0;
/// The subwoofer may be so much softer than matched, dB.
const LEAST_OVER_MATCH_DB: f64 = -6.0;
/// A subwoofer that is louder than matched by more than this is none that blends, dB.
const MOST_BOOST_DB: f64 = 20.0;
/// No room of a house has longer sides, m; a number in centimetres does.
const LONGEST_SIDE_M: f64 = 30.0;
/// Delays are looked through so far to both sides of the difference of the arrivals, or of none, s.
const DELAY_REACH_S: f64 = 10e-3;
const DELAY_REACH_UNKNOWN_S: f64 = 20e-3;

/// Everything that was found, for the document and the pictures.
pub(super) struct Known<'a> {
    pub order: &'a BlendOrder,
    pub heard: &'a AtSeats,
    pub limits: &'a Limits,
    pub choices: &'a Choices,
    pub left_out: &'a [String],
    pub found: &'a Found,
    pub without_help: Candidate,
    pub air: Air,
}

/// The setting with which they join best, written to the folder.
///
/// # Errors
/// [`BlendJobError`] when a file can't be used, or nothing is left to choose from.
pub fn blend(order: &BlendOrder) -> Result<Blended, BlendJobError> {
    let Prepared { heard, limits, choices, left_out, without_help } = prepared(order)?;
    let found = best_setting(&heard.parts, &choices)
        .ok_or_else(|| BlendError::NoCrossover { why: "no polarity was given".into() })?;
    finish(&Known {
        order,
        heard: &heard,
        limits: &limits,
        choices: &choices,
        left_out: &left_out,
        found: &found,
        without_help,
        air: Air::default(),
    })
}

/// What an order means once its curves have been read: what is known, and what may be chosen.
pub(super) struct Prepared {
    pub heard: AtSeats,
    pub limits: Limits,
    pub choices: Choices,
    pub left_out: Vec<String>,
    pub without_help: Candidate,
}

pub(super) fn prepared(order: &BlendOrder) -> Result<Prepared, BlendJobError> {
    check(order)?;
    let heard = at_seats(order)?;
    let limits = limits(order, &heard)?;
    let (filters, left_out) = allowed(order, &heard, &limits)?;
    let later_s = heard.later_s;
    let choices = Choices {
        filters,
        delay_s: order.delay_s.unwrap_or_else(|| match later_s {
            Some(later_s) => [later_s - DELAY_REACH_S, later_s + DELAY_REACH_S],
            None => [-DELAY_REACH_UNKNOWN_S, DELAY_REACH_UNKNOWN_S],
        }),
        over_match_db: [LEAST_OVER_MATCH_DB, order.boost_db],
        gain_db: order.gain_db,
        polarities: order.polarities.clone(),
        band_hz: order.band_hz,
        smoothing: order.smoothing,
        delay_error_s: order.delay_error_s,
    };
    let without_help = without_help(&heard, &choices);
    Ok(Prepared { heard, limits, choices, left_out, without_help })
}

fn finish(known: &Known<'_>) -> Result<Blended, BlendJobError> {
    let order = known.order;
    let beside = order.satellite[0].parent().unwrap_or(Path::new(""));
    let folder = order.out.clone().unwrap_or_else(|| beside.join("blend"));
    let mut inputs: Vec<PathBuf> =
        [&order.satellite, &order.subwoofer, &order.both].into_iter().flatten().cloned().collect();
    inputs.extend(order.alone.clone());
    inputs.extend(order.simulation.as_ref().map(|(path, _)| path.clone()));
    let names = result_names(order);
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    if let Some(path) = overwritten(&folder, &names, inputs.iter().map(PathBuf::as_path)) {
        return Err(BlendJobError::OverInput { path: path.to_owned() });
    }
    let mut document = document(known, sums(&inputs)?);
    let pictures = match order.pictures {
        Pictures::Drawn => pictures(known, &document),
        Pictures::None => Vec::new(),
    };
    let _held = make_folder(&folder)?;
    document.provenance = order.ran.told(&folder)?;
    document.files = write(&folder, known, &document, &pictures)?;
    replace_document(&folder.join("blend.json"), &document)?;
    Ok(Blended { document, pictures, folder })
}

fn check(order: &BlendOrder) -> Result<(), BlendJobError> {
    let needed = order.seats.len();
    let counts = [("curves of the satellite", &order.satellite), ("curves of the subwoofer", &order.subwoofer)];
    for (what, paths) in counts {
        if paths.len() != needed || needed == 0 {
            return Err(BlendJobError::NotOneEach { what, found: paths.len(), needed });
        }
    }
    if !order.both.is_empty() && order.both.len() != needed {
        return Err(BlendJobError::NotOneEach { what: "captures of both", found: order.both.len(), needed });
    }
    let file_names: Vec<String> = order.seats.iter().map(|seat| file_name(seat)).collect();
    if let Some(at) = (1..needed).find(|at| file_names[..*at].contains(&file_names[*at])) {
        return Err(BlendJobError::SeatTwice { name: order.seats[at].clone() });
    }
    if !(LEAST_OVER_MATCH_DB..=MOST_BOOST_DB).contains(&order.boost_db) || order.boost_db == LEAST_OVER_MATCH_DB {
        let (found_db, least_db, most_db) = (order.boost_db, LEAST_OVER_MATCH_DB, MOST_BOOST_DB);
        return Err(BlendJobError::Boost { found_db, least_db, most_db });
    }
    if let Some(side_m) = order.room_m.into_iter().flatten().find(|side_m| *side_m > LONGEST_SIDE_M) {
        return Err(BlendJobError::Room { side_m, most_m: LONGEST_SIDE_M });
    }
    match (order.loud_db.is_some(), order.simulation.is_some()) {
        (true, false) => {
            Err(BlendJobError::Needs { what: "--loud-db", needs: "--simulation, which says how far the cone goes" })
        }
        _ => Ok(()),
    }
}

/// The name of a seat as part of a file's name.
pub(super) fn file_name(seat: &str) -> String {
    let plain = |letter: char| if letter.is_alphanumeric() { letter.to_ascii_lowercase() } else { '-' };
    seat.chars().map(plain).collect()
}

/// All combinations of filters that the measurement and the limits allow, at least one, and what was left out for which reason.
pub(super) fn allowed(
    order: &BlendOrder,
    heard: &AtSeats,
    limits: &Limits,
) -> Result<(Vec<Filters>, Vec<String>), BlendError> {
    let hz = &heard.parts.hz;
    let known_hz = [hz[0], hz[hz.len() - 1]];
    let (mut filters, mut left_out) = (Vec::new(), Vec::new());
    for &crossover_hz in &order.crossovers_hz {
        let band_hz = order.band_hz.unwrap_or_else(|| overlap_hz(crossover_hz));
        if !(band_hz[0]..=band_hz[1]).contains(&crossover_hz) {
            left_out.push(format!("{crossover_hz} Hz: it lies outside of --band"));
            continue;
        }
        // A point of the grid to each side may be missing.
        if band_hz[0] < known_hz[0] * 0.985 || band_hz[1] > known_hz[1] * 1.015 {
            left_out.push(format!(
                "{crossover_hz} Hz: the curves are known from {:.0} to {:.0} Hz, its overlap goes from {:.0} to {:.0} Hz",
                known_hz[0], known_hz[1], band_hz[0], band_hz[1]
            ));
            continue;
        }
        let low_pass_hz = order.low_pass_hz.clone().unwrap_or_else(|| vec![crossover_hz]);
        for (&high_pass, &low_pass) in
            order.high_pass.iter().flat_map(|high| order.low_pass.iter().map(move |low| (high, low)))
        {
            for &low_pass_hz in &low_pass_hz {
                let one = Filters { crossover_hz, high_pass, low_pass_hz, low_pass };
                match limits.forbid(&one, order.loud_db) {
                    Some(why) if left_out.contains(&why) => {}
                    Some(why) => left_out.push(why),
                    None => filters.push(one),
                }
            }
        }
    }
    if filters.is_empty() {
        let why = left_out.into_iter().next().unwrap_or_else(|| "none was given".into());
        return Err(BlendError::NoCrossover { why });
    }
    Ok((filters, left_out))
}

/// What a person sets without help: the usual crossover or the nearest to it that is allowed, no delay, straight, levels matched.
fn without_help(heard: &AtSeats, choices: &Choices) -> Candidate {
    let off = |filters: &Filters| (filters.crossover_hz / WITHOUT_HELP_HZ).ln().abs();
    let all = choices.filters.iter().copied();
    let filters = all.fold(choices.filters[0], |best, one| if off(&one) < off(&best) { one } else { best });
    let gain_db = level_match_db(&heard.parts, &filters);
    let setting = Setting { filters, delay_s: 0.0, polarity: Polarity::Straight, gain_db };
    Candidate::of(&heard.parts, setting, choices)
}

fn result_names(order: &BlendOrder) -> Vec<String> {
    let fixed = ["blend.json", "seats.svg", "seats.png", "map.svg", "map.png"].map(String::from);
    let of_seat = |seat: &String| {
        let seat = file_name(seat);
        ["sum.csv", "satellite.csv", "subwoofer.csv", "seat.svg", "seat.png"].map(|end| format!("{seat}-{end}"))
    };
    fixed.into_iter().chain(order.seats.iter().flat_map(of_seat)).collect()
}

/// Writes everything but the document itself, and lists all with it.
fn write(
    folder: &Path,
    known: &Known<'_>,
    document: &BlendDocument,
    pictures: &[(String, Picture)],
) -> Result<Vec<WrittenFile>, BlendJobError> {
    let mut listing = Listing::new(folder);
    for (name, what, curve) in predicted_curves(known, document) {
        files::replace_curve(&listing.add(&name, &what), &curve)?;
    }
    for (name, picture) in pictures {
        listing.picture::<BlendJobError>(name, picture.title(), picture)?;
    }
    listing.add("blend.json", "this document");
    Ok(listing.files())
}
