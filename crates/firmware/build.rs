//! Tells the linker where the memory map is, and to use the start-up code's layout.

fn main() {
    let Ok(here) = std::env::var("CARGO_MANIFEST_DIR") else {
        panic!("cargo sets CARGO_MANIFEST_DIR");
    };
    println!("cargo::rustc-link-search={here}");
    println!("cargo::rustc-link-arg-bins=-Tlink.x");
    // Sections need not start on a page of the file: the image is smaller and `size` is exact.
    println!("cargo::rustc-link-arg-bins=--nmagic");
    println!("cargo::rerun-if-changed=memory.x");
}
