//! The published JSON schemas: that they are those of the program, and that what it writes keeps them.
//!
//! The second is judged by another library's validator in a browser's test run (`tests/page/schemas.test.mjs`).
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

use boxwright::files::schemas;
use std::path::Path;

#[test]
fn the_published_schemas_are_those_of_the_program() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("schemas");
    let mut published: Vec<String> = std::fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| name.ends_with(".json"))
        .collect();
    published.sort();
    let mut all: Vec<String> = schemas().iter().map(|(name, _)| format!("{name}.schema.json")).collect();
    all.sort();
    assert_eq!(published, all, "make them anew: cargo run --example schemas -- schemas");
    for (name, schema) in schemas() {
        let text = std::fs::read_to_string(folder.join(format!("{name}.schema.json"))).unwrap();
        assert_eq!(text, format!("{schema:#}\n"), "{name}: make it anew: cargo run --example schemas -- schemas");
    }
}

#[test]
fn every_key_of_a_job_is_explained() {
    let all = schemas();
    let (_, job) = &all[0];
    let mut silent = Vec::new();
    let whole = "job.toml".to_owned();
    for (table, schema) in job["$defs"].as_object().unwrap().iter().chain([(&whole, job)]) {
        let properties = schema["properties"].as_object().unwrap();
        let without = properties.iter().filter(|(_, property)| property.get("description").is_none());
        silent.extend(without.map(|(key, _)| format!("{table}.{key}")));
        assert_eq!(schema["additionalProperties"], false, "{table} takes keys that it does not know");
    }
    assert!(silent.is_empty(), "{silent:?}");
}
