//! A detector's process: its output and its end.

use super::guard::DetectorGuard;
use crate::error::SuiteError;
use pulsewright_text::source::reason;
use std::io::{self, BufRead, BufReader, Read};
use std::process::{Child, ChildStdin, ChildStdout, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

/// How often a waiting thread looks whether it should stop.
const LOOK: Duration = Duration::from_millis(100);

/// Longest line of an answer, bytes.
const LONGEST_LINE: u64 = 4096;

/// A process, ended with all it has started when it is dropped.
pub(super) struct Process<'g> {
    child: Child,
    guard: &'g DetectorGuard,
    ended: bool,
    complaints: Complaints,
}

impl<'g> Process<'g> {
    /// Starts a command given as its words.
    pub(super) fn start(words: &[String], stdin: Stdio, guard: &'g DetectorGuard) -> Result<Process<'g>, SuiteError> {
        let mut command = Command::new(&words[0]);
        command.args(&words[1..]).stdin(stdin).stdout(Stdio::piped()).stderr(Stdio::piped());
        #[cfg(unix)]
        {
            use std::os::unix::process::CommandExt;
            // A group of its own, so that the processes that it starts can be ended with it.
            command.process_group(0);
        }
        let mut child = command
            .spawn()
            .map_err(|error| SuiteError::Command(format!("cannot start {}: {}", words[0], reason(&error))))?;
        guard.add(child.id());
        let complaints = Complaints::of(&mut child);
        Ok(Process { child, guard, ended: false, complaints })
    }

    pub(super) fn stdin(&mut self) -> Option<ChildStdin> {
        self.child.stdin.take()
    }

    pub(super) fn stdout(&mut self) -> Option<ChildStdout> {
        self.child.stdout.take()
    }

    /// `what`, and the last line of its standard error.
    pub(super) fn complaint(&self, what: &str) -> String {
        self.complaints.after(what)
    }

    /// Waits for its end; a process that is not about to end is ended.
    pub(super) fn wait(&mut self, deadline: Instant, stop: &dyn Fn() -> bool) -> Result<ExitStatus, WaitError> {
        let mut pause = Duration::from_micros(200);
        loop {
            match self.child.try_wait() {
                Ok(Some(status)) => {
                    self.ended = true;
                    return Ok(status);
                }
                Ok(None) if stop() => return Err(WaitError::Stopped),
                Ok(None) if Instant::now() < deadline => {
                    thread::sleep(pause);
                    pause = (pause * 2).min(LOOK);
                }
                _ => return Err(WaitError::Late),
            }
        }
    }

    /// Ends it and all it has started.
    pub(super) fn end(&mut self) {
        if self.ended {
            return;
        }
        #[cfg(unix)]
        if let Some(group) = i32::try_from(self.child.id()).ok().and_then(rustix::process::Pid::from_raw) {
            // It fails when the group has ended already.
            let _ = rustix::process::kill_process_group(group, rustix::process::Signal::KILL);
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
        self.ended = true;
    }
}

impl Drop for Process<'_> {
    fn drop(&mut self) {
        self.end();
        self.guard.remove(self.child.id());
    }
}

/// Why no message came.
pub(super) enum WaitError {
    Stopped,
    Late,
    Gone,
}

/// Waits for a message, looking now and then whether to stop.
pub(super) fn receive<T>(from: &Receiver<T>, deadline: Instant, stop: &dyn Fn() -> bool) -> Result<T, WaitError> {
    loop {
        let left = deadline.saturating_duration_since(Instant::now());
        match from.recv_timeout(left.min(LOOK)) {
            Ok(message) => return Ok(message),
            Err(RecvTimeoutError::Disconnected) => return Err(WaitError::Gone),
            Err(RecvTimeoutError::Timeout) if stop() => return Err(WaitError::Stopped),
            Err(RecvTimeoutError::Timeout) if left.is_zero() => return Err(WaitError::Late),
            Err(RecvTimeoutError::Timeout) => {}
        }
    }
}

/// Standard output of a process; one byte more than `most` when it is longer.
pub(super) fn all_of(stdout: Option<ChildStdout>, most: u64) -> Receiver<io::Result<Vec<u8>>> {
    let (sender, said) = channel();
    if let Some(stdout) = stdout {
        thread::spawn(move || {
            let mut bytes = Vec::new();
            let read = stdout.take(most + 1).read_to_end(&mut bytes);
            // This fails only when the receiver is gone.
            let _ = sender.send(read.map(|_| bytes));
        });
    }
    said
}

/// Standard output of a process, line by line; a line that is too long is the last and is cut.
pub(super) fn lines_of(stdout: ChildStdout) -> Receiver<io::Result<String>> {
    let (sender, lines) = channel();
    thread::spawn(move || {
        let mut reader = BufReader::new(stdout);
        loop {
            let mut line = Vec::new();
            let read = reader.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut line);
            let more = line.ends_with(b"\n") && read.is_ok();
            if matches!(read, Ok(0)) {
                break;
            }
            let line = read.map(|_| String::from_utf8_lossy(&line).into_owned());
            if sender.send(line).is_err() || !more {
                break;
            }
        }
    });
    lines
}

/// The end of a process's standard error.
struct Complaints(Receiver<Vec<u8>>);

impl Complaints {
    /// Bytes kept.
    const KEPT: usize = 2000;

    fn of(child: &mut Child) -> Complaints {
        let (sender, receiver) = channel();
        if let Some(mut stderr) = child.stderr.take() {
            thread::spawn(move || {
                let mut last = Vec::new();
                let mut more = [0; 4096];
                while let Ok(count @ 1..) = stderr.read(&mut more) {
                    last.extend_from_slice(&more[..count]);
                    last.drain(..last.len().saturating_sub(Complaints::KEPT));
                }
                let _ = sender.send(last);
            });
        }
        Complaints(receiver)
    }

    /// `what`, and the last line that the process said, if it has closed its standard error.
    fn after(&self, what: &str) -> String {
        let said = self.0.recv_timeout(LOOK).unwrap_or_default();
        let said = String::from_utf8_lossy(&said);
        let last = said.lines().rev().map(on_one_line).find(|line| !line.is_empty());
        last.map_or_else(|| what.to_owned(), |last| format!("{what}: {last}"))
    }
}

/// Foreign text on one line, short, without anything that would move a terminal's cursor.
pub(super) fn on_one_line(text: &str) -> String {
    const SHOWN: usize = 200;
    text.trim().chars().take(SHOWN).map(|c| if c.is_control() { ' ' } else { c }).collect()
}
