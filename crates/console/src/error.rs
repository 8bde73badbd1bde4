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
    /// The session can't begin, or did not end well.
    #[error(transparent)]
    Bench(#[from] pulsewright_bench::BenchError),
    /// The system gives no random numbers for the links.
    #[error("the system gives no random numbers: {0}")]
    Random(String),
    /// The server failed.
    #[error("the server stopped: {0}")]
    Server(#[source] io::Error),
}
