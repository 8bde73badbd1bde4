//! Questions and answers of a session.

use super::answers::{Answers, Found};
use super::{SessionError, Terminal};
use crate::calendar::{day, today};
use crate::instruments::KINDS;
use crate::judge::{Verdict, plain};
use crate::markup::CAUTIONS;
use crate::plan::{Item, Plan, PlanStep};
use crate::record::{ABOUT, Entry, Instrument};
use pulsewright_text::source;
use std::io::{BufRead, Write};
use std::time::Instant;

/// What may be answered, for the answer `?`.
const HELP: [&str; 7] = [
    "Enter      yes; or, at an alarm, it sounds now",
    "n          no; at an alarm, it was not heard",
    "a number   what the monitor shows; 120,5 and 16 kPa are understood",
    "s REASON   skips a reading or an alarm, with the reason",
    "q          leaves; the same command line goes on from there",
    "?          this list",
    "A step plays on until its questions are answered.",
];

/// Both sides of the terminal.
pub(super) struct Talk<'t, R, W> {
    pub(super) input: &'t mut R,
    pub(super) out: &'t mut W,
    pub(super) terminal: &'t Terminal<'t>,
}

type Said<T> = Result<T, SessionError>;

impl<R: BufRead, W: Write> Talk<'_, R, W> {
    pub(super) fn say(&mut self, line: &str) -> Said<()> {
        Ok(writeln!(self.out, "{}", wrapped(line, self.terminal.columns))?)
    }

    /// An answer, without its line end. `q` and the end of the input leave the session.
    pub(super) fn ask(&mut self, question: &str) -> Said<String> {
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
                    return Err(SessionError::Left);
                }
            }
        }
    }

    /// Cautions, the equipment, kit and preparations; only those not yet answered.
    pub(super) fn before(&mut self, plan: &Plan, answers: &mut Answers) -> Said<()> {
        self.say(&plan.title)?;
        for line in CAUTIONS.iter().copied().chain(plan.cautions.iter().map(String::as_str)) {
            self.say(&format!("  ! {line}"))?;
        }
        self.say("q leaves at any question; the same command line goes on from there. ? shows what may be answered.")?;
        for (word, name) in ABOUT.iter().filter(|(word, _)| *word != "date") {
            let (word, question) = (*word, format!("{name}: "));
            if !answers.record().about.contains_key(word) {
                let answer = self.ask(&question)?;
                answers.about([(word.to_owned(), answer)])?;
            }
        }
        if !answers.record().about.contains_key("date") {
            answers.about([("date".to_owned(), today())])?;
        }
        self.instruments(answers)?;
        for (index, line) in plan.kit.iter().enumerate() {
            let number = (index + 1).to_string();
            if answers.record().kit.get(&number).is_none_or(|state| state.out.is_empty())
                && self.yes(&format!("Kit out: {line}? [Enter, n] "))?
            {
                answers.kit_out(&number, true)?;
            }
        }
        self.prepare("0", &plan.prepare, answers)?;
        let unprepared = plan.prepare.iter().enumerate().find(|(index, _)| {
            let id = format!("0.prepare-{}", index + 1);
            !answers.record().prepared.contains_key(&id)
        });
        match unprepared {
            Some((_, line)) => Err(SessionError::NotPrepared(line.clone())),
            None => Ok(()),
        }
    }

    /// Asks for the number and the calibration of each instrument, once.
    fn instruments(&mut self, answers: &mut Answers) -> Said<()> {
        for what in KINDS {
            if answers.record().instruments.iter().any(|instrument| instrument.what == what) {
                continue;
            }
            let id = self.ask(&format!("{what}, number [Enter: not used] "))?;
            let due = if id.is_empty() { String::new() } else { self.day(what)? };
            answers.instrument(Instrument { what: what.to_owned(), id, due })?;
        }
        Ok(())
    }

    /// A day, or nothing.
    fn day(&mut self, what: &str) -> Said<String> {
        loop {
            let due = self.ask(&format!("{what}, calibrated until, as 2027-03-01: "))?;
            if due.is_empty() || day(&due).is_some() {
                return Ok(due);
            }
            self.say("    write the day as 2027-03-01, or nothing")?;
        }
    }

    /// Asks what has to hold each time before anything is played.
    pub(super) fn safe(&mut self) -> Said<()> {
        for line in ["the monitor is connected to no person", "the output was verified with a calibrated meter"] {
            // A key pressed before the question confirms nothing.
            (self.terminal.discard_typed)();
            if !self.yes(&format!("Before anything plays: {line}? [Enter, n] "))? {
                return Err(SessionError::NotPrepared(line.to_owned()));
            }
        }
        Ok(())
    }

    /// Enter or `y` is yes, `n` is no; any other answer is no answer.
    fn yes(&mut self, question: &str) -> Said<bool> {
        loop {
            match self.ask(question)?.to_lowercase().chars().next() {
                None | Some('y') => return Ok(true),
                Some('n') => return Ok(false),
                Some(_) => self.say("    Enter, or n")?,
            }
        }
    }

    /// Asks until the answer is one of an alarm's.
    fn ask_alarm(&mut self, question: &str) -> Said<Answer> {
        loop {
            // A key pressed before the question says nothing about this alarm.
            (self.terminal.discard_typed)();
            match answer(&self.ask(question)?) {
                Some(answer) => return Ok(answer),
                None => self.say("    Enter, n, or s with a REASON")?,
            }
        }
    }

    /// Preparations that are not yet ticked.
    pub(super) fn prepare(&mut self, step: &str, lines: &[String], answers: &mut Answers) -> Said<()> {
        for (index, line) in lines.iter().enumerate() {
            let id = format!("{step}.prepare-{}", index + 1);
            if !answers.record().prepared.contains_key(&id) && self.yes(&format!("  Prepare: {line} [Enter, n] "))? {
                answers.prepared(&id, true)?;
            }
        }
        Ok(())
    }

    pub(super) fn heading(&mut self, step: &PlanStep, index: usize, count: usize) -> Said<()> {
        self.say(&format!("\nStep {} of {count}: {}\n  {}, {}", index + 1, step.name, step.plays, step.lasts))?;
        step.cautions.iter().try_for_each(|line| self.say(&format!("  ! {line}")))
    }

    /// The alarms of a step that began at `began`.
    pub(super) fn alarms(&mut self, step: &PlanStep, began: Instant, answers: &mut Answers) -> Said<()> {
        for alarm in &step.alarms {
            let question = format!(
                "  Alarm {}, {} priority, {}at the latest {} s after the start of the step. Enter when it sounds, n not heard, s REASON skips: ",
                alarm.name,
                alarm.priority,
                if alarm.onset_s > 0.0 { format!("due after {} s, ", plain(alarm.onset_s)) } else { String::new() },
                plain(alarm.latest_s())
            );
            loop {
                let answer = self.ask_alarm(&question)?;
                let delay_s = began.elapsed().as_secs_f64();
                let mut entry = Entry::default();
                match answer {
                    Answer::Skip(reason) => entry.skip = reason,
                    Answer::No => entry.heard = "no".to_owned(),
                    Answer::Now => {
                        entry.value = format!("{delay_s:.1}");
                        entry.priority = self.priority(delay_s)?;
                    }
                }
                // An alarm that can't have sounded yet is asked about again.
                if self.enter(Item::Alarm(alarm), entry, answers)? != Verdict::Open {
                    break;
                }
            }
        }
        Ok(())
    }

    /// The alarms of the step before, which must end.
    pub(super) fn clears(&mut self, step: &PlanStep, began: Instant, answers: &mut Answers) -> Said<()> {
        for clear in &step.clears {
            let question = format!(
                "  Alarm {} ends within {} s. Enter when it has ended, n it goes on, s REASON skips: ",
                clear.name,
                plain(clear.latest_s())
            );
            let answer = self.ask_alarm(&question)?;
            let mut entry = Entry::default();
            match answer {
                Answer::Skip(reason) => entry.skip = reason,
                Answer::No => entry.heard = "yes".to_owned(),
                Answer::Now => entry.value = format!("{:.1}", began.elapsed().as_secs_f64()),
            }
            self.enter(Item::Clear(clear), entry, answers)?;
        }
        Ok(())
    }

    /// The alarms that must not have sounded.
    pub(super) fn silent(&mut self, step: &PlanStep, answers: &mut Answers) -> Said<()> {
        for silence in &step.silent {
            let question = format!("  Did {} stay silent? Enter yes, n it sounded, s REASON skips: ", silence.name);
            let mut entry = Entry::default();
            match self.ask_alarm(&question)? {
                Answer::Skip(reason) => entry.skip = reason,
                Answer::No => entry.heard = "yes".to_owned(),
                Answer::Now => entry.heard = "no".to_owned(),
            }
            self.enter(Item::Silence(silence), entry, answers)?;
        }
        Ok(())
    }

    /// The checks by hand that are in order or not.
    pub(super) fn checks(&mut self, step: &PlanStep, answers: &mut Answers) -> Said<()> {
        for check in &step.checks {
            let question =
                format!("  {} ({}). Enter in order, n not in order, s REASON skips: ", check.name, check.source);
            let mut entry = Entry::default();
            match self.ask_alarm(&question)? {
                Answer::Skip(reason) => entry.skip = reason,
                Answer::No => entry.value = "no".to_owned(),
                Answer::Now => entry.value = "yes".to_owned(),
            }
            self.enter(Item::Check(check), entry, answers)?;
        }
        Ok(())
    }

    fn priority(&mut self, delay_s: f64) -> Said<String> {
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

    /// The readings of a step; an entry that is not a number is asked for again.
    pub(super) fn readings(&mut self, step: &PlanStep, answers: &mut Answers) -> Said<()> {
        for reading in &step.readings {
            let expected = match reading.expected() {
                expected if expected.is_empty() => expected,
                expected => format!("{expected}; "),
            };
            if !reading.because().is_empty() {
                self.say(&format!("  {}: {}", reading.name, reading.because()))?;
            }
            let question = format!("  {}, {} ({expected}{}): ", reading.name, reading.unit, reading.allowed);
            loop {
                let answer = self.ask(&question)?;
                let entry = match skip(&answer) {
                    Some(reason) => Entry { skip: reason, ..Entry::default() },
                    None => Entry { value: answer, ..Entry::default() },
                };
                if self.enter(Item::Reading(reading), entry, answers)? != Verdict::Open {
                    break;
                }
            }
        }
        Ok(())
    }

    /// Takes an entry down and shows its verdict.
    fn enter(&mut self, item: Item<'_>, entry: Entry, answers: &mut Answers) -> Said<Verdict> {
        let Found { verdict, why } = answers.enter(item.id(), entry)?;
        let why = if why.is_empty() { why } else { format!(": {why}") };
        self.say(&format!(
            "    {}{why}{}",
            verdict.id(),
            if verdict == Verdict::Open { "; s REASON skips" } else { "" }
        ))?;
        Ok(verdict)
    }

    /// Kit back, and the signature.
    pub(super) fn after(&mut self, plan: &Plan, answers: &mut Answers) -> Said<()> {
        self.say("")?;
        for (index, line) in plan.kit.iter().enumerate() {
            let number = (index + 1).to_string();
            let out = answers.record().kit.get(&number).is_some_and(|state| state.back.is_empty());
            if out && self.yes(&format!("Kit back: {line}? [Enter, n] "))? {
                answers.kit_back(&number, true)?;
            }
        }
        if answers.record().signatures.contains_key("done") {
            return Ok(());
        }
        // Instruments that are not used were kept until here, so that they are asked for once.
        let name = self.ask("Done by: ")?;
        Ok(answers.sign(name)?)
    }
}

/// Lines broken between words, so that none is wider than the terminal; later lines keep the indent of the first.
fn wrapped(text: &str, columns: usize) -> String {
    let broken = text.split('\n').map(|line| {
        let indent = line.chars().take_while(|letter| *letter == ' ').count();
        let end = line.len() - line.trim_end_matches(' ').len();
        let (mut out, mut width) = (" ".repeat(indent), indent);
        for word in line.split(' ').filter(|word| !word.is_empty()) {
            let length = word.chars().count();
            if width > indent && (width + 1 + length).saturating_add(end) > columns {
                out.push('\n');
                out.push_str(&" ".repeat(indent));
                width = indent;
            } else if width > indent {
                out.push(' ');
                width += 1;
            }
            out.push_str(word);
            width += length;
        }
        out + &" ".repeat(if line.len() > indent { end } else { 0 })
    });
    broken.collect::<Vec<_>>().join("\n")
}

/// An answer about an alarm.
#[derive(Debug, PartialEq, Eq)]
enum Answer {
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
fn skip(answer: &str) -> Option<String> {
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
        let terminal = Terminal { columns: usize::MAX, discard_typed: &discard_typed };
        let said = |lines: &str| {
            discarded.set(0);
            let (mut input, mut out) = (lines.as_bytes(), Vec::new());
            let mut talk = Talk { input: &mut input, out: &mut out, terminal: &terminal };
            (talk.safe(), discarded.get())
        };
        assert!(matches!(said("\ny\n"), (Ok(()), 2)));
        assert!(matches!(said("wait\n\n\n"), (Ok(()), 2)));
        assert!(matches!(said("no\n"), (Err(SessionError::NotPrepared(_)), 1)));
        assert!(matches!(said("wait\n"), (Err(SessionError::Left), 1)));
        let (mut input, mut out) = ("12\ns\n\n".as_bytes(), Vec::new());
        let mut talk = Talk { input: &mut input, out: &mut out, terminal: &terminal };
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
