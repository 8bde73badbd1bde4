//! The scripts of the examples folder: read, made into core scripts, written back.

use pulsewright_core::script::Script;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

fn examples() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples");
    let mut found: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    found.retain(|path| path.extension().is_some_and(|extension| extension == "json"));
    found.sort();
    found
}

#[test]
fn every_example_is_a_script_that_says_that_it_is_invented() {
    assert!(examples().len() >= 4);
    for path in examples() {
        let document = pulsewright_script::read(File::open(&path).unwrap(), &path.display().to_string());
        let document = document.unwrap_or_else(|problems| panic!("{problems}"));
        let items = document.items();
        let script = Script::new(document.seed(), &items).unwrap();
        assert!(script.timeline().count() >= 2, "{}", path.display());
        assert!(document.notes().unwrap_or_default().contains("Invented"), "{}", path.display());
    }
}

#[test]
fn an_example_written_back_is_the_same_script() {
    for path in examples() {
        let document = pulsewright_script::read(File::open(&path).unwrap(), "first").unwrap();
        let text = document.to_json().to_string();
        let again = pulsewright_script::parse(text.as_bytes(), "again").unwrap();
        assert_eq!(format!("{document:?}"), format!("{again:?}"), "{}", path.display());
    }
}
