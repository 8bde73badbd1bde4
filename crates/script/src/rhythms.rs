//! Rhythms of one's own: documents with the parameters of a catalogue record.
//!
//! The catalogue is written in the same form ([`json`]), so that a built-in is an example, and a copy of one plays its bits. A
//! script holds such documents under `rhythms`, or names a file beside it there.

mod kept;
mod read;
pub(crate) mod schema;
pub(crate) mod word;
pub(crate) mod write;

pub use write::{json, parameters};
