//! A box as the document that is kept: units for people, settings, provenance.

use super::boxed::{BoxOrder, ExamineError, USUAL_WALL_M, inputs};
use super::driver_document::quantity;
use crate::MADE_BY;
use crate::diagnosis::{BoxChange, FoundAgainst, FoundBox, LeakAdvice, LeakVerdict, Traced, Wrinkle, hints};
use crate::driver::Doubted;
use crate::enclosure::{Port, PortEnds};
use crate::files::{
    self, BOX_SCHEMA, BoxDocument, BoxSettingsTable, ChangeTable, DesignTable, FileError, FoundTable, HoleTable,
    InputFile, LeakTable, LossTable, MovedTable, PortTable, WrinkleTable, quality_of,
};
use crate::quantity::{Quantity, Unit};

/// What the document is made of.
pub(super) struct Made<'a> {
    pub order: &'a BoxOrder,
    pub found: &'a FoundBox,
    pub before: Option<&'a FoundBox>,
    pub changes: &'a [BoxChange],
    pub design: &'a [FoundAgainst],
    pub leak: Option<&'a LeakAdvice>,
}

pub(super) fn box_document(made: &Made<'_>) -> Result<BoxDocument, ExamineError> {
    let Made { order, found, before, changes, design, leak } = made;
    let mut findings = found.findings.clone();
    findings.extend(leak.iter().map(|leak| leak.finding.clone()));
    let inputs = sums(order)?;
    findings.extend(files::faults_of_inputs(&inputs));
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    Ok(BoxDocument {
        schema: BOX_SCHEMA.into(),
        made_by: MADE_BY.into(),
        provenance: files::Provenance::default(),
        name: order.name.clone(),
        inputs,
        settings: settings(order),
        findings,
        files: Vec::new(),
        found: found_table(order, found, *leak),
        design: design.iter().map(design_table).collect(),
        before: before.map(|before| found_table(order, before, None)),
        changes: changes.iter().map(change_table).collect(),
        air: order.air.into(),
    })
}

fn sums(order: &BoxOrder) -> Result<Vec<InputFile>, FileError> {
    inputs(order)
        .map(|path| Ok(InputFile { path: path.display().to_string(), sha256: files::sha256_of(path)? }))
        .collect()
}

fn settings(order: &BoxOrder) -> BoxSettingsTable {
    let path = |path: &Option<std::path::PathBuf>| path.as_ref().map(|path| path.display().to_string());
    let designed = &order.designed;
    BoxSettingsTable {
        kind: order.kind.name().into(),
        driver: path(&order.driver),
        before: path(&order.before),
        cone: path(&order.cone),
        opening: path(&order.opening),
        band_hz: order.band_hz,
        design_l: designed.volume_m3.map(|volume| 1e3 * volume),
        design_fb_hz: designed.fb_hz,
        design_fp_hz: designed.fp_hz,
        design_ql: designed.ql,
        design_qa: designed.qa,
        design_qp: designed.qp,
        port: designed.port.map(port_table),
        inner_mm: order.inside.inner_m.map(|sides| sides.map(|side| 1e3 * side)),
        wall_mm: 1e3 * order.inside.wall_m.unwrap_or(USUAL_WALL_M),
        material: order.inside.material.map(|material| material.name.into()),
        load_v: order.load_v,
        temperature_c: order.air.temperature_c(),
        pressure_kpa: order.air.pressure_kpa(),
    }
}

fn port_table(port: Port) -> PortTable {
    let ends = PortEnds::NAMES.iter().find(|(_, ends)| *ends == port.ends).map_or("", |(name, _)| name);
    PortTable {
        diameter_mm: 1e3 * port.diameter_m,
        length_mm: 1e3 * port.length_m,
        count: port.count,
        ends: ends.into(),
    }
}

fn found_table(order: &BoxOrder, found: &FoundBox, leak: Option<&LeakAdvice>) -> FoundTable {
    let maybe = |name: &str, unit| found.doubted(name).map(|number| quantity(number, unit));
    let pure = |name: &str| maybe(name, Unit::Pure);
    let factors = LossTable {
        leakage: pure("leakage"),
        absorption: pure("absorption"),
        opening: pure("opening"),
        total: pure("losses"),
    };
    // Losses of an open box that can't be told apart are all counted as leakage, as alignment tables do.
    let leakage =
        factors.leakage.or(factors.total.filter(|_| factors.absorption.is_none() && factors.opening.is_none()));
    FoundTable {
        kind: found.kind.name().into(),
        re: maybe("re_ohm", Unit::Ohm),
        fc: maybe("fc_hz", Unit::Hz),
        qmc: pure("qmc"),
        qec: pure("qec"),
        qtc: pure("qtc"),
        fb: maybe("fb_hz", Unit::Hz),
        fp: maybe("fp_hz", Unit::Hz),
        f_low: maybe("f_low_hz", Unit::Hz),
        f_high: maybe("f_high_hz", Unit::Hz),
        alpha: pure("alpha"),
        volume: maybe("volume_m3", Unit::Litre),
        ql: leakage.and_then(quality_of),
        qa: factors.absorption.and_then(quality_of),
        qp: factors.opening.and_then(quality_of),
        loss_factors: factors,
        leak: leak_table(order, found, leak),
        driver_moved: MovedTable {
            mass: pure("mass_ratio"),
            stiffness: pure("stiffness_ratio"),
            friction: pure("friction_ratio"),
        },
        wrinkles: found.wrinkles.iter().map(|wrinkle| wrinkle_table(wrinkle, order)).collect(),
        residual_percent: found.residual_percent,
        misfit_ratio: found.misfit_ratio,
        widened_ratio: found.widened_ratio,
        band_hz: found.band_hz,
    }
}

fn leak_table(order: &BoxOrder, found: &FoundBox, advice: Option<&LeakAdvice>) -> LeakTable {
    let wall_mm = 1e3 * order.inside.wall_m.unwrap_or(USUAL_WALL_M);
    let hole = advice.and_then(|advice| advice.hole).map(|hole| HoleTable {
        diameter_mm: 1e3 * hole.diameter_m,
        wall_mm,
        flow: hole.flow.name().into(),
        mass_over_friction: hole.mass_over_friction,
    });
    let present = match found.leak.verdict {
        LeakVerdict::Leaky => "yes",
        LeakVerdict::Airtight => "no",
        LeakVerdict::Undecided => "undecided",
    };
    LeakTable {
        present: present.into(),
        ql: found.leak.ql.map(|ql| quantity(ql, Unit::Pure)),
        ql_above: found.leak.ql_above,
        evidence: found.leak.evidence,
        hole,
    }
}

fn wrinkle_table(wrinkle: &Wrinkle, order: &BoxOrder) -> WrinkleTable {
    WrinkleTable {
        frequency_hz: wrinkle.hz,
        u_frequency_hz: wrinkle.u_hz,
        height_ohm: wrinkle.height_ohm.norm(),
        u_height_ohm: wrinkle.u_height_ohm,
        q: wrinkle.q,
        u_q: wrinkle.u_q,
        sigmas: wrinkle.sigmas,
        hints: hints(wrinkle, &order.inside, &order.air).into_iter().map(|hint| hint.says).collect(),
    }
}

/// The document's key and unit of a number, and whether it is a loss factor that is shown as a Q.
fn key(name: &str) -> (&str, Unit, IsLoss) {
    match name {
        "volume_m3" => ("volume", Unit::Litre, IsLoss::No),
        "fb_hz" => ("fb", Unit::Hz, IsLoss::No),
        "fc_hz" => ("fc", Unit::Hz, IsLoss::No),
        "fp_hz" => ("fp", Unit::Hz, IsLoss::No),
        "re_ohm" => ("re", Unit::Ohm, IsLoss::No),
        "leakage" => ("ql", Unit::Pure, IsLoss::Yes),
        "absorption" => ("qa", Unit::Pure, IsLoss::Yes),
        "opening" => ("qp", Unit::Pure, IsLoss::Yes),
        other => (other, Unit::Pure, IsLoss::No),
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum IsLoss {
    Yes,
    No,
}

fn design_table(beside: &FoundAgainst) -> DesignTable {
    let (name, unit, is_loss) = key(beside.name);
    let designed = quantity(Doubted { value: beside.designed, u: 0.0 }, unit).value;
    let found = quantity(beside.found, unit);
    let (designed, found) = match is_loss {
        IsLoss::Yes => (1.0 / designed, quality_of(found)),
        IsLoss::No => (designed, Some(found)),
    };
    DesignTable { quantity: name.into(), designed, found, sigmas: beside.sigmas, says: beside.says.clone() }
}

fn change_table(change: &BoxChange) -> ChangeTable {
    let (name, unit) = match key(change.name) {
        // Losses stay loss factors: what is gone has no Q.
        (_, unit, IsLoss::Yes) => (change.name, unit),
        _ if change.name == "wrinkle" => ("wrinkle", Unit::Ohm),
        (name, unit, IsLoss::No) => (name, unit),
    };
    let shown = |number: &Option<Traced>| -> Option<Quantity> {
        number.as_ref().map(|number| quantity(number.doubted(), unit))
    };
    ChangeTable {
        quantity: name.into(),
        before: shown(&change.before),
        after: shown(&change.after),
        change: quantity(change.change, unit),
        real: change.is_real,
        says: change.says.clone(),
    }
}
