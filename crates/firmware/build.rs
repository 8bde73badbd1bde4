//! Writes the image that the board plays; gives the linker the memory map and the start-up code's layout.

#[path = "../../tests/golden/items.rs"]
mod items;

use pulsewright_core::body::Body;
use pulsewright_core::heart::catalogue::SINUS;
use pulsewright_core::image;
use pulsewright_core::internal::ecg::Templates;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::Settings;
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    let here = std::env::var("CARGO_MANIFEST_DIR")?;
    println!("cargo::rustc-link-search={here}");
    println!("cargo::rustc-link-arg-bins=-Tlink.x");
    // Sections need not start on a page of the file: the image is smaller and `size` is exact.
    println!("cargo::rustc-link-arg-bins=--nmagic");
    println!("cargo::rerun-if-changed=memory.x");
    println!("cargo::rerun-if-changed=../../tests/golden/items.rs");
    // The bodies in sinus rhythm once more, with the shapes of its beats in the image.
    let own = items::SCRIPT_ITEMS.iter().filter_map(|item| match item {
        Item::Step(step) if step.settings.rhythm().id == SINUS.id && step.ramps.is_empty() => {
            let body = with_own_shapes(step.settings.body());
            Some(Item::Step(Step { settings: Settings::new(body, &SINUS), ..*step }))
        }
        _ => None,
    });
    let own: Vec<Item<'_>> = own.collect();
    for (name, items) in [("demonstration", &items::SCRIPT_ITEMS[..]), ("own_bodies", &own)] {
        let mut bytes = Vec::new();
        image::write(&Script::new(items::SEED, items)?, |part| bytes.extend_from_slice(part))?;
        std::fs::write(format!("{}/{name}.pwi", std::env::var("OUT_DIR")?), bytes)?;
    }
    Ok(())
}

/// A copy of a body, whose normal complex and sinus P wave are copies too.
fn with_own_shapes(body: &Body) -> &'static Body {
    let mut templates: Templates = *body.templates;
    templates.complexes[0] = Box::leak(Box::new(*templates.complexes[0]));
    templates.p[0] = Box::leak(templates.p[0].to_vec().into_boxed_slice());
    Box::leak(Box::new(Body { templates: Box::leak(Box::new(templates)), ..*body }))
}
