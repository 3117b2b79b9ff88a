//! A driver as the document that is kept: units for people, settings, provenance.

use super::driver::{CharacteriseError, DriverOrder};
use crate::MADE_BY;
use crate::driver::{
    Agreement, Doubted, DriverFit, DriverParameters, Method, MethodResult, Mounting, ThreePoint, VoiceCoil,
};
use crate::files::{
    self, AgreementTable, CandidateTable, CovarianceTable, DRIVER_SCHEMA, DriverDocument, DriverSettings, FileError,
    InputFile, MethodTable, Plain, SheetTable, SuspensionTable, ThreePointTable, VoiceCoilTable,
};
use crate::math::{Correlated, propagated};
use crate::quantity::{Finding, Quantity, Unit};
use std::f64::consts::TAU;
use std::path::Path;

/// What the document is made of.
pub(super) struct Made<'a> {
    pub order: &'a DriverOrder,
    pub fit: &'a DriverFit,
    pub parameters: &'a DriverParameters,
    /// The data sheet's part, and what there is to say about it.
    pub sheet: Option<(SheetTable, Vec<Finding>)>,
}

/// How many of a unit are one of SI.
pub(super) fn per_si(unit: Unit) -> f64 {
    match unit {
        Unit::Litre | Unit::Gram | Unit::MillimetrePerNewton | Unit::Millihenry => 1e3,
        Unit::SquareCentimetre => 1e4,
        Unit::Percent => 1e2,
        _ => 1.0,
    }
}

pub(super) fn quantity(doubted: Doubted, unit: Unit) -> Quantity {
    let scale = per_si(unit);
    Quantity { value: scale * doubted.value, u: scale * doubted.u, unit }
}

pub(super) fn driver_document(made: Made<'_>) -> Result<DriverDocument, CharacteriseError> {
    let Made { order, fit, parameters, sheet } = made;
    let maybe = |name: &str, unit| parameters.value(name).map(|found| quantity(found, unit));
    let fitted = |name: &str, unit| maybe(name, unit).expect("every fit has it");
    let mut findings = [fit.findings.clone(), parameters.findings.clone()].concat();
    let (datasheet, said) = sheet.map_or((None, Vec::new()), |(table, said)| (Some(table), said));
    findings.extend(said);
    let inputs = inputs(order)?;
    findings.extend(files::faults_of_inputs(&inputs));
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    Ok(DriverDocument {
        schema: DRIVER_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: files::Provenance::default(),
        name: order.name.clone(),
        inputs,
        settings: settings(order),
        findings,
        files: Vec::new(),
        re: fitted("re_ohm", Unit::Ohm),
        fs: fitted("fs_hz", Unit::Hz),
        qms: fitted("qms", Unit::Pure),
        qes: fitted("qes", Unit::Pure),
        qts: fitted("qts", Unit::Pure),
        vas: maybe("vas_m3", Unit::Litre),
        sd: maybe("sd_m2", Unit::SquareCentimetre),
        mms: maybe("mms_kg", Unit::Gram),
        mmd: maybe("mmd_kg", Unit::Gram),
        cms: maybe("cms_m_n", Unit::MillimetrePerNewton),
        rms: maybe("rms_kg_s", Unit::KilogramPerSecond),
        bl: maybe("bl_tm", Unit::TeslaMetre),
        eta0: maybe("eta0_ratio", Unit::Percent),
        sensitivity: maybe("sensitivity_db", Unit::Decibel),
        sensitivity_1w: maybe("sensitivity_1w_db", Unit::Decibel),
        voice_coil: voice_coil(fit, parameters),
        suspension: SuspensionTable { model: fit.model.suspension.name().into(), lambda: maybe("lambda", Unit::Pure) },
        three_point: fit.three_point.as_ref().map(three_point),
        residual_percent: fit.residual_percent,
        misfit_ratio: fit.misfit_ratio,
        widened_ratio: fit.widened_ratio,
        band_hz: fit.band_hz,
        candidates: candidates(fit),
        methods: parameters.methods.iter().map(method).collect(),
        agreements: parameters.agreements.iter().map(agreement).collect(),
        air: order.air.into(),
        datasheet,
        covariance: covariance(parameters),
    })
}

fn inputs(order: &DriverOrder) -> Result<Vec<InputFile>, FileError> {
    let seconds = [&order.with_mass, &order.in_box].into_iter().flatten().map(|(path, _)| path.as_path());
    let all = [order.curve.as_path()].into_iter().chain(seconds).chain(order.datasheet.as_deref());
    let input = |path: &Path| Ok(InputFile { path: path.display().to_string(), sha256: files::sha256_of(path)? });
    all.map(input).collect()
}

fn settings(order: &DriverOrder) -> DriverSettings {
    let scaled = |doubted: Option<Doubted>, unit| doubted.map(|doubted| quantity(doubted, unit));
    let value = |quantity: Option<Quantity>| quantity.map(|quantity| quantity.value);
    let u = |quantity: Option<Quantity>| quantity.map(|quantity| quantity.u);
    let sd = scaled(order.sd_m2, Unit::SquareCentimetre);
    let mass = scaled(order.with_mass.as_ref().map(|(_, mass)| *mass), Unit::Gram);
    let volume = scaled(order.in_box.as_ref().map(|(_, volume)| *volume), Unit::Litre);
    let mms = scaled(order.mms_kg, Unit::Gram);
    DriverSettings {
        voice_coil: order.fit.voice_coil.map_or("auto", |kind| kind.name()).into(),
        suspension: order.fit.suspension.map_or("auto", |kind| kind.name()).into(),
        band_hz: order.fit.band_hz,
        re_ohm: order.fit.dc_resistance_ohm,
        diameter_mm: order.diameter_m.map(|diameter_m| 1e3 * diameter_m),
        sd_cm2: value(sd),
        u_sd_cm2: u(sd),
        added_mass_g: value(mass),
        u_added_mass_g: u(mass),
        test_box_l: value(volume),
        u_test_box_l: u(volume),
        mms_g: value(mms),
        u_mms_g: u(mms),
        mounting: match order.mounting {
            Mounting::FreeAir => "free-air",
            Mounting::Baffle => "baffle",
        }
        .into(),
        temperature_c: order.air.temperature_c(),
        pressure_kpa: order.air.pressure_kpa(),
        box_l: order.box_m3.map(|box_m3| 1e3 * box_m3),
    }
}

fn voice_coil(fit: &DriverFit, parameters: &DriverParameters) -> VoiceCoilTable {
    let maybe = |name: &str, unit| parameters.value(name).map(|found| quantity(found, unit));
    let number = |name: &str| parameters.value(name);
    VoiceCoilTable {
        model: fit.model.voice_coil.name().into(),
        leb: maybe("leb_h", Unit::Millihenry),
        le: maybe("le_h", Unit::Millihenry),
        l2: maybe("l2_h", Unit::Millihenry),
        r2: maybe("r2_ohm", Unit::Ohm),
        ke_semih: number("ke_semih").map(|found| found.value),
        u_ke_semih: number("ke_semih").map(|found| found.u),
        k: number("k").map(|found| found.value),
        u_k: number("k").map(|found| found.u),
        n: maybe("n", Unit::Pure),
        at_1khz: inductance_at_1khz(fit).map(|found| quantity(found, Unit::Millihenry)),
    }
}

/// Im Z_coil/ω at 1 kHz, as data sheets give L_e; absent where the fitted band ends too far below to tell.
pub(super) fn inductance_at_1khz(fit: &DriverFit) -> Option<Doubted> {
    const SHEET_HZ: f64 = 1000.0;
    let within_reach = fit.band_hz[1] >= 0.5 * SHEET_HZ;
    let numbers = Correlated { values: fit.values.clone(), covariance: fit.covariance.clone() };
    let omega = TAU * SHEET_HZ;
    let inductance = |values: &[f64]| {
        let of = |name: &str| fit.names.iter().position(|known| *known == name).map_or(f64::NAN, |at| values[at]);
        let coil = match fit.model.voice_coil {
            VoiceCoil::Inductance { .. } => VoiceCoil::Inductance { le_h: of("le_h") },
            VoiceCoil::Ladder { .. } => VoiceCoil::Ladder { le_h: of("le_h"), l2_h: of("l2_h"), r2_ohm: of("r2_ohm") },
            VoiceCoil::SemiInductance { .. } => {
                VoiceCoil::SemiInductance { leb_h: of("leb_h"), le_h: of("le_h"), ke_semih: of("ke_semih") }
            }
            VoiceCoil::PowerLaw { .. } => VoiceCoil::PowerLaw { k: of("k"), n: of("n") },
        };
        vec![coil.impedance_ohm(omega).im / omega]
    };
    let found = propagated(&numbers, inductance);
    let doubted = Doubted { value: found.values[0], u: found.u(0) };
    (within_reach && doubted.value.is_finite() && doubted.u.is_finite()).then_some(doubted)
}

fn three_point(points: &ThreePoint) -> ThreePointTable {
    ThreePointTable {
        fs: Plain::new(points.fs_hz, Unit::Hz),
        qms: Plain::new(points.qms, Unit::Pure),
        qes: Plain::new(points.qes, Unit::Pure),
        qts: Plain::new(points.qts, Unit::Pure),
        re: Plain::new(points.re_ohm, Unit::Ohm),
        zmax: Plain::new(points.zmax_ohm, Unit::Ohm),
        sides_hz: points.sides_hz,
    }
}

fn candidates(fit: &DriverFit) -> Vec<CandidateTable> {
    let table = |candidate: &crate::driver::Candidate| CandidateTable {
        voice_coil: candidate.model.voice_coil.name().into(),
        suspension: candidate.model.suspension.name().into(),
        parameters: candidate.parameters,
        aicc_above_best: candidate.aicc_above_best,
        residual_percent: candidate.residual_percent,
    };
    fit.candidates.iter().filter(|candidate| candidate.aicc_above_best.is_finite()).map(table).collect()
}

fn method(result: &MethodResult) -> MethodTable {
    let unit = if result.method == Method::TestBox { Unit::Litre } else { Unit::Gram };
    MethodTable {
        method: result.method.name().into(),
        mms: result.mms_kg.map(|mass| quantity(mass, Unit::Gram)),
        vas: result.vas_m3.map(|volume| quantity(volume, Unit::Litre)),
        textbook: result.textbook.map(|value| Plain::new(per_si(unit) * value, unit)),
        apart_in_u: result.apart,
        used: result.is_used,
    }
}

fn agreement(pair: &Agreement) -> AgreementTable {
    let Doubted { value, u } = pair.difference_percent;
    AgreementTable {
        a: pair.a.name().into(),
        b: pair.b.name().into(),
        difference: Quantity { value, u, unit: Unit::Percent },
        agree: pair.agree(),
    }
}

fn covariance(parameters: &DriverParameters) -> CovarianceTable {
    CovarianceTable {
        names: parameters.names.iter().map(|name| (*name).to_owned()).collect(),
        matrix: parameters.numbers.covariance.clone(),
    }
}
