//! JSON schemas (draft 2020-12) of what is read and written: the job, descriptions, results.
//!
//! They follow from the types, so that they can't say anything else. What can't be had is absent from a result and never null, but for
//! numbers in columns.

use super::*;
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};
use serde_json::{Value, json};

/// What has a schema: its name, and the schema.
pub fn schemas() -> Vec<(&'static str, Value)> {
    vec![
        ("job", of::<Job>(Direction::Read, None)),
        ("capture", of::<CaptureDescription>(Direction::Read, Some(CAPTURE_SCHEMA))),
        ("signal", of::<SignalDescription>(Direction::Read, Some(SIGNAL_SCHEMA))),
        ("report", of::<ReportDocument>(Direction::Written, Some(REPORT_SCHEMA))),
        ("status", of::<StatusDocument>(Direction::Written, Some(STATUS_SCHEMA))),
        ("check", of::<CheckDocument>(Direction::Written, Some(CHECK_SCHEMA))),
        ("response", of::<ResponseDocument>(Direction::Written, Some(RESPONSE_SCHEMA))),
        ("placement", of::<PlacementDocument>(Direction::Written, Some(PLACEMENT_SCHEMA))),
        ("impedance", of::<ImpedanceDocument>(Direction::Written, Some(IMPEDANCE_SCHEMA))),
        ("driver", of::<DriverDocument>(Direction::Written, Some(DRIVER_SCHEMA))),
        ("box", of::<BoxDocument>(Direction::Written, Some(BOX_SCHEMA))),
        ("simulation", of::<SimulationDocument>(Direction::Written, Some(SIMULATION_SCHEMA))),
        ("network", of::<NetworkDocument>(Direction::Written, Some(NETWORK_SCHEMA))),
        ("compare", of::<CompareDocument>(Direction::Written, Some(COMPARE_SCHEMA))),
        ("join", of::<JoinDocument>(Direction::Written, Some(JOIN_SCHEMA))),
        ("match", of::<MatchDocument>(Direction::Written, Some(MATCH_SCHEMA))),
        ("average", of::<AverageDocument>(Direction::Written, Some(AVERAGE_SCHEMA))),
        ("blend", of::<BlendDocument>(Direction::Written, Some(BLEND_SCHEMA))),
    ]
}

/// Whether a person or another program may write it, or only this one.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Direction {
    Read,
    Written,
}

fn of<T: JsonSchema>(direction: Direction, name: Option<&str>) -> Value {
    let settings = SchemaSettings::draft2020_12();
    let settings = match direction {
        Direction::Read => settings.for_deserialize(),
        Direction::Written => settings.for_serialize(),
    };
    let schema: Schema = settings.into_generator().into_root_schema_for::<T>();
    let mut schema = schema.to_value();
    without_null(&mut schema);
    if let Some(name) = name {
        schema["properties"]["schema"] =
            json!({ "const": name, "description": "Name and version of this kind of document." });
    }
    schema
}

/// A key that may be absent is not for that reason null.
fn without_null(value: &mut Value) {
    if let Some(properties) = value.get_mut("properties").and_then(Value::as_object_mut) {
        properties.values_mut().for_each(not_null);
    }
    match value {
        Value::Object(table) => table.values_mut().for_each(without_null),
        Value::Array(list) => list.iter_mut().for_each(without_null),
        _ => {}
    }
}

fn not_null(property: &mut Value) {
    let is_null = |one: &Value| *one == json!("null") || *one == json!({ "type": "null" });
    if let Some(types) = property.get_mut("type").and_then(Value::as_array_mut) {
        types.retain(|one| !is_null(one));
        if let [only] = types.as_slice() {
            property["type"] = only.clone();
        }
    }
    if let Some(choices) = property.get_mut("anyOf").and_then(Value::as_array_mut) {
        choices.retain(|one| !is_null(one));
        let only = (choices.len() == 1).then(|| choices.remove(0));
        if let (Some(Value::Object(only)), Some(table)) = (only, property.as_object_mut()) {
            table.remove("anyOf");
            table.extend(only);
        }
    }
}
