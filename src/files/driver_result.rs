//! The result of a driver's measurement as a document, `boxwright/driver/1`.
//!
//! Numbers with their doubt as `{value, u, unit}`; a number of the hand method, which has no doubt, as `{value, unit}`.
//! What can't be had is absent, with a finding that says why. The covariance is in SI units, its names carry them.

use super::response_result::{InputFile, WrittenFile};
use super::text::{MOST_TEXT_BYTES, decode, read_bounded};
use super::{FileError, Provenance, air_result::AirTable, sheet_result::SheetTable};
use crate::diagnosis::KnownDriver;
use crate::driver::{Doubted, DriverModel, Suspension, VoiceCoil, natural_names};
use crate::quantity::{Finding, Quantity, SENTENCE, Unit, WORD, excerpt};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Name and version of this kind of document.
pub const DRIVER_SCHEMA: &str = "boxwright/driver/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // the quantities are what every textbook calls so
pub struct DriverDocument {
    /// [`DRIVER_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// How it was made.
    #[serde(flatten)]
    pub provenance: Provenance,
    /// What people call the driver.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub name: Option<String>,
    /// What was read.
    pub inputs: Vec<InputFile>,
    /// Every setting that shaped the result.
    pub settings: DriverSettings,
    /// What there is to say about trust, the worst first.
    pub findings: Vec<Finding>,
    /// What was written.
    pub files: Vec<WrittenFile>,
    pub re: Quantity,
    pub fs: Quantity,
    pub qms: Quantity,
    pub qes: Quantity,
    pub qts: Quantity,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub vas: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sd: Option<Quantity>,
    /// With the air that moves along.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub mms: Option<Quantity>,
    /// Without it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub mmd: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cms: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub rms: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bl: Option<Quantity>,
    /// Efficiency in half space, percent.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub eta0: Option<Quantity>,
    /// At 2.83 V, 1 m, half space, dB re 20 µPa.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sensitivity: Option<Quantity>,
    /// The same for 1 W in R_e.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sensitivity_1w: Option<Quantity>,
    pub voice_coil: VoiceCoilTable,
    pub suspension: SuspensionTable,
    /// The classic hand method, for comparison.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub three_point: Option<ThreePointTable>,
    /// Root mean square of what the model leaves, in percent of |Z|.
    pub residual_percent: f64,
    /// Mean square of the residuals over what the noise explains; absent where the noise is not known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub misfit_ratio: Option<f64>,
    /// By how much the uncertainties were widened for what the model leaves.
    pub widened_ratio: f64,
    /// What was fitted.
    pub band_hz: [f64; 2],
    /// All models that were tried, best first.
    pub candidates: Vec<CandidateTable>,
    /// Each way to the moving mass by itself.
    pub methods: Vec<MethodTable>,
    /// The ways in pairs.
    pub agreements: Vec<AgreementTable>,
    pub air: AirTable,
    /// The data sheet beside what was found.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub datasheet: Option<SheetTable>,
    pub covariance: CovarianceTable,
}

/// Every setting that shaped the result; uncertainties are standard.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // each is the option of the same name
pub struct DriverSettings {
    pub voice_coil: String,
    pub suspension: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub band_hz: Option<[f64; 2]>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub re_ohm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub diameter_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sd_cm2: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub u_sd_cm2: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub added_mass_g: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub u_added_mass_g: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub test_box_l: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub u_test_box_l: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub mms_g: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub u_mms_g: Option<f64>,
    pub mounting: String,
    pub temperature_c: f64,
    pub pressure_kpa: f64,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub box_l: Option<f64>,
}

/// A number without doubt of its own.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Plain {
    /// The value in `unit`.
    pub value: f64,
    /// Its unit.
    pub unit: Unit,
}

/// The classic three points.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // the symbols of every textbook
pub struct ThreePointTable {
    pub fs: Plain,
    pub qms: Plain,
    pub qes: Plain,
    pub qts: Plain,
    pub re: Plain,
    pub zmax: Plain,
    /// Where |Z| is √(R_e·Z_max).
    pub sides_hz: [f64; 2],
}

/// The voice coil's model and its numbers; those of other models are absent.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // see `VoiceCoil`
pub struct VoiceCoilTable {
    pub model: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub leb: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub le: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub l2: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub r2: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ke_semih: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub u_ke_semih: Option<f64>,
    /// K of `K·(jω)ⁿ`, ohm at 1 rad/s.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub k: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub u_k: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub n: Option<Quantity>,
    /// Imaginary part over ω at 1 kHz, as data sheets give L_e.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at_1khz: Option<Quantity>,
}

/// The suspension's model and its number.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // see `Suspension`
pub struct SuspensionTable {
    pub model: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub lambda: Option<Quantity>,
}

/// A model that was tried.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[allow(missing_docs)] // see `Candidate`
pub struct CandidateTable {
    pub voice_coil: String,
    pub suspension: String,
    pub parameters: usize,
    /// Corrected AIC less the best one's.
    pub aicc_above_best: f64,
    pub residual_percent: f64,
}

/// What one way to the moving mass gives by itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MethodTable {
    /// `added-mass`, `test-box` or `known-mass`.
    pub method: String,
    /// Moving mass.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub mms: Option<Quantity>,
    /// Equivalent volume.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub vas: Option<Quantity>,
    /// What the textbook makes of the two resonances alone.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub textbook: Option<Plain>,
    /// How far resonance and damping are apart, over the uncertainty of that.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub apart_in_u: Option<f64>,
    /// Whether it has a part in the result.
    pub used: bool,
}

/// Two ways side by side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AgreementTable {
    /// The one.
    pub a: String,
    /// The other.
    pub b: String,
    /// By how much the moving mass of `a` is above that of `b`, percent.
    pub difference: Quantity,
    /// Whether that is within twice its uncertainty.
    pub agree: bool,
}

/// A covariance in SI units.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CovarianceTable {
    /// Of what, with units.
    pub names: Vec<String>,
    /// As many rows and columns.
    pub matrix: Vec<Vec<f64>>,
}

impl DriverDocument {
    /// The model of the driver's impedance that the document describes; none where its voice coil or suspension is not
    /// known here.
    pub fn model(&self) -> Option<DriverModel> {
        let coil = &self.voice_coil;
        let henry = |quantity: Option<Quantity>| quantity.map(|quantity| 1e-3 * quantity.value);
        let voice_coil = match coil.model.as_str() {
            "inductance" => VoiceCoil::Inductance { le_h: henry(coil.le)? },
            "ladder" => VoiceCoil::Ladder { le_h: henry(coil.le)?, l2_h: henry(coil.l2)?, r2_ohm: coil.r2?.value },
            "semi-inductance" => {
                VoiceCoil::SemiInductance { leb_h: henry(coil.leb)?, le_h: henry(coil.le)?, ke_semih: coil.ke_semih? }
            }
            "power-law" => VoiceCoil::PowerLaw { k: coil.k?, n: coil.n?.value },
            _ => return None,
        };
        let suspension = match self.suspension.model.as_str() {
            "plain" => Suspension::Plain,
            "creep" => Suspension::Creep { lambda: self.suspension.lambda?.value },
            _ => return None,
        };
        let [re_ohm, fs_hz, qms, qes] = [self.re, self.fs, self.qms, self.qes].map(|quantity| quantity.value);
        Some(DriverModel { re_ohm, fs_hz, qms, qes, voice_coil, suspension })
    }
}

impl DriverDocument {
    /// The driver as a box's diagnosis wants it; none where model or covariance is not known here.
    pub fn known(&self) -> Option<KnownDriver> {
        let model = self.model()?;
        let of_model = natural_names(&model);
        let place = |name: &&str| self.covariance.names.iter().position(|known| known == name);
        let places: Vec<usize> = of_model.iter().map(place).collect::<Option<_>>()?;
        let row = |&at: &usize| places.iter().map(|&k| self.covariance.matrix.get(at)?.get(k).copied()).collect();
        let covariance: Vec<Vec<f64>> = places.iter().map(row).collect::<Option<_>>()?;
        let si = |quantity: Option<Quantity>, scale: f64| {
            quantity.map(|quantity| Doubted { value: scale * quantity.value, u: scale * quantity.u })
        };
        Some(KnownDriver {
            model,
            covariance,
            vas_m3: si(self.vas, 1e-3),
            sd_m2: si(self.sd, 1e-4),
            mms_kg: si(self.mms, 1e-3),
            bl_tm: si(self.bl, 1.0),
        })
    }
}

/// What tells one kind of document from another.
#[derive(Deserialize)]
struct Head {
    schema: Option<String>,
}

/// The document that `driver` wrote or printed.
///
/// # Errors
/// [`FileError::Document`] with line and column where it is no such document; `Io`, `NotText`, `TooLarge`.
pub fn read_driver_result(path: &Path) -> Result<DriverDocument, FileError> {
    driver_result_from(&decode(&read_bounded(path, MOST_TEXT_BYTES)?, path)?, path)
}

/// The same from a text; `path` is only its name in messages.
///
/// # Errors
/// As [`read_driver_result`], but never `Io`.
pub fn driver_result_from(text: &str, path: &Path) -> Result<DriverDocument, FileError> {
    let refuse = |line, column, says| FileError::Document { path: path.into(), line, column, says };
    let explain =
        |error: serde_json::Error| refuse(error.line(), error.column(), excerpt(&error.to_string(), SENTENCE));
    let head: Head = serde_json::from_str(text).map_err(explain)?;
    let schema = head.schema.as_deref().unwrap_or("none");
    if schema != DRIVER_SCHEMA {
        return Err(refuse(1, 1, format!("its schema is {}, needed {DRIVER_SCHEMA}", excerpt(schema, WORD))));
    }
    let document: DriverDocument = serde_json::from_str(text).map_err(explain)?;
    let needed = [("re", document.re), ("fs", document.fs), ("qms", document.qms), ("qes", document.qes)];
    match needed.iter().find(|(_, quantity)| !(quantity.value > 0.0 && quantity.u >= 0.0)) {
        Some((name, quantity)) => {
            Err(refuse(1, 1, format!("{name} is {} ± {}, it must be above zero", quantity.value, quantity.u)))
        }
        None => Ok(document),
    }
}
