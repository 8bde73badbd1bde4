//! The detector under test: a command of the user's, run as its own process.
//!
//! Three ways to talk to it:
//! - `{signal}` among its words: the signal is a file; without, it comes as CSV on standard input.
//! - `{beats-out}` among its words: it writes its beats to that file; without, they are read from standard output.
//! - Staying: started once per core, it is told one record a line on standard input (signal, beats file and frame rate,
//!   separated by tabs) and answers with a line `ok` when the beats file is written, or with what went wrong.
//!
//! No shell is involved: words reach the command as they are.

use crate::record::Record;
use crate::{Plan, SuiteError};
use std::fs;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

const SIGNAL: &str = "{signal}";
const BEATS_OUT: &str = "{beats-out}";
const FRAME_RATE: &str = "{frame-rate}";
const RECORD: &str = "{record}";

/// What may stand in a command in place of something that differs from record to record.
pub const PLACEHOLDERS: [(&str, &str); 4] = [
    (SIGNAL, "file with the signal"),
    (BEATS_OUT, "file to write the beats to"),
    (FRAME_RATE, "frames a second"),
    (RECORD, "name of the record"),
];

/// Most bytes of an answer on standard output; more is a detector gone wild.
const MOST_ANSWER: u64 = 256 << 20;

/// How often a waiting thread looks whether it should stop.
const LOOK: Duration = Duration::from_millis(100);

/// How the detector is started and talked to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Detector {
    words: Vec<String>,
    stays: bool,
    timeout: Duration,
}

/// What came of one record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// The answer as the detector gave it.
    Answer(Vec<u8>),
    /// The detector failed; why, on one line.
    Failure(String),
}

impl Detector {
    /// A command given as its words; `stays` for one that is started once per core. `timeout` is for one record.
    ///
    /// # Errors
    /// [`SuiteError::Command`] for an empty command, an unknown placeholder, or one that does not go with staying.
    pub fn new(words: &[String], stays: bool, timeout: Duration) -> Result<Detector, SuiteError> {
        let wrong = |what: String| Err(SuiteError::Command(what));
        if words.is_empty() {
            return wrong("no command; give it after --, as in -- python3 detector.py {signal} {beats-out}".to_owned());
        }
        for word in words {
            for found in placeholders(word) {
                if !PLACEHOLDERS.iter().any(|(known, _)| *known == found) {
                    let known: Vec<&str> = PLACEHOLDERS.iter().map(|(known, _)| *known).collect();
                    return wrong(format!(
                        "unknown placeholder {found} in the command; known are {}",
                        known.join(", ")
                    ));
                }
                if stays {
                    return wrong(format!(
                        "{found} in the command of a detector that stays; it is told each record on standard input"
                    ));
                }
            }
        }
        Ok(Detector { words: words.to_vec(), stays, timeout })
    }

    /// Its words.
    pub fn words(&self) -> &[String] {
        &self.words
    }

    /// Whether it is started once per core.
    pub fn stays(&self) -> bool {
        self.stays
    }

    /// One at work; each thread has its own.
    pub fn listener(&self) -> Listener<'_> {
        Listener { detector: self, staying: None }
    }

    fn wants(&self, placeholder: &str) -> bool {
        self.words.iter().any(|word| word.contains(placeholder))
    }

    fn start(&self, fill: impl Fn(&str) -> String, stdin: Stdio) -> Result<Child, SuiteError> {
        let words: Vec<String> = self.words.iter().map(|word| fill(word)).collect();
        let mut command = Command::new(&words[0]);
        command.args(&words[1..]).stdin(stdin).stdout(Stdio::piped()).stderr(Stdio::piped());
        #[cfg(unix)]
        {
            use std::os::unix::process::CommandExt;
            // A group of its own, so that what it starts in turn can be ended with it.
            command.process_group(0);
        }
        command.spawn().map_err(|error| SuiteError::Command(format!("cannot start {}: {error}", words[0])))
    }
}

/// The texts in braces that look like placeholders.
fn placeholders(word: &str) -> impl Iterator<Item = &str> {
    word.match_indices('{').filter_map(|(start, _)| {
        let end = start + word[start..].find('}')? + 1;
        let inner = &word[start + 1..end - 1];
        let named = !inner.is_empty() && inner.bytes().all(|b| b.is_ascii_lowercase() || matches!(b, b'-' | b'_'));
        named.then(|| &word[start..end])
    })
}

/// A detector at work, for one thread.
pub struct Listener<'d> {
    detector: &'d Detector,
    staying: Option<Staying>,
}

/// A process that stays from record to record.
struct Staying {
    child: Child,
    stdin: ChildStdin,
    lines: Receiver<io::Result<String>>,
    complaints: Complaints,
}

impl Listener<'_> {
    /// Lets the detector hear one record. Passing files are made in `folder`; a signal at `signal` is there already.
    ///
    /// # Errors
    /// When the command can't be started, the record can't be rendered, or `stop` says so.
    pub fn hear(
        &mut self,
        record: &Record,
        plan: &Plan,
        folder: &Path,
        stop: &dyn Fn() -> bool,
    ) -> Result<Heard, SuiteError> {
        let beats = folder.join("beats");
        let _ = fs::remove_file(&beats);
        if self.detector.stays {
            let signal = signal_file(record, plan, folder)?;
            return self.hear_staying(record, &signal, &beats, stop);
        }
        let signal = if self.detector.wants(SIGNAL) { Some(signal_file(record, plan, folder)?) } else { None };
        let fill = |word: &str| {
            word.replace(SIGNAL, &signal.as_ref().map_or(String::new(), |path| path.display().to_string()))
                .replace(BEATS_OUT, &beats.display().to_string())
                .replace(FRAME_RATE, &record.frame_rate.as_hz().to_string())
                .replace(RECORD, &record.name)
        };
        let stdin = if signal.is_some() { Stdio::null() } else { Stdio::piped() };
        let mut child = self.detector.start(fill, stdin)?;
        let complaints = Complaints::of(&mut child);
        let (sender, said) = channel();
        if let Some(stdout) = child.stdout.take() {
            thread::spawn(move || {
                let mut bytes = Vec::new();
                let read = stdout.take(MOST_ANSWER).read_to_end(&mut bytes);
                // Nobody waits for it any more when this fails.
                let _ = sender.send(read.map(|_| bytes));
            });
        }
        let stdin = child.stdin.take();
        let deadline = Instant::now() + self.detector.timeout;
        let ended = thread::scope(|scope| {
            let writer = stdin.map(|mut stdin| scope.spawn(move || record.render_stream(plan, &mut stdin)));
            let ended = wait(&mut child, &said, deadline, stop);
            // The process has ended, so the pipe is closed and the writer ends too.
            match writer.map(|writer| writer.join()) {
                Some(Ok(Err(error))) => Err(error),
                _ => ended,
            }
        })?;
        Ok(match ended {
            Ended::Late => Heard::Failure(format!("gave no answer within {} s", self.detector.timeout.as_secs_f64())),
            Ended::Done(status, _) if !status.success() => Heard::Failure(complaints.tell(&ended_how(status))),
            Ended::Done(_, said) if self.detector.wants(BEATS_OUT) => {
                drop(said);
                answer_file(&beats, &complaints)
            }
            Ended::Done(_, said) => Heard::Answer(said),
        })
    }

    fn hear_staying(
        &mut self,
        record: &Record,
        signal: &Path,
        beats: &Path,
        stop: &dyn Fn() -> bool,
    ) -> Result<Heard, SuiteError> {
        let mut staying = match self.staying.take() {
            Some(staying) => staying,
            None => Staying::start(self.detector)?,
        };
        let deadline = Instant::now() + self.detector.timeout;
        let told = format!("{}\t{}\t{}\n", signal.display(), beats.display(), record.frame_rate.as_hz());
        // A process that is gone shows in its answer, below.
        let _ = staying.stdin.write_all(told.as_bytes()).and_then(|()| staying.stdin.flush());
        let said = match receive(&staying.lines, deadline, stop) {
            Ok(said) => said,
            Err(Waited::Stopped) => return Err(SuiteError::Stopped),
            Err(Waited::Late) => {
                let timeout = self.detector.timeout.as_secs_f64();
                return Ok(Heard::Failure(format!("gave no answer within {timeout} s")));
            }
            Err(Waited::Gone) => {
                let how = staying.child.wait().map_or_else(|error| error.to_string(), ended_how);
                return Ok(Heard::Failure(staying.complaints.tell(&format!("{how} before its answer"))));
            }
        };
        let heard = match said {
            Ok(line) if line.trim() == "ok" => answer_file(beats, &staying.complaints),
            Ok(line) => Heard::Failure(on_one_line(&line)),
            Err(error) => return Ok(Heard::Failure(format!("answer: {error}"))),
        };
        // Only one that answered is fit for the next record.
        self.staying = Some(staying);
        Ok(heard)
    }
}

impl Staying {
    fn start(detector: &Detector) -> Result<Staying, SuiteError> {
        let mut child = detector.start(str::to_owned, Stdio::piped())?;
        let complaints = Complaints::of(&mut child);
        let (sender, lines) = channel();
        let pipes = child.stdin.take().zip(child.stdout.take());
        let Some((stdin, stdout)) = pipes else {
            return Err(SuiteError::Command(format!("cannot talk to {}", detector.words[0])));
        };
        thread::spawn(move || {
            for line in BufReader::new(stdout).lines() {
                if sender.send(line).is_err() {
                    break;
                }
            }
        });
        Ok(Staying { child, stdin, lines, complaints })
    }
}

impl Drop for Staying {
    fn drop(&mut self) {
        end(&mut self.child);
    }
}

fn signal_file(record: &Record, plan: &Plan, folder: &Path) -> Result<PathBuf, SuiteError> {
    let signal = folder.join(format!("signal.{}", plan.format.extension()));
    record.render_file(plan, &signal, false)?;
    Ok(signal)
}

fn answer_file(beats: &Path, complaints: &Complaints) -> Heard {
    match fs::read(beats) {
        Ok(bytes) => Heard::Answer(bytes),
        Err(_) => Heard::Failure(complaints.tell("wrote no file of beats")),
    }
}

fn ended_how(status: ExitStatus) -> String {
    // As the system words it: "exit status: 1", "signal: 9 (SIGKILL)".
    format!("ended with {status}")
}

enum Ended {
    Done(ExitStatus, Vec<u8>),
    Late,
}

enum Waited {
    Stopped,
    Late,
    Gone,
}

/// Waits for a message, looking now and then whether to stop.
fn receive<T>(from: &Receiver<T>, deadline: Instant, stop: &dyn Fn() -> bool) -> Result<T, Waited> {
    loop {
        let left = deadline.saturating_duration_since(Instant::now());
        match from.recv_timeout(left.min(LOOK)) {
            Ok(message) => return Ok(message),
            Err(RecvTimeoutError::Disconnected) => return Err(Waited::Gone),
            Err(RecvTimeoutError::Timeout) if stop() => return Err(Waited::Stopped),
            Err(RecvTimeoutError::Timeout) if left.is_zero() => return Err(Waited::Late),
            Err(RecvTimeoutError::Timeout) => {}
        }
    }
}

/// Waits until the process has said everything and ended; ends it when it is late or the work is to stop.
fn wait(
    child: &mut Child,
    said: &Receiver<io::Result<Vec<u8>>>,
    deadline: Instant,
    stop: &dyn Fn() -> bool,
) -> Result<Ended, SuiteError> {
    let said = match receive(said, deadline, stop) {
        Ok(said) => said.unwrap_or_default(),
        Err(Waited::Gone) => Vec::new(),
        Err(Waited::Late) => {
            end(child);
            return Ok(Ended::Late);
        }
        Err(Waited::Stopped) => {
            end(child);
            return Err(SuiteError::Stopped);
        }
    };
    // Its output is closed, so it is about to end; one that is not is late.
    let mut pause = Duration::from_micros(200);
    loop {
        match child.try_wait() {
            Ok(Some(status)) => return Ok(Ended::Done(status, said)),
            Ok(None) if stop() => {
                end(child);
                return Err(SuiteError::Stopped);
            }
            Ok(None) if Instant::now() < deadline => {
                thread::sleep(pause);
                pause = (pause * 2).min(LOOK);
            }
            _ => {
                end(child);
                return Ok(Ended::Late);
            }
        }
    }
}

/// Ends a process and all it has started.
fn end(child: &mut Child) {
    #[cfg(unix)]
    if let Some(group) = i32::try_from(child.id()).ok().and_then(rustix::process::Pid::from_raw) {
        // One that has ended already is what was wanted.
        let _ = rustix::process::kill_process_group(group, rustix::process::Signal::KILL);
    }
    let _ = child.kill();
    let _ = child.wait();
}

/// The last of what a process says on standard error.
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
    fn tell(&self, what: &str) -> String {
        let said = self.0.recv_timeout(LOOK).unwrap_or_default();
        let said = String::from_utf8_lossy(&said);
        let last = said.lines().rev().map(on_one_line).find(|line| !line.is_empty());
        last.map_or_else(|| what.to_owned(), |last| format!("{what}: {last}"))
    }
}

/// Foreign text on one line, short, without anything that would move a terminal's cursor.
fn on_one_line(text: &str) -> String {
    const SHOWN: usize = 200;
    text.trim().chars().take(SHOWN).map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn detector(words: &[&str], stays: bool) -> Result<Detector, String> {
        let words: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
        Detector::new(&words, stays, Duration::from_secs(1)).map_err(|error| error.to_string())
    }

    #[test]
    fn placeholders_are_known_or_refused() {
        assert!(
            detector(&["d", "--in={signal}", "{beats-out}", "{frame-rate}", "{record}", "{}", "{\"a\": 1}"], false)
                .is_ok()
        );
        assert!(detector(&["d", "{beats_out}"], false).unwrap_err().contains("{beats_out}"));
        assert!(detector(&["d", "{signal}"], true).unwrap_err().contains("stays"));
        assert!(detector(&["d", "{frame-rate}"], true).unwrap_err().contains("stays"));
        assert!(detector(&["d"], true).is_ok());
        assert!(detector(&[], false).unwrap_err().contains("no command"));
    }
}
