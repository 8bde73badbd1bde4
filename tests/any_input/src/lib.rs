//! Checks of any input, one function for each reader: the bodies of the fuzz targets in `crates/fuzz`, and of the
//! replay of their corpus, which needs no fuzzer.
//!
//! Each panics when something does not hold, and is quick: the work on a sound input is cut off early.

mod image;
mod laws;
mod record;
mod recording;
mod rig;
mod score;
mod script;
mod stream;
mod suite;

pub use image::image;
pub use laws::laws;
pub use record::{record, record_csv};
pub use recording::recording;
pub use rig::rig;
pub use score::{annotations, table};
pub use script::script;
pub use stream::stream;
pub use suite::{limits, suite};

use pulsewright_core::frame::{Frame, INDEPENDENT_LEADS, PressureSite};

/// A check of an input.
pub type Target = fn(&[u8]);

/// Every target by its name, which is that of its corpus.
pub const TARGETS: [(&str, Target); 12] = [
    ("annotations", annotations),
    ("image", image),
    ("laws", laws),
    ("limits", limits),
    ("record", record),
    ("record_csv", record_csv),
    ("recording", recording),
    ("rig", rig),
    ("script", script),
    ("stream", stream),
    ("suite", suite),
    ("table", table),
];

/// How many values a frame holds: leads, impedance, pressures, cuff.
const VALUES: usize = INDEPENDENT_LEADS + 1 + PressureSite::COUNT + 2;

/// Every value that a frame holds.
fn values(frame: &Frame) -> [f32; VALUES] {
    let leads = frame.leads_mv.iter().chain(&frame.pressure_mmhg).chain(&frame.cuff_mmhg);
    let mut all = leads.chain([&frame.respiration_ohm]).copied();
    std::array::from_fn(|_| all.next().unwrap_or_default())
}

/// Whether every value of a frame is a number.
fn sound(frame: &Frame) -> bool {
    values(frame).iter().all(|value| value.is_finite())
}

/// Bits of every value of a frame; panics when one is not a number of a size that a body has.
fn sound_bits(frame: &Frame) -> [u32; VALUES] {
    values(frame).map(|value| {
        assert!(value.is_finite() && value.abs() < 1e5, "{frame:?}");
        value.to_bits()
    })
}
