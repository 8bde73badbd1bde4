//! The image in the firmware of the emulated board is that of the example rig.

mod firmware {
    include!("../../firmware/src/rig/bench.rs");
}

#[test]
fn the_board_was_built_for_the_example_rig() {
    let text = include_bytes!("../../../examples/rig/bench.json");
    let rig = pulsewright_rig::read::parse(text, "bench.json").unwrap();
    let image = pulsewright_rig::wiring::wiring(&rig).unwrap().image();
    assert_eq!(image.as_slice(), firmware::BENCH, "`pulsewright compile --rig` makes the constant anew");
}
