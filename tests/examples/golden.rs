//! Prints the demonstration's frames as this machine computes them: the whole of `tests/golden/frames.txt`.

#[path = "../golden/demonstration.rs"]
mod demonstration;
#[path = "../golden/host.rs"]
mod host;
#[path = "../golden/items.rs"]
mod items;

const HEADER: &str = "\
# The demonstration script's frames as every machine must compute them; items.rs and demonstration.rs say what is played.
# Made by: cargo run -p pulsewright-tests --example golden >tests/golden/frames.txt
# A change here is a change of the signal: say why in the same commit.
";

fn main() -> Result<(), Box<dyn std::error::Error>> {
    print!("{HEADER}{}", host::lines(509)?);
    Ok(())
}
