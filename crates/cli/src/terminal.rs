//! The terminal that a person types at: its width, and what was typed ahead.

use std::io::{self, IsTerminal};

/// Columns of the terminal; any number for a pipe.
pub fn columns() -> usize {
    if !io::stdout().is_terminal() {
        return usize::MAX;
    }
    width().filter(|columns| *columns >= 20).unwrap_or(80)
}

/// Whether a person sits at both ends: a screen can be shown, and keys come one by one.
pub fn is_interactive() -> bool {
    let dumb = std::env::var_os("TERM").is_none_or(|kind| kind == "dumb");
    io::stdin().is_terminal() && io::stdout().is_terminal() && !dumb
}

/// Throws away what was typed at the terminal and not yet read; a pipe keeps its lines.
pub fn discard_typed() {
    if io::stdin().is_terminal() {
        discard();
    }
}

#[cfg(unix)]
fn width() -> Option<usize> {
    rustix::termios::tcgetwinsize(io::stdout()).ok().map(|size| usize::from(size.ws_col))
}

#[cfg(unix)]
fn discard() {
    // A terminal that can't do it asks again all the same, when the answer comes too soon.
    let _ = rustix::termios::tcflush(io::stdin(), rustix::termios::QueueSelector::IFlush);
}

#[cfg(not(unix))]
fn width() -> Option<usize> {
    None
}

#[cfg(not(unix))]
fn discard() {}
