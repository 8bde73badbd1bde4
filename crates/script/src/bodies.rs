//! Bodies of one's own: documents with resting values and the shapes of beats.
//!
//! The bodies of the catalogue are written in the same form ([`json`]), so that a built-in is an example, and a copy of one plays its
//! bits. A script holds such documents under `bodies`, or names a file beside it there.

pub mod edges;
mod kept;
mod read;
mod residuals;
pub(crate) mod schema;
mod schema_parts;
mod shapes;
mod word;
pub(crate) mod write;

pub use write::json;
