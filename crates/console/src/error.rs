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
    /// The address book can't be read; it is left alone.
    #[error("{0}: the address book can't be read: {1}")]
    Addresses(String, String),
    /// The system gives no random numbers for the links.
    #[error("the system gives no random numbers: {0}")]
    Random(String),
    /// The server failed.
    #[error("the server stopped: {0}")]
    Server(#[source] io::Error),
}
