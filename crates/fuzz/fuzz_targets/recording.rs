#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| pulsewright_any_input::recording(data));
