//! Bodies that an image carries itself: age, resting rate and the shapes in which each differs from a body of this program.
//!
//! Resting values need no record: each step has the values in which it differs.

use super::numbers::f32_at;
use super::own::OWN;
use crate::body::{Age, BODIES, Body, PlayedBody, RESTING_BPM};
use crate::ecg::templates::packed::{self, Packed};
use crate::ecg::templates::shapes::Shapes;

/// Most bodies that an image carries.
pub const MOST_OWN_BODIES: usize = 16;

/// Bytes before the shapes.
const HEAD: usize = 8;
/// Added to the age of a body with residuals, which versions before them refuse.
const RESIDUALS: u8 = 128;

/// The body at the start of `record`; `None` if it is cut off.
pub(super) fn read(record: &[u8]) -> Option<PlayedBody<'_>> {
    let ([age, base, ..], shapes) = record.split_first_chunk::<HEAD>()?;
    let base = BODIES.get(usize::from(*base))?;
    Some(PlayedBody {
        id: OWN,
        age: *Age::ALL.get(usize::from(age & !RESIDUALS))?,
        resting_bpm: f32_at(record, 4)?,
        shapes: Shapes::Packed(Packed::new(shapes, age & RESIDUALS != 0, base.templates)),
    })
}

/// Whether a body that has been read is whole and makes sense.
pub(super) fn allowed(body: &PlayedBody<'_>) -> bool {
    let shapes = match body.shapes {
        Shapes::Packed(packed) => packed.allowed(),
        Shapes::Known(_) => true,
    };
    RESTING_BPM.contains(&body.resting_bpm) && shapes
}

/// Whether a body's record, once put out, can be read.
pub(super) fn readable(body: &Body) -> bool {
    RESTING_BPM.contains(&body.resting_bpm) && packed::readable(body.templates)
}

/// Bytes of a body's record.
pub(super) fn length(body: &Body) -> usize {
    HEAD + packed::length(body.templates, body.base().1.templates)
}

/// Puts out a body's record.
pub(super) fn put(body: &Body, put: &mut dyn FnMut(&[u8])) {
    let (number, base) = body.base();
    let residuals = body.templates.residuals.map_or(0, |_| RESIDUALS);
    put(&[body.age as u8 | residuals, number as u8, 0, 0]);
    put(&body.resting_bpm.to_le_bytes());
    packed::put(body.templates, base.templates, put);
}
