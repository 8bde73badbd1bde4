//! The host's end of the link and the board's, over lines that lose and change bytes.

mod board;
mod conversation;
#[cfg(unix)]
mod line;
