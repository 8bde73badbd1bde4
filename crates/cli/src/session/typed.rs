//! Standard input of a session in lines, which a request to end ends.

use crate::interruption;
use pulsewright_text::source::LINE;
use std::io::{self, Read};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

/// How often a read looks whether the session was asked to end.
const LOOK: Duration = Duration::from_millis(20);

/// Standard input, read by a thread of its own: a request to end is seen while nothing is typed.
pub struct InputLines {
    wanted: mpsc::Sender<()>,
    typed: mpsc::Receiver<io::Result<Vec<u8>>>,
}

impl InputLines {
    /// Standard input; it is read only when a line is asked for, so that keys typed ahead can still be discarded.
    pub fn new() -> InputLines {
        let (wanted, asked) = mpsc::channel::<()>();
        let (typing, typed) = mpsc::channel();
        // Not joined: a read that waits for a key ends with the program.
        thread::spawn(move || {
            for () in asked {
                let mut bytes = vec![0; LINE];
                let read = io::stdin().read(&mut bytes);
                bytes.truncate(*read.as_ref().unwrap_or(&0));
                if typing.send(read.map(|_| bytes)).is_err() {
                    break;
                }
            }
        });
        InputLines { wanted, typed }
    }
}

impl Read for InputLines {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        // The thread has gone only with the input.
        let _ = self.wanted.send(());
        loop {
            match self.typed.recv_timeout(LOOK) {
                Ok(read) => return read?.as_slice().read(into),
                Err(mpsc::RecvTimeoutError::Timeout) if !interruption::asked() => {}
                Err(_) => return Ok(0),
            }
        }
    }
}
