//! Errors.

use std::io;
use std::net::SocketAddr;

/// Why a console ended.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ConsoleError {
    /// The address can't be had.
    #[error("cannot listen at {0}: {1}")]
    Listen(SocketAddr, #[source] io::Error),
    /// The folder can't be written, or another console works in it.
    #[error(transparent)]
    Folder(#[from] pulsewright_files::atomic::FileError),
    /// A document that the console keeps can't be read; its file is left alone.
    #[error("{what} can't be read: {why}; mend the file, or move it away")]
    Unreadable {
        /// The document.
        what: &'static str,
        /// The reason, with the file.
        why: String,
    },
    /// The system gives no random numbers for the links.
    #[error("the system gives no random numbers: {0}")]
    Random(String),
    /// The server failed.
    #[error("the server stopped: {0}")]
    Server(#[source] io::Error),
}
