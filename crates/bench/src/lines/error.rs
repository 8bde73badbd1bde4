//! Errors.

use std::io;

/// Why a session did not come to its end.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LinesError {
    /// The person left, or the input ended.
    #[error("left before the end; the same command line goes on from here")]
    Left,
    /// A preparation was refused, so nothing is played.
    #[error("nothing was played, because this is not prepared: {0}; the same command line goes on from here")]
    NotPrepared(String),
    /// The output takes no frames any more.
    #[error("the output failed: {0}")]
    Output(String),
    /// The record can't be begun or written.
    #[error("{0}")]
    Record(String),
    /// The terminal can't be read or written.
    #[error("{0}")]
    Io(#[from] io::Error),
}
