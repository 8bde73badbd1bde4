//! The `pulsewright` command line.
fn main() {}
