//! Questions and answers: both sides of the conversation, with nothing of what they are about.

use super::error::LinesError;
use pulsewright_text::source;
use pulsewright_text::wrap::wrap;
use std::io::{BufRead, Write};

/// The answers that may be given, for the answer `?`.
const HELP: [&str; 7] = [
    "Enter      yes; or, at an alarm, it sounds now",
    "n          no; at an alarm, it was not heard",
    "a number   what the monitor shows; 120,5 and 16 kPa are understood",
    "s REASON   skips a reading or an alarm, with the reason",
    "q          leaves; the same command line goes on from there",
    "?          this list",
    "A step plays on until its questions are answered.",
];

/// The lines that have to be confirmed before a signal leaves the program.
const SAFE: [&str; 2] = ["the monitor is connected to no person", "the output was verified with a calibrated meter"];

/// The terminal that a session talks through.
pub struct LinesTerminal<'a> {
    /// Its width, columns; lines break between words.
    pub columns: usize,
    /// Throws away what was typed and not yet read: a key pressed before an alarm's question must not answer it.
    pub discard_typed: &'a dyn Fn(),
    /// Whether the session was asked to end.
    pub asked: &'a dyn Fn() -> bool,
}

/// Both sides of the conversation.
pub struct Conversation<'t, R, W> {
    pub input: &'t mut R,
    pub out: &'t mut W,
    pub terminal: &'t LinesTerminal<'t>,
}

/// The outcome of a question, unless the person left.
pub type LinesResult<T> = Result<T, LinesError>;

impl<R: BufRead, W: Write> Conversation<'_, R, W> {
    pub fn say(&mut self, line: &str) -> LinesResult<()> {
        Ok(writeln!(self.out, "{}", wrapped(line, self.terminal.columns))?)
    }

    /// An answer, without its line end. `q` and the end of the input leave the session.
    pub fn ask(&mut self, question: &str) -> LinesResult<String> {
        loop {
            write!(self.out, "{}", wrapped(question, self.terminal.columns))?;
            self.out.flush()?;
            match source::line(self.input)? {
                Some(Ok(line)) if line.trim() == "?" => {
                    HELP.iter().try_for_each(|line| self.say(&format!("    {line}")))?;
                }
                Some(Ok(line)) if !line.trim().eq_ignore_ascii_case("q") => return Ok(line.trim().to_owned()),
                Some(Err(bad)) => self.say(&format!("    {bad}"))?,
                Some(Ok(_)) | None => {
                    writeln!(self.out)?;
                    return Err(LinesError::Left);
                }
            }
        }
    }

    /// Asks what has to hold each time before anything is played.
    pub fn safe(&mut self) -> LinesResult<()> {
        for line in SAFE {
            // A key pressed before the question confirms nothing.
            (self.terminal.discard_typed)();
            if !self.yes(&format!("Before anything plays: {line}? [Enter, n] "))? {
                return Err(LinesError::NotPrepared(line.to_owned()));
            }
        }
        Ok(())
    }

    /// Enter or `y` is yes, `n` is no; any other answer is no answer.
    pub fn yes(&mut self, question: &str) -> LinesResult<bool> {
        loop {
            match self.ask(question)?.to_lowercase().chars().next() {
                None | Some('y') => return Ok(true),
                Some('n') => return Ok(false),
                Some(_) => self.say("    Enter, or n")?,
            }
        }
    }

    /// Asks until the answer is one of an alarm's.
    pub fn ask_alarm(&mut self, question: &str) -> LinesResult<Answer> {
        loop {
            // A key pressed before the question says nothing about this alarm.
            (self.terminal.discard_typed)();
            match answer(&self.ask(question)?) {
                Some(answer) => return Ok(answer),
                None => self.say("    Enter, n, or s with a REASON")?,
            }
        }
    }

    /// The priority that a monitor shows with an alarm that sounded so long after its step began.
    pub fn priority(&mut self, delay_s: f64) -> LinesResult<String> {
        loop {
            let answer =
                self.ask(&format!("    {delay_s:.1} s. Priority shown [high, medium, low, none]: "))?.to_lowercase();
            let found = ["high", "medium", "low", "none"]
                .into_iter()
                .find(|word| !answer.is_empty() && word.starts_with(&answer));
            if let Some(word) = found {
                return Ok(word.to_owned());
            }
        }
    }
}

/// Lines broken between words, so that none is wider than the terminal. Blanks at the end of a line stay: a question ends with one.
fn wrapped(text: &str, columns: usize) -> String {
    let broken = text.split('\n').map(|line| {
        let words = line.trim_end_matches(' ');
        let end = &line[words.len()..];
        wrap(words, columns.saturating_sub(end.len())).join("\n") + end
    });
    broken.collect::<Vec<_>>().join("\n")
}

/// An answer about an alarm.
#[derive(Debug, PartialEq, Eq)]
pub enum Answer {
    /// It sounds, or has ended, now; it stayed silent.
    Now,
    /// It does not.
    No,
    /// It was not looked for, and why.
    Skip(String),
}

/// Reads an answer about an alarm. One that is none of them must not count as "now": an alarm would pass that was not heard.
fn answer(text: &str) -> Option<Answer> {
    match text.chars().next() {
        None => Some(Answer::Now),
        Some('n' | 'N') => Some(Answer::No),
        Some(_) => skip(text).map(Answer::Skip),
    }
}

/// The reason after `s `; `s` alone is no reason.
pub fn skip(answer: &str) -> Option<String> {
    let (word, reason) = answer.split_once(' ')?;
    (word.eq_ignore_ascii_case("s") && !reason.trim().is_empty()).then(|| reason.trim().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_an_empty_answer_is_now() {
        assert_eq!(answer(""), Some(Answer::Now));
        for no in ["n", "N", "no", "not heard"] {
            assert_eq!(answer(no), Some(Answer::No), "{no}");
        }
        assert_eq!(answer("s muted"), Some(Answer::Skip("muted".to_owned())));
        for unclear in ["s", "S ", "12", "high", "0"] {
            assert_eq!(answer(unclear), None, "{unclear}");
        }
    }

    /// Plays a terminal: lines typed before a question are gone when typed keys are discarded, those typed after it are read.
    #[test]
    fn keys_typed_ahead_confirm_nothing() {
        let discarded = std::cell::Cell::new(0);
        let discard_typed = || discarded.set(discarded.get() + 1);
        let terminal = LinesTerminal { columns: usize::MAX, discard_typed: &discard_typed, asked: &|| false };
        let said = |lines: &str| {
            discarded.set(0);
            let (mut input, mut out) = (lines.as_bytes(), Vec::new());
            let mut talk = Conversation { input: &mut input, out: &mut out, terminal: &terminal };
            (talk.safe(), discarded.get())
        };
        assert!(matches!(said("\ny\n"), (Ok(()), 2)));
        assert!(matches!(said("wait\n\n\n"), (Ok(()), 2)));
        assert!(matches!(said("no\n"), (Err(LinesError::NotPrepared(_)), 1)));
        assert!(matches!(said("wait\n"), (Err(LinesError::Left), 1)));
        let (mut input, mut out) = ("12\ns\n\n".as_bytes(), Vec::new());
        let mut talk = Conversation { input: &mut input, out: &mut out, terminal: &terminal };
        discarded.set(0);
        assert_eq!(talk.ask_alarm("Alarm: ").unwrap(), Answer::Now);
        assert_eq!(discarded.get(), 3);
    }

    #[test]
    fn lines_break_between_words_only() {
        let question = "  Alarm Ventricular fibrillation, high priority, at the latest 10 s after the start: ";
        for columns in [30, 60, 90] {
            let lines = wrapped(question, columns);
            assert!(lines.lines().all(|line| line.chars().count() <= columns), "{lines}");
            assert!(lines.lines().all(|line| line.starts_with("  ")) && lines.ends_with(": "));
            let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
            assert_eq!(words(&lines), words(question));
        }
        assert_eq!(wrapped(question, usize::MAX), question);
        assert_eq!(wrapped("\nStep 1:  two", usize::MAX), "\nStep 1: two");
    }
}
