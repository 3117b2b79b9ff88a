//! What the fuzzer kept of each reader, `fuzz/corpus/READER`, without the fuzzer: the same properties hold of each file.
//!
//! `fuzz/properties` says what they are; requests to the page are tried by the program's own tests, in `page/hostile.rs`.

#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

#[path = "../fuzz/properties/curve.rs"]
mod curve;
#[path = "../fuzz/properties/description.rs"]
mod description;
#[path = "../fuzz/properties/document.rs"]
mod document;
#[path = "../fuzz/properties/job.rs"]
mod job;
#[path = "../fuzz/properties/netlist.rs"]
mod netlist;
#[path = "../fuzz/properties/refusal.rs"]
mod refusal;
#[path = "../fuzz/properties/touchstone.rs"]
mod touchstone;
#[path = "../fuzz/properties/wav.rs"]
mod wav;

use std::path::Path;

/// Tries every kept file of a reader; a file that breaks a property is named before it does.
fn every_file(reader: &str, check: fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(reader);
    let mut files: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    assert!(files.len() >= 10, "{}: {} files only", folder.display(), files.len());
    for path in files {
        let bytes = std::fs::read(&path).unwrap();
        if let Err(broken) = std::panic::catch_unwind(|| check(&bytes)) {
            panic!("{}: {:?}", path.display(), broken.downcast_ref::<String>());
        }
    }
}

#[test]
fn every_kept_recording_holds() {
    every_file("wav", wav::check);
}

#[test]
fn every_kept_table_holds() {
    every_file("curve", curve::check);
}

#[test]
fn every_kept_one_port_holds() {
    every_file("touchstone", touchstone::check);
}

#[test]
fn every_kept_job_holds() {
    every_file("job", job::check);
}

#[test]
fn every_kept_description_holds() {
    every_file("description", description::check);
}

#[test]
fn every_kept_netlist_holds() {
    every_file("netlist", netlist::check);
}

#[test]
fn every_kept_document_holds() {
    every_file("document", document::check);
}
