//! The committed strips and the table of rhythms are those that the present code draws.
use std::{collections::BTreeSet, error::Error, fs};

#[allow(dead_code)] // The example uses the rest.
#[path = "../examples/gallery/pages.rs"]
mod pages;

const AGAIN: &str = "draw them again: cargo run -p pulsewright-plot --example gallery";

#[test]
fn strips_are_up_to_date() -> Result<(), Box<dyn Error>> {
    let folder = pages::docs().join("strips");
    let mut names = BTreeSet::new();
    for (name, svg) in pages::strips()? {
        let committed = fs::read_to_string(folder.join(&name)).unwrap_or_default();
        assert!(committed == svg, "docs/strips/{name} is out of date; {AGAIN}");
        names.insert(name);
    }
    for entry in fs::read_dir(&folder)? {
        let name = entry?.file_name().to_string_lossy().into_owned();
        assert!(names.contains(&name), "docs/strips/{name} belongs to no rhythm; {AGAIN}");
    }
    Ok(())
}

#[test]
fn table_is_up_to_date() -> Result<(), Box<dyn Error>> {
    let committed = fs::read_to_string(pages::docs().join("rhythms.md"))?;
    assert!(committed == pages::table(), "docs/rhythms.md is out of date; {AGAIN}");
    Ok(())
}
