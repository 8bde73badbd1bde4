//! Writes the image that the board plays; gives the linker the memory map and the start-up code's layout.

#[path = "../../tests/golden/items.rs"]
mod items;

use pulsewright_core::image;
use pulsewright_core::script::Script;
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    let here = std::env::var("CARGO_MANIFEST_DIR")?;
    println!("cargo::rustc-link-search={here}");
    if std::env::var("CARGO_CFG_TARGET_ARCH")? == "riscv32" {
        println!("cargo::rustc-link-arg-bins=-Tmemory-riscv.x");
    }
    println!("cargo::rustc-link-arg-bins=-Tlink.x");
    // Sections need not start on a page of the file: the image is smaller and `size` is exact.
    println!("cargo::rustc-link-arg-bins=--nmagic");
    println!("cargo::rerun-if-changed=memory.x");
    println!("cargo::rerun-if-changed=memory-riscv.x");
    println!("cargo::rerun-if-changed=../../tests/golden/items.rs");
    let mut bytes = Vec::new();
    image::write(&Script::new(items::SEED, &items::SCRIPT_ITEMS)?, |part| bytes.extend_from_slice(part))?;
    let out = std::env::var("OUT_DIR")?;
    std::fs::write(format!("{out}/demonstration.pwi"), bytes)?;
    // What the example `imported` of the tests has written; nothing in a build by hand.
    println!("cargo::rerun-if-env-changed=IMPORTED");
    let imported = std::env::var_os("IMPORTED").map_or(Ok(Vec::new()), |path| {
        println!("cargo::rerun-if-changed={}", path.to_string_lossy());
        std::fs::read(path)
    });
    std::fs::write(format!("{out}/imported.bin"), imported?)?;
    Ok(())
}
