//! A script as content to render, which borrows from items of its own.

use pulsewright_core::script::{Script, ScriptError};
use pulsewright_files::Content;
use pulsewright_script::Document;

/// Calls `work` with a document as content to render, under a seed and a title.
///
/// # Errors
/// When the core refuses the script.
pub fn with_content<T>(
    document: &Document,
    seed: u64,
    title: &str,
    work: impl FnOnce(Content<'_>) -> T,
) -> Result<T, ScriptError> {
    let items = document.items();
    let script = Script::new(seed, &items)?;
    let labels = document.labels();
    Ok(work(Content { script: &script, title, labels: &labels, limits: document.alarm_limits() }))
}
