//! The detector under test: a command of the user's, run as its own process.
//!
//! Three ways to talk to it:
//! - `{signal}` among its words: the signal is a file; without, it comes as CSV on standard input.
//! - `{beats-out}` among its words: it writes its beats to that file; without, they are read from standard output.
//! - Staying: started once per core, it gets one record a line on standard input (name, signal, beats file and frame rate,
//!   separated by tabs). It answers on one line: the record's name, a tab, then `ok` when the beats file is written, or what
//!   went wrong. Any other line, or none in time, ends the process and fails the record. Each record has a folder of its
//!   own for signal and beats, so no answer can be taken for that of another record.
//!
//! No shell is involved: words reach the command as they are.

mod guard;
mod process;

pub use guard::DetectorGuard;

use crate::error::SuiteError;
use crate::plan::SuitePlan;
use crate::record::SuiteRecord;
use process::{Process, WaitError, all_of, lines_of, on_one_line, receive};
use pulsewright_text::source::{self, SourceError};
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::process::{ChildStdin, ExitStatus, Stdio};
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

const SIGNAL: &str = "{signal}";
const BEATS_OUT: &str = "{beats-out}";
const FRAME_RATE: &str = "{frame-rate}";
const RECORD: &str = "{record}";

/// Placeholders in a command, for values that differ from record to record.
pub const PLACEHOLDERS: [(&str, &str); 4] = [
    (SIGNAL, "file with the signal"),
    (BEATS_OUT, "file to write the beats to"),
    (FRAME_RATE, "frames a second"),
    (RECORD, "name of the record"),
];

/// Most bytes of an answer: some weeks of beats. A detector that writes more is out of control.
const MOST_ANSWER: u64 = 32 << 20;

/// How the detector is started and talked to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Detector {
    words: Vec<String>,
    stays: bool,
    timeout: Duration,
}

/// Outcome of one record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The answer as the detector gave it.
    Answer(Vec<u8>),
    /// The detector failed; why, on one line.
    Failure(String),
}

impl Detector {
    /// For a command given as its words; with `stays` it is started once per core. `timeout` is for one record.
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
                        "{found} in the command of a detector that stays; it gets each record on standard input"
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

    /// A worker for one thread. `guard` ends the worker's processes when this process is killed.
    pub fn worker<'d>(&'d self, guard: &'d DetectorGuard) -> Worker<'d> {
        Worker { detector: self, guard, staying: None, took: Duration::ZERO }
    }

    fn wants(&self, placeholder: &str) -> bool {
        self.words.iter().any(|word| word.contains(placeholder))
    }

    /// Why it cannot work in a folder; its path goes to a staying detector on a line, between tabs.
    fn check_place(&self, folder: &Path) -> Result<(), SuiteError> {
        if self.stays && folder.display().to_string().chars().any(char::is_control) {
            let what =
                "a detector that stays gets paths on a line; choose a folder without tabs and line ends".to_owned();
            return Err(SuiteError::Folder { folder: folder.to_owned(), what });
        }
        Ok(())
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

/// Runs the detector on records, for one thread.
pub struct Worker<'d> {
    detector: &'d Detector,
    guard: &'d DetectorGuard,
    staying: Option<Staying<'d>>,
    took: Duration,
}

/// A process that stays from record to record.
struct Staying<'g> {
    process: Process<'g>,
    stdin: ChildStdin,
    lines: Receiver<io::Result<String>>,
}

/// Files of one record: its signal and the beats that are found in it.
struct Place {
    folder: PathBuf,
    signal: PathBuf,
    beats: PathBuf,
}

impl Place {
    fn new(folder: &Path, record: &SuiteRecord, plan: &SuitePlan) -> Result<Place, SuiteError> {
        let folder = folder.join(&record.name);
        fs::create_dir_all(&folder).map_err(SuiteError::io(&folder))?;
        let signal = folder.join(format!("signal.{}", plan.format.extension()));
        Ok(Place { signal, beats: folder.join("beats"), folder })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        // Files that can't be removed go with the whole folder of temporary files, at the end of the run.
        let _ = fs::remove_dir_all(&self.folder);
    }
}

impl Worker<'_> {
    /// Runs the detector on one record. Temporary files are made in `folder`.
    ///
    /// # Errors
    /// When the command can't be started, the record can't be rendered, or `stop` says so.
    pub fn ask(
        &mut self,
        record: &SuiteRecord,
        plan: &SuitePlan,
        folder: &Path,
        stop: &dyn Fn() -> bool,
    ) -> Result<Outcome, SuiteError> {
        self.detector.check_place(folder)?;
        let place = Place::new(folder, record, plan)?;
        let to_file = self.detector.stays || self.detector.wants(SIGNAL);
        if to_file {
            record.render_file(plan, &place.signal, false)?;
        }
        let began = Instant::now();
        let outcome = if self.detector.stays {
            self.ask_staying(record, &place, stop)
        } else {
            self.ask_once(record, plan, &place, to_file, stop)
        };
        self.took = began.elapsed();
        outcome
    }

    /// How long the detector took for the last record; where it reads the signal from a pipe, the render is part of it.
    pub fn took(&self) -> Duration {
        self.took
    }

    fn ask_once(
        &self,
        record: &SuiteRecord,
        plan: &SuitePlan,
        place: &Place,
        to_file: bool,
        stop: &dyn Fn() -> bool,
    ) -> Result<Outcome, SuiteError> {
        let fill = |word: &String| {
            word.replace(SIGNAL, &place.signal.display().to_string())
                .replace(BEATS_OUT, &place.beats.display().to_string())
                .replace(FRAME_RATE, &record.frame_rate.as_hz().to_string())
                .replace(RECORD, &record.name)
        };
        let words: Vec<String> = self.detector.words.iter().map(fill).collect();
        let stdin = if to_file { Stdio::null() } else { Stdio::piped() };
        let mut process = Process::start(&words, stdin, self.guard)?;
        let said = all_of(process.stdout(), MOST_ANSWER);
        let stdin = process.stdin();
        let deadline = Instant::now() + self.detector.timeout;
        let (process, ended) = std::thread::scope(|scope| {
            let writer = stdin.map(|mut stdin| scope.spawn(move || record.render_stream(plan, &mut stdin)));
            let ended = ended(&mut process, &said, deadline, stop);
            if ended.is_err() {
                process.end();
            }
            // The process has ended, so the pipe is closed and the writer ends too.
            match writer.map(|writer| writer.join()) {
                Some(Ok(Err(error))) => Err(error),
                _ => Ok((process, ended)),
            }
        })?;
        Ok(match ended {
            Err(WaitError::Stopped) => return Err(SuiteError::Stopped),
            Err(_) => Outcome::Failure(self.late()),
            Ok((status, _)) if !status.success() => Outcome::Failure(process.complaint(&ended_how(status))),
            Ok(_) if self.detector.wants(BEATS_OUT) => answer_file(&place.beats, &process)?,
            Ok((_, said)) if said.len() as u64 > MOST_ANSWER => Outcome::Failure(too_much()),
            Ok((_, said)) => Outcome::Answer(said),
        })
    }

    /// A mistake of a staying detector ends its process: nothing that it says later is taken for an answer.
    fn ask_staying(
        &mut self,
        record: &SuiteRecord,
        place: &Place,
        stop: &dyn Fn() -> bool,
    ) -> Result<Outcome, SuiteError> {
        let mut staying = match self.staying.take() {
            Some(staying) => staying,
            None => Staying::start(self.detector, self.guard)?,
        };
        let deadline = Instant::now() + self.detector.timeout;
        let (signal, beats, rate) = (place.signal.display(), place.beats.display(), record.frame_rate.as_hz());
        let line = format!("{}\t{signal}\t{beats}\t{rate}\n", record.name);
        // A process that is gone shows in its answer, below.
        let _ = staying.stdin.write_all(line.as_bytes()).and_then(|()| staying.stdin.flush());
        let said = match receive(&staying.lines, deadline, stop) {
            Ok(said) => said,
            Err(WaitError::Stopped) => return Err(SuiteError::Stopped),
            Err(WaitError::Late) => return Ok(Outcome::Failure(self.late())),
            Err(WaitError::Gone) => {
                let how =
                    staying.process.wait(deadline, stop).map_or_else(|_| "closed its output".to_owned(), ended_how);
                return Ok(Outcome::Failure(staying.process.complaint(&format!("{how} before its answer"))));
            }
        };
        let said = match said {
            Ok(line) => line,
            Err(error) => return Ok(Outcome::Failure(format!("its answer can't be read: {error}"))),
        };
        let answer = said.trim_end_matches(['\r', '\n']).strip_prefix(&record.name);
        let outcome = match answer.and_then(|answer| answer.strip_prefix('\t')) {
            Some("ok") => answer_file(&place.beats, &staying.process)?,
            Some(why) if !on_one_line(why).is_empty() => Outcome::Failure(on_one_line(why)),
            _ => {
                let why = "in place of the record's name, a tab and ok; messages belong on standard error";
                return Ok(Outcome::Failure(format!("said '{}' {why}", on_one_line(&said))));
            }
        };
        // Only a process that answered gets the next record.
        self.staying = Some(staying);
        Ok(outcome)
    }

    fn late(&self) -> String {
        format!("gave no answer within {} s", self.detector.timeout.as_secs_f64())
    }
}

impl<'g> Staying<'g> {
    fn start(detector: &Detector, guard: &'g DetectorGuard) -> Result<Staying<'g>, SuiteError> {
        let mut process = Process::start(&detector.words, Stdio::piped(), guard)?;
        let Some((stdin, stdout)) = process.stdin().zip(process.stdout()) else {
            return Err(SuiteError::Command(format!("cannot talk to {}", detector.words[0])));
        };
        Ok(Staying { process, stdin, lines: lines_of(stdout) })
    }
}

/// Waits until a process has said everything and ended.
fn ended(
    process: &mut Process<'_>,
    said: &Receiver<io::Result<Vec<u8>>>,
    deadline: Instant,
    stop: &dyn Fn() -> bool,
) -> Result<(ExitStatus, Vec<u8>), WaitError> {
    let said = match receive(said, deadline, stop) {
        Ok(said) => said.unwrap_or_default(),
        Err(WaitError::Gone) => Vec::new(),
        Err(why) => return Err(why),
    };
    // Its output is closed, so it should end soon; otherwise it is late.
    process.wait(deadline, stop).map(|status| (status, said))
}

/// The detector's answer in its file.
///
/// # Errors
/// When the system can't read it: no fault of the detector, so the record is not done.
fn answer_file(beats: &Path, process: &Process<'_>) -> Result<Outcome, SuiteError> {
    use io::ErrorKind::{IsADirectory, NotADirectory, NotFound, PermissionDenied};
    match source::file(beats, MOST_ANSWER) {
        Ok(bytes) => Ok(Outcome::Answer(bytes)),
        Err(SourceError::Io { source, .. })
            if !matches!(source.kind(), NotFound | NotADirectory | PermissionDenied | IsADirectory) =>
        {
            Err(SuiteError::io(beats)(source))
        }
        Err(SourceError::TooLarge { .. }) => Ok(Outcome::Failure(too_much())),
        Err(_) => Ok(Outcome::Failure(process.complaint("wrote no file of beats"))),
    }
}

fn too_much() -> String {
    format!("answered with more than {} MB", MOST_ANSWER >> 20)
}

fn ended_how(status: ExitStatus) -> String {
    // As the system words it: "exit status: 1", "signal: 9 (SIGKILL)".
    format!("ended with {status}")
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
