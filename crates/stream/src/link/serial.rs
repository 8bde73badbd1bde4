//! A serial line of this computer: a writer of code frames whose thread keeps the conversation with the board.

use super::host::{Host, LinkError, LinkReport};
use crate::clock::ask_to_wake_on_time;
use pulsewright_core::time::FrameRate;
use pulsewright_device::wiring::Wiring;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags};
use rustix::termios::{self, OptionalActions};
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// A board that has not answered for so long is not there.
const NO_ANSWER: Duration = Duration::from_secs(3);
/// How often the conversation looks at its clock.
const LOOK: Timespec = Timespec { tv_sec: 0, tv_nsec: 1_000_000 };

/// The state that the two threads share.
struct Shared {
    host: Mutex<State>,
    changed: Condvar,
}

struct State {
    host: Host,
    failed: Option<String>,
}

impl Shared {
    fn state(&self) -> MutexGuard<'_, State> {
        self.host.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Takes frames and sends them to the board: for each a byte of marks, then a rig's codes packed as `.raw` files are.
///
/// A write waits while the board has no room. Dropping it brings the board to rest once it has shown the last frame.
pub struct BoardWriter {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
    /// Bytes of a frame with its marks, and of the frame that is not whole yet.
    frame_bytes: usize,
    partial: Vec<u8>,
}

impl std::fmt::Debug for BoardWriter {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("BoardWriter").finish_non_exhaustive()
    }
}

impl BoardWriter {
    /// Opens the line at `path` and waits until the board answers. A terminal line is switched to raw bytes; its speed stays as it
    /// is set.
    ///
    /// The board shows `rate` frames a second.
    ///
    /// # Errors
    /// When the line can't be opened, nothing answers, or the board was built for another rig.
    pub fn open(path: &Path, wiring: &Wiring, rate: FrameRate) -> io::Result<BoardWriter> {
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let line = File::from(rustix::fs::open(path, flags, Mode::empty())?);
        if let Ok(mut settings) = termios::tcgetattr(&line) {
            settings.make_raw();
            termios::tcsetattr(&line, OptionalActions::Now, &settings)?;
        }
        let host = Host::new(wiring, rate);
        let state = State { host, failed: None };
        let shared = Arc::new(Shared { host: Mutex::new(state), changed: Condvar::new() });
        let thread = {
            let shared = Arc::clone(&shared);
            std::thread::Builder::new().name("link".to_owned()).spawn(move || converse(line, &shared))?
        };
        let frame_bytes = 1 + wiring.outputs().len() * wiring.code_bytes();
        let writer = BoardWriter { shared, thread: Some(thread), frame_bytes, partial: Vec::new() };
        writer.wait(|state| state.host.is_open())?;
        Ok(writer)
    }

    /// Reports how the conversation has gone so far, and after the writer was dropped how it has ended: a board may fail after
    /// the last frame was taken.
    pub fn reporter(&self) -> impl Fn() -> LinkReport + Send + use<> {
        let shared = Arc::clone(&self.shared);
        move || {
            let state = shared.state();
            LinkReport { repeated: state.host.repeated(), empty: state.host.empty(), failed: state.failed.clone() }
        }
    }

    /// Waits until `ready`, or the conversation has failed.
    fn wait(&self, mut ready: impl FnMut(&mut State) -> bool) -> io::Result<()> {
        let mut state = self.shared.state();
        loop {
            if let Some(why) = &state.failed {
                return Err(io::Error::other(why.clone()));
            }
            if ready(&mut state) {
                return Ok(());
            }
            state = self.shared.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

impl Write for BoardWriter {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.partial.extend_from_slice(bytes);
        let whole = self.partial.len() / self.frame_bytes * self.frame_bytes;
        for frame in self.partial.chunks_exact(self.frame_bytes) {
            if let Some((marks, codes)) = frame.split_first() {
                self.wait(|state| state.host.push(*marks, codes))?;
            }
        }
        self.partial.drain(..whole);
        Ok(bytes.len())
    }

    /// Frames are on their way as they are taken.
    fn flush(&mut self) -> io::Result<()> {
        self.wait(|_| true)
    }
}

impl Drop for BoardWriter {
    fn drop(&mut self) {
        self.shared.state().host.finish();
        if let Some(thread) = self.thread.take() {
            // A panic of the conversation has been printed; a failure is for the reporter.
            thread.join().unwrap_or(());
        }
    }
}

/// Carries the conversation until it has ended or failed.
fn converse(line: File, shared: &Shared) {
    let result = talk(line, shared);
    let mut state = shared.state();
    state.failed = result.err().map(|error| error.to_string());
    shared.changed.notify_all();
}

fn talk(mut line: File, shared: &Shared) -> io::Result<()> {
    // A thread that waits behind ordinary work is silent for too long.
    ask_to_wake_on_time();
    let start = Instant::now();
    let mut outgoing = Vec::new();
    loop {
        let flags = if outgoing.is_empty() { PollFlags::IN } else { PollFlags::IN | PollFlags::OUT };
        match poll(&mut [PollFd::new(&line, flags)], Some(&LOOK)) {
            Ok(_) | Err(rustix::io::Errno::INTR) => {}
            Err(error) => return Err(error.into()),
        }
        let now = start.elapsed().as_millis() as u32;
        let mut incoming = [0; 512];
        let count = match line.read(&mut incoming) {
            Ok(0) => return Err(io::Error::new(io::ErrorKind::NotConnected, "the board is gone")),
            Ok(count) => count,
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => 0,
            Err(error) => return Err(error),
        };
        let mut state = shared.state();
        let host = &mut state.host;
        host.receive(incoming.get(..count).unwrap_or_default(), now).map_err(io::Error::other)?;
        let quiet = host.quiet_for(now).unwrap_or(now);
        if u128::from(quiet) > NO_ANSWER.as_millis() {
            return Err(io::Error::new(io::ErrorKind::TimedOut, "the board does not answer"));
        }
        if host.is_stopped() {
            return Ok(());
        }
        // What the line has not taken yet would only be followed by the same again.
        if outgoing.is_empty() {
            host.send(now, &mut outgoing);
        }
        shared.changed.notify_all();
        drop(state);
        match line.write(&outgoing) {
            Ok(count) => drop(outgoing.drain(..count)),
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
            Err(error) => return Err(error),
        }
    }
}

impl From<LinkError> for io::Error {
    fn from(error: LinkError) -> io::Error {
        io::Error::other(error)
    }
}
