//! A capture with the chosen settings against the predicted sum: what is to be corrected.
//!
//! The predicted sum's table names those of its parts beside it; `blend/offset.rs` tells how both stand to each other in the capture.

use super::blend_curves::MOST_LEFT_RATIO;
use super::blend_document::FOOT_M;
use super::compare::{CompareError, CompareOrder};
use crate::blend::{BothPlaying, Offset, PolarityKnown, PolarityTold, Stand, TimeRange, left_with, offset};
use crate::files::{self, BLEND_SCHEMA, CauseTable, Curve, LeftTable, sampled_of};
use crate::quantity::{Air, Code, Finding, Quantity, Severity, Unit, amplitude_from_db};
use num_complex::Complex64;
use std::path::PathBuf;

/// What the capture says of the setting.
pub(super) struct CheckedBlend {
    /// What is to be corrected; absent where the capture can't tell.
    pub causes: Option<Vec<CauseTable>>,
    pub left: Option<LeftTable>,
    pub findings: Vec<Finding>,
    /// The tables of the parts.
    pub inputs: Vec<PathBuf>,
}

/// Receivers add some tens of milliseconds of their own; of those between both loudspeakers no more than this is looked for, s.
const RANGE: TimeRange = TimeRange { zero_s: 60e-3, between_s: 25e-3 };
/// Looked at from two octaves below the crossover to well above, where the satellite alone fixes the zero of time.
const BAND_RATIO: [f64; 2] = [0.25, 6.0];
/// Less than this is no matter, s and dB: a receiver's steps are coarser.
const LEAST_DELAY_S: f64 = 1e-4;
const LEAST_GAIN_DB: f64 = 0.5;
/// Of its own doubt.
const TIMES_DOUBT: f64 = 3.0;

/// What a capture says of a setting; `None` where the expected curve is no predicted sum.
pub(super) fn check_blend(
    order: &CompareOrder,
    measured: &Curve,
    expected: &Curve,
) -> Result<Option<CheckedBlend>, CompareError> {
    let names = [expected.header_value("satellite"), expected.header_value("subwoofer")];
    let ([Some(satellite), Some(subwoofer)], Some(BLEND_SCHEMA)) = (names, expected.header_value("schema")) else {
        return Ok(None);
    };
    let beside = |name: &str| order.expected.with_file_name(name);
    let inputs = vec![beside(satellite), beside(subwoofer)];
    if let Some(missing) = inputs.iter().find(|path| !path.is_file()) {
        let says = format!("{} is not there, so the setting is not judged", missing.display());
        return Ok(Some(CheckedBlend::silent(says, "keep the tables that boxwright blend wrote together")));
    }
    if measured.phase_deg.is_none() {
        let says = "the measured curve has no phase, so the setting is not judged".to_owned();
        return Ok(Some(CheckedBlend::silent(says, "give the response.csv of a capture with both playing")));
    }
    let parts = inputs.iter().map(|path| files::read_curve(path)).collect::<Result<Vec<_>, _>>()?;
    let judged = judged(order, measured, expected, &parts);
    let nothing = || {
        let says = "the curves have too little in common around the crossover, so the setting is not judged".to_owned();
        CheckedBlend::silent(says, "measure both playing from an octave below the crossover up")
    };
    Ok(Some(CheckedBlend { inputs, ..judged.unwrap_or_else(nothing) }))
}

impl CheckedBlend {
    fn silent(says: String, advice: &str) -> Self {
        let finding = Finding::new(Code::Incomplete, Severity::Note, says, advice);
        Self { causes: None, left: None, findings: vec![finding], inputs: Vec::new() }
    }
}

fn judged(order: &CompareOrder, measured: &Curve, expected: &Curve, parts: &[Curve]) -> Option<CheckedBlend> {
    let crossover_hz = expected.header_number("crossover_hz")?;
    let [from_hz, to_hz] = order.band_hz.unwrap_or(BAND_RATIO.map(|ratio| ratio * crossover_hz));
    let readers = parts.iter().chain([measured]).map(|curve| sampled_of(curve).reader()).collect::<Option<Vec<_>>>()?;
    let within = expected.frequency_hz.iter().copied().filter(|hz| (from_hz..=to_hz).contains(hz));
    let rows = within.filter_map(|hz| {
        let values = readers.iter().map(|reader| reader.at(hz).map(|point| point.value()));
        Some((hz, values.collect::<Option<Vec<Complex64>>>()?))
    });
    let rows: Vec<(f64, Vec<Complex64>)> = rows.collect();
    let column = |number: usize| rows.iter().map(|(_, values)| values[number]).collect::<Vec<Complex64>>();
    let (hz, satellite, subwoofer, heard) =
        (rows.iter().map(|(hz, _)| *hz).collect::<Vec<f64>>(), column(0), column(1), column(2));
    let both = BothPlaying {
        hz: &hz,
        satellite: &satellite,
        subwoofer: &subwoofer,
        measured: &heard,
        resolution_hz: measured.resolution_hz().unwrap_or(0.0),
    };
    let found = offset(&both, RANGE, PolarityKnown::No)?;
    let left_ratio = found.left_ratio / found.level_ratio;
    if left_ratio > MOST_LEFT_RATIO {
        let says = format!(
            "{:.0} % of the capture are no sum of the predicted parts, however they stand, so the setting is not judged",
            100.0 * left_ratio
        );
        let advice = "compare with the sum of the seat where it was captured, with nothing moved since";
        let finding = Finding::new(Code::Disagreement, Severity::Caution, says, advice);
        return Some(CheckedBlend { causes: None, left: None, findings: vec![finding], inputs: Vec::new() });
    }
    Some(told(&found, &both))
}

fn told(found: &Offset, both: &BothPlaying<'_>) -> CheckedBlend {
    let is_late = found.delay_s.abs() > LEAST_DELAY_S.max(TIMES_DOUBT * found.u_delay_s);
    let is_loud = found.gain_db.abs() > LEAST_GAIN_DB.max(TIMES_DOUBT * found.u_gain_db);
    let is_reversed = found.polarity == PolarityTold::Opposite;
    let sign = if is_reversed { -1.0 } else { 1.0 };
    let ratio = sign * amplitude_from_db(found.gain_db);
    let all = Stand { delay_s: found.delay_s, ratio };
    let squares = |stand: Stand| left_with(both, stand, RANGE).powi(2);
    let [none, left] = [squares(Stand::EXPECTED), squares(all)];
    // Of the difference: what comes back when this cause alone is not believed.
    let share = |without: Stand| (100.0 * (squares(without) - left) / none).clamp(0.0, 100.0);
    let mut causes = Vec::new();
    let mut corrections = Vec::new();
    if is_reversed {
        let without = Stand { ratio: -ratio, ..all };
        let says = "the subwoofer plays with the other polarity than predicted".to_owned();
        causes.push(cause("polarity subwoofer", None, Some("reversed"), share(without), says));
        corrections.push("turn the subwoofer's phase switch to the other side".to_owned());
    }
    if is_late {
        let quantity = Quantity { value: 1e3 * found.delay_s, u: 1e3 * found.u_delay_s, unit: Unit::Millisecond };
        let word = if found.delay_s > 0.0 { "later" } else { "earlier" };
        let by = Quantity { value: quantity.value.abs(), ..quantity };
        let says = format!("the subwoofer comes {by} {word} than predicted");
        causes.push(cause("delay", Some(quantity), None, share(Stand { delay_s: 0.0, ..all }), says));
        let metres = found.delay_s.abs() * Air::default().speed_of_sound_m_s();
        let way = if found.delay_s > 0.0 { "farther" } else { "nearer" };
        let who = if found.delay_s > 0.0 { "satellites" } else { "subwoofer" };
        corrections.push(format!(
            "delay the {who} by {:.2} ms more, or enter the subwoofer {metres:.2} m ({:.1} ft) {way} than it is entered now",
            by.value,
            metres / FOOT_M
        ));
    }
    if is_loud {
        let quantity = Quantity { value: found.gain_db, u: found.u_gain_db, unit: Unit::Decibel };
        let word = if found.gain_db > 0.0 { "louder" } else { "softer" };
        let says =
            format!("the subwoofer is {} {word} than predicted", Quantity { value: found.gain_db.abs(), ..quantity });
        causes.push(cause("level subwoofer", Some(quantity), None, share(Stand { ratio: sign, ..all }), says));
        corrections.push(format!("change the subwoofer's level by {:+.1} dB", -found.gain_db));
    }
    causes.sort_by(|a, b| b.explains_percent.total_cmp(&a.explains_percent));
    let mut findings = Vec::new();
    if !causes.is_empty() {
        let says = causes.iter().map(|cause| cause.says.clone()).collect::<Vec<_>>().join("; ");
        findings.push(Finding::new(Code::WrongSetting, Severity::Caution, says, corrections.join("; ")));
    }
    if found.polarity == PolarityTold::Undecided {
        let says = "the capture fits either polarity, with a delay to suit; the smaller difference was taken";
        let advice = "compare over a wider band, or at a seat with less of the room";
        findings.push(Finding::new(Code::Incomplete, Severity::Note, says, advice));
    }
    let left_ratio = found.left_ratio / found.level_ratio;
    let percent = 100.0 * left_ratio;
    let says = match causes.is_empty() {
        true => format!("the settings act as predicted; {percent:.1} % of the sum is left over"),
        false => format!("{percent:.1} % of the sum is left over with that"),
    };
    let unexplained_percent = if none > 0.0 { (100.0 * left / none).min(100.0) } else { 0.0 };
    let left = LeftTable { unexplained_percent, rms_db: None, rms_ohm_percent: None, says };
    CheckedBlend { causes: Some(causes), left: Some(left), findings, inputs: Vec::new() }
}

fn cause(name: &str, found: Option<Quantity>, state: Option<&str>, explains_percent: f64, says: String) -> CauseTable {
    CauseTable {
        cause: name.into(),
        designed: found.map(|_| 0.0),
        found,
        state: state.map(str::to_owned),
        explains_percent,
        says,
        or: Vec::new(),
        tell_apart: None,
    }
}
