//! Documents that a session keeps in its folder.

use crate::error::BenchError;
use pulsewright_text::{json, source};
use serde::de::DeserializeOwned;
use std::path::Path;

/// The document of a file, an empty one where there is no file; `what` names it in messages.
///
/// # Errors
/// When it can't be read: the file is left alone then.
pub fn read<T: Default + DeserializeOwned>(path: &Path, what: &'static str) -> Result<T, BenchError> {
    let unreadable = |why: String| BenchError::Unreadable { what, why };
    let wrong = |why: String| unreadable(format!("{}: {why}", source::name(path)));
    let bytes = match source::file(path, source::DOCUMENT) {
        Ok(bytes) => bytes,
        Err(error) if error.is_missing() => return Ok(T::default()),
        Err(error) => return Err(unreadable(error.to_string())),
    };
    let text = source::utf8(&bytes).map_err(|at| wrong(format!("byte {at} is not UTF-8 text")))?;
    json::parse(text).map_err(|broken| wrong(broken.to_string()))
}
