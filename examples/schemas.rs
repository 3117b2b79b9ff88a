//! Writes the JSON schemas of the job and of all results into a folder: `cargo run --example schemas -- schemas`.
#![allow(clippy::print_stdout)] // an example may print

use boxwright::files::{replace, schemas};
use std::path::PathBuf;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("name a folder")?);
    std::fs::create_dir_all(&folder)?;
    for (name, schema) in schemas() {
        let path = folder.join(format!("{name}.schema.json"));
        replace(&path, format!("{schema:#}\n").as_bytes())?;
        println!("{}", path.display());
    }
    Ok(())
}
