//! From the captures of a jig to an impedance and all that they tell: the order of the steps.
//!
//! Cut and divide each capture ([`super::ratio`]), take the jig off ([`super::jig`]), read what the curve shows, and say what
//! there is to say about trust ([`super::verdict`]). No equation of its own: each step has its file.

use super::features::{Extreme, minimum, peaks, rated_ohm};
use super::jig::{JigFacts, Ratios, Reading, Solved};
use super::lateness::{lateness_s, not_own_rad};
use super::loudness::{LoadVoltage, load_amplitudes, load_harmonics, load_voltage};
use super::mark_witness::mark_disagrees;
use super::ratio::{ChannelRatio, Heard, JigCapture, Ringing};
use super::settling::{Repeated, Shift};
use super::unexplained::unexplained;
use super::verdict::{Evidence, findings};
use super::{Impedance, ImpedanceError};
use crate::math::median;
use crate::quantity::{Finding, FrequencyGrid, Quantity, Unit};
use crate::response::octaves_apart_s;
use num_complex::Complex64;

/// The captures of a jig: the load's, and those that tell the jig itself.
#[derive(Debug, Clone, Copy)]
pub struct JigCaptures<'a> {
    /// With the load.
    pub load: JigCapture<'a>,
    /// With nothing connected.
    pub open: Option<JigCapture<'a>>,
    /// With the far ends of the leads together.
    pub short: Option<JigCapture<'a>>,
    /// With a known resistor in the load's place.
    pub known: Option<JigCapture<'a>>,
}

/// How the captures are to be read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasureSettings {
    /// What is known of the jig.
    pub facts: JigFacts,
    /// Points an octave of the curve.
    pub points_per_octave: u32,
    /// Which band is wanted; absent: all that was excited.
    pub band_hz: Option<[f64; 2]>,
    /// Peak voltage at the load channel's input that a sample value of 1 stands for.
    pub input_full_scale_v: Option<f64>,
}

/// An impedance and all that its captures tell.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// The curve.
    pub impedance: Impedance,
    /// Where |Z| is lowest.
    pub minimum: Extreme,
    /// Where |Z| has peaks.
    pub peaks: Vec<Extreme>,
    /// The rated impedance that the curve may bear; absent below 80 % of the smallest usual one.
    pub rated_ohm: Option<f64>,
    /// The leads' resistance that was taken off; with its doubt.
    pub lead: Quantity,
    /// The sense resistor that the captures of open and known load tell.
    pub sense: Option<Quantity>,
    /// Gain of the load channel over that of the drive channel, where a capture tells it.
    pub gain_db: Option<f64>,
    /// The voltage across the load, where it is known.
    pub voltage: Option<LoadVoltage>,
    /// Harmonics of the load's voltage near the resonance as a ratio, the drive's own taken off.
    pub harmonics_ratio: Option<f64>,
    /// What each repeat shows, where there are several and a peak.
    pub shifts: Vec<Shift>,
    /// Repeats that were used, from 0.
    pub repeats: Vec<usize>,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
}

/// The impedance in a jig, with its doubt.
///
/// # Errors
/// [`ImpedanceError`] when a capture can't be used; what can be used with care is a finding instead.
pub fn measure_impedance(captures: &JigCaptures<'_>, settings: &MeasureSettings) -> Result<Measured, ImpedanceError> {
    settings.facts.check()?;
    if captures.known.is_some() && settings.facts.known_ohm.is_none() {
        return Err(ImpedanceError::NoKnownValue);
    }
    let mut heard = Heard::new(&captures.load)?;
    let mut calibrations = Vec::new();
    for capture in [captures.open, captures.short, captures.known] {
        calibrations.push(capture.as_ref().map(Heard::new).transpose()?);
    }
    let grid = grid(&heard, &calibrations, settings)?;
    let ratio = heard.ratio(&grid, Ringing::Loudspeaker);
    let told: Vec<Option<ChannelRatio>> = calibrations
        .iter_mut()
        .map(|calibration| calibration.as_mut().map(|heard| heard.ratio(&grid, Ringing::Resistor)))
        .collect();
    let solved: Vec<Solved> =
        (0..grid.hz().len()).map(|at| settings.facts.solve(ratios_at(&ratio, &told, at))).collect();
    let impedance = impedance(&grid, &solved, &ratio)?;
    let found_peaks = peaks(&impedance);
    let highest = found_peaks.iter().copied().max_by(|a, b| a.ohm.total_cmp(&b.ohm));
    let lowest = minimum(&impedance);
    let plan = &captures.load.excitation.plan;
    let amplitudes = load_amplitudes(&mut heard, plan, grid.hz());
    let peak_at = highest.map(|peak| nearest(grid.hz(), peak.hz));
    let channels = [captures.load.load, captures.load.drive];
    let harmonics = highest.and_then(|peak| load_harmonics(&mut heard, captures.load.recording, channels, peak.hz));
    let mut measured = Measured {
        minimum: lowest,
        rated_ohm: rated_ohm(lowest.ohm),
        lead: lead(&solved, &told, &settings.facts, grid.hz()),
        sense: sense(&solved, &told, &settings.facts),
        gain_db: gain_db(&solved, captures),
        voltage: amplitudes
            .zip(settings.input_full_scale_v)
            .map(|(amplitudes, v)| load_voltage(&amplitudes, peak_at, v)),
        harmonics_ratio: harmonics.map(|harmonics| harmonics.ratio),
        shifts: highest.map_or(Vec::new(), |peak| shifts(&heard, &ratio, &solved, grid.hz(), peak)),
        repeats: heard.load.numbers.clone(),
        peaks: found_peaks,
        impedance,
        findings: Vec::new(),
    };
    let calibrations: Vec<(&str, JigCapture<'_>, &Heard)> = ["open", "short", "known"]
        .into_iter()
        .zip([captures.open, captures.short, captures.known])
        .zip(&calibrations)
        .filter_map(|((name, capture), heard)| Some((name, capture?, heard.as_ref()?)))
        .collect();
    let told_shares: Vec<(&'static str, Vec<f64>)> = ["open", "short", "known"]
        .into_iter()
        .zip(&told)
        .filter_map(|(name, ratio)| Some((name, ratio.as_ref()?.values.iter().map(|value| value.norm()).collect())))
        .collect();
    let left = unexplained(&mut heard, grid.hz(), &ratio, &solved);
    let open_ratios: Vec<Complex64> =
        solved.iter().zip(&ratio.values).map(|(solved, value)| solved.terms.a * value).collect();
    let peaks_hz = peaks_hz(&grid, &open_ratios);
    let late_s = peaks_hz.and_then(|[_, highest_hz]| lateness_s(grid.hz(), &open_ratios, highest_hz));
    let not_own = peaks_hz.zip(late_s).and_then(|(peaks_hz, s)| not_own_rad(grid.hz(), &open_ratios, peaks_hz, s));
    let driven = heard.deconvolution.impulse_of(&heard.drive.pieces[0]);
    measured.findings = findings(&Evidence {
        captures,
        settings,
        heard: &heard,
        calibrations: &calibrations,
        told_shares: &told_shares,
        ratio: &ratio,
        solved: &solved,
        measured: &measured,
        harmonics,
        mark: mark_disagrees(&captures.load, &heard, grid.hz(), &ratio, &solved),
        unexplained: left,
        octaves_apart_s: octaves_apart_s(&driven, heard.cut.before as f64, &heard.pattern),
        late_s,
        not_own,
    });
    Ok(measured)
}

/// Where the ratio peaks first and last: a delay between the channels leaves its magnitude as it is, but not that of the impedance.
fn peaks_hz(grid: &FrequencyGrid, open_ratios: &[Complex64]) -> Option<[f64; 2]> {
    let found = peaks(&Impedance::new(grid.clone(), open_ratios.to_vec()).ok()?);
    Some([found.first()?.hz, found.last()?.hz])
}

/// The points that all captures can tell.
fn grid(
    heard: &Heard,
    calibrations: &[Option<Heard>],
    settings: &MeasureSettings,
) -> Result<FrequencyGrid, ImpedanceError> {
    let all = std::iter::once(heard).chain(calibrations.iter().flatten());
    let bands = all.map(|heard| heard.pattern.band_hz).chain(settings.band_hz);
    let [from_hz, to_hz] = bands.fold([0.0f64, f64::MAX], |[from, to], band| [from.max(band[0]), to.min(band[1])]);
    FrequencyGrid::of_octave_fractions([from_hz, to_hz], settings.points_per_octave)
        .map_err(|_| ImpedanceError::NoCommonBand { from_hz, to_hz })
}

fn ratios_at(load: &ChannelRatio, told: &[Option<ChannelRatio>], at: usize) -> Ratios {
    let reading =
        |ratio: &ChannelRatio| Reading { ratio: ratio.values[at], u_ratio: ratio.u_noise[at].hypot(ratio.u_hum[at]) };
    let of = |index: usize| told[index].as_ref().map(reading);
    Ratios { load: reading(load), open: of(0), short: of(1), known: of(2) }
}

fn impedance(grid: &FrequencyGrid, solved: &[Solved], ratio: &ChannelRatio) -> Result<Impedance, ImpedanceError> {
    let column = |of: fn(&Solved) -> f64| solved.iter().map(of).collect::<Vec<f64>>();
    Impedance::new(grid.clone(), solved.iter().map(|solved| solved.ohm).collect())?.with_doubt(
        column(|solved| solved.u_noise_ohm),
        column(|solved| solved.u_common_ohm),
        Some(resolution_hz(grid.hz(), &ratio.resolution_hz)),
    )
}

/// The coarsest resolution among the points that lie closer together than theirs; where none do, that of the first.
fn resolution_hz(hz: &[f64], resolution_hz: &[f64]) -> f64 {
    let steps = hz.windows(2).map(|pair| pair[1] - pair[0]);
    let close = steps.zip(resolution_hz).filter(|(step, resolution)| step < resolution);
    close.map(|(_, resolution)| *resolution).reduce(f64::max).unwrap_or(resolution_hz[0])
}

/// The leads at the low end of the curve, where they have no inductance that counts.
fn lead(solved: &[Solved], told: &[Option<ChannelRatio>], facts: &JigFacts, hz: &[f64]) -> Quantity {
    let value = |solved: &Solved| solved.terms.lead_ohm.re;
    let Some(short) = &told[1] else {
        return Quantity { value: facts.lead_ohm.unwrap_or(0.0), u: facts.u_lead_ohm(), unit: Unit::Ohm };
    };
    let low: Vec<usize> = (0..hz.len()).filter(|&at| hz[at] <= LEAD_BELOW_HZ.max(4.0 * hz[0])).collect();
    let values: Vec<f64> = low.iter().map(|&at| value(&solved[at])).collect();
    let middle = middle(values);
    // dZ_lead = B·dH_s, and the leads are as wrong as the resistor they are compared with.
    let at = low[low.len() / 2];
    let by_noise = solved[at].terms.b_ohm.norm() * short.u_noise[at].hypot(short.u_hum[at]);
    let by_parts = middle.abs() * if told[2].is_some() { facts.u_known_ratio() } else { facts.u_sense_ratio() };
    Quantity { value: middle, u: by_noise.hypot(by_parts), unit: Unit::Ohm }
}

/// A microhenry of lead is less than a milliohm per 100 Hz.
const LEAD_BELOW_HZ: f64 = 200.0;

/// R_s from the captures of open and known load, in the middle of all points.
fn sense(solved: &[Solved], told: &[Option<ChannelRatio>], facts: &JigFacts) -> Option<Quantity> {
    let (open, known) = (told[0].as_ref()?, told[2].as_ref()?);
    let value = middle(solved.iter().map(|solved| solved.terms.sense_ohm()).collect());
    let noises =
        |ratio: &ChannelRatio| middle(ratio.u_noise.clone()) / middle(ratio.values.iter().map(|h| h.norm()).collect());
    let lead = if told[1].is_some() { 0.0 } else { facts.u_lead_ohm() / facts.known_ohm? };
    let relative = [facts.u_known_ratio(), lead, noises(open), noises(known)];
    let u = value.abs() * relative.iter().map(|u| u * u).sum::<f64>().sqrt();
    Some(Quantity { value, u, unit: Unit::Ohm })
}

/// 1/|A| in the middle of all points, where a capture tells it.
fn gain_db(solved: &[Solved], captures: &JigCaptures<'_>) -> Option<f64> {
    let is_told = captures.open.is_some() || captures.known.is_some();
    is_told.then(|| -20.0 * middle(solved.iter().map(|solved| solved.terms.a.norm()).collect()).log10())
}

fn shifts(heard: &Heard, ratio: &ChannelRatio, solved: &[Solved], hz: &[f64], peak: Extreme) -> Vec<Shift> {
    let ohm = |values: &[Complex64]| -> Vec<Complex64> {
        values.iter().zip(solved).map(|(&value, solved)| solved.terms.impedance_ohm(value)).collect()
    };
    let each: Vec<Vec<Complex64>> = ratio.each.iter().map(|values| ohm(values)).collect();
    let root = (each.len() as f64).sqrt();
    // dZ = B/(1 − A·H)²·dH, by the silences' noise alone: the repeats' spread is what is looked at.
    let u_ohm: Vec<f64> = solved
        .iter()
        .zip(ratio.values.iter().zip(&ratio.u_silence))
        .map(|(solved, (&value, u))| root * u * solved.terms.slope_ohm(value))
        .collect();
    Repeated {
        hz,
        mean: &ohm(&ratio.values),
        each: &each,
        numbers: &heard.load.numbers,
        u_ohm: &u_ohm,
        resolution_hz: &ratio.resolution_hz,
    }
    .shifts(peak)
}

pub(super) fn nearest(hz: &[f64], wanted_hz: f64) -> usize {
    let off = |at: &usize| (hz[*at] / wanted_hz).ln().abs();
    (0..hz.len()).min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(0)
}

/// The middle one of what all points tell; nothing where there is none.
pub(super) fn middle(values: Vec<f64>) -> f64 {
    median(values).unwrap_or(0.0)
}
