//! Errors.

/// Why a session can't begin, or did not end well.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BenchError {
    /// The folder can't be written, or another session works in it.
    #[error(transparent)]
    Folder(#[from] pulsewright_files::atomic::FileError),
    /// A document that is kept in the folder can't be read; its file is left alone.
    #[error("{what} can't be read: {why}; mend the file, or move it away")]
    Unreadable {
        /// The document.
        what: &'static str,
        /// The reason, with the file.
        why: String,
    },
    /// It has no plan to go through.
    #[error("a session that asks in lines needs a plan")]
    NoPlan,
}
