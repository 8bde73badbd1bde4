//! The questions of a plan, in their order.

use super::desk::{LinesSession, word};
use super::error::LinesError;
use super::talk::{Answer, Conversation, LinesResult, skip};
use crate::checks::NO_ASSET;
use crate::order::Request;
use pulsewright_record::calendar::day;
use pulsewright_record::instruments::KINDS;
use pulsewright_record::judge::plain;
use pulsewright_record::markup::CAUTIONS;
use pulsewright_record::plan::{Plan, PlanItem, PlanStep};
use pulsewright_record::record::{ABOUT, Instrument, ItemEntry};
use serde_json::Value;
use std::io::{BufRead, Write};

/// The questions of a plan.
pub struct Questions<'t, R, W> {
    pub talk: Conversation<'t, R, W>,
    pub desk: LinesSession<'t>,
    pub plan: &'t Plan,
    /// How long each step plays that has nothing to read, s.
    pub rests: &'t [Option<f64>],
}

impl<R: BufRead, W: Write> Questions<'_, R, W> {
    /// All of them; those that the record answers are left out. `leaves` says whether a signal leaves the program.
    pub fn ask_all(&mut self, leaves: bool) -> LinesResult<()> {
        self.before()?;
        if let Some(first) = self.first_to_play() {
            if leaves {
                self.talk.safe()?;
                self.desk.keep(Request::Confirm { person: true, output: true })?;
            } else {
                self.desk.bench.run_clock();
            }
            self.desk.wait(|desk| desk.plays())?;
            let count = self.plan.steps.len();
            if first > 0 {
                self.talk.say(&format!("Taking up at step {} of {count}.", first + 1))?;
            }
            for (index, step) in self.plan.steps.iter().enumerate().skip(first) {
                self.step(step, index)?;
            }
            self.order(Request::Stop)?;
            // The last step belongs to the record before it is signed.
            self.desk.wait(|desk| desk.record("playing").is_null())?;
        }
        self.after()
    }

    /// The first step with an open item, or with nothing to read and not yet played.
    fn first_to_play(&self) -> Option<usize> {
        let played = self.desk.record("played");
        let was_played = |step: &PlanStep| played.as_array().is_some_and(|ids| ids.iter().any(|id| *id == *step.id));
        self.plan.steps.iter().position(|step| match step.has_items() {
            true => step.items().any(|item| self.is_open(item.id())),
            false => !was_played(step),
        })
    }

    fn is_open(&self, id: &str) -> bool {
        let items = self.desk.record("items");
        items.get(id).is_none_or(|entry| matches!(word(entry, "verdict"), "" | "open"))
    }

    /// Cautions, the equipment, kit and preparations; only those not yet answered.
    fn before(&mut self) -> LinesResult<()> {
        self.talk.say(&self.plan.title)?;
        for line in CAUTIONS.iter().copied().chain(self.plan.cautions.iter().map(String::as_str)) {
            self.talk.say(&format!("  ! {line}"))?;
        }
        self.talk
            .say("q leaves at any question; the same command line goes on from there. ? shows what may be answered.")?;
        self.begin()?;
        for (word, name) in ABOUT.iter().filter(|(word, _)| *word != "date") {
            if self.desk.record("about").get(word).is_none() {
                let answer = self.talk.ask(&format!("{name}: "))?;
                self.desk.keep(Request::About { about: [((*word).to_owned(), answer)].into() })?;
            }
        }
        self.instruments()?;
        for (index, line) in self.plan.kit.iter().enumerate() {
            let number = (index + 1).to_string();
            if self.kit(&number, "out").is_empty() && self.talk.yes(&format!("Kit out: {line}? [Enter, n] "))? {
                self.desk.keep(Request::Kit { number, back: false, on: true })?;
            }
        }
        self.prepare("0", &self.plan.prepare)?;
        let prepared = self.desk.record("prepared");
        let is_missing = |index: usize| prepared.get(format!("0.prepare-{}", index + 1)).is_none();
        match self.plan.prepare.iter().enumerate().find(|(index, _)| is_missing(*index)) {
            Some((_, line)) => Err(LinesError::NotPrepared(line.clone())),
            None => Ok(()),
        }
    }

    /// Opens the record: its draft, or a new one.
    fn begin(&mut self) -> LinesResult<()> {
        let mut about = std::collections::BTreeMap::new();
        loop {
            match self.desk.request(Request::Begin { about: about.clone() }) {
                Ok(_) => return Ok(()),
                Err(why) if why == NO_ASSET => {
                    let name = ABOUT.iter().find(|(word, _)| *word == "asset").map_or("", |(_, name)| name);
                    about.insert("asset".to_owned(), self.talk.ask(&format!("{name}: "))?);
                }
                Err(why) => return Err(LinesError::Record(why)),
            }
        }
    }

    /// The state of a piece of kit on one of its ways.
    fn kit(&self, number: &str, way: &str) -> String {
        self.desk.record("kit").get(number).map_or(String::new(), |state| word(state, way).to_owned())
    }

    /// Asks for the number and the calibration of each instrument, once.
    fn instruments(&mut self) -> LinesResult<()> {
        for what in KINDS {
            let known = self.desk.record("instruments");
            if known.as_array().is_some_and(|known| known.iter().any(|instrument| word(instrument, "what") == what)) {
                continue;
            }
            let id = self.talk.ask(&format!("{what}, number [Enter: not used] "))?;
            let due = if id.is_empty() { String::new() } else { self.day(what)? };
            let instrument = Instrument { what: what.to_owned(), id, due };
            self.desk.keep(Request::Instrument { instrument })?;
        }
        Ok(())
    }

    /// A day, or nothing.
    fn day(&mut self, what: &str) -> LinesResult<String> {
        loop {
            let due = self.talk.ask(&format!("{what}, calibrated until, as 2027-03-01: "))?;
            if due.is_empty() || day(&due).is_some() {
                return Ok(due);
            }
            self.talk.say("    write the day as 2027-03-01, or nothing")?;
        }
    }

    /// Preparations that are not yet ticked.
    fn prepare(&mut self, step: &str, lines: &[String]) -> LinesResult<()> {
        for (index, line) in lines.iter().enumerate() {
            let id = format!("{step}.prepare-{}", index + 1);
            let ticked = self.desk.record("prepared").get(&id).is_some();
            if !ticked && self.talk.yes(&format!("  Prepare: {line} [Enter, n] "))? {
                self.desk.keep(Request::Prepared { id, on: true })?;
            }
        }
        Ok(())
    }

    /// Orders something of the player, until it is done; gives the frame at which it takes effect.
    fn order(&mut self, request: Request) -> LinesResult<u64> {
        loop {
            match self.desk.request(request.clone()) {
                Ok(frame) => return Ok(frame.as_u64().unwrap_or_default()),
                Err(why) => {
                    // An output that has ended ends the session.
                    self.desk.still_plays()?;
                    self.talk.ask(&format!("  {why}. Enter to try again: "))?;
                }
            }
        }
    }

    fn step(&mut self, step: &PlanStep, index: usize) -> LinesResult<()> {
        let count = self.plan.steps.len();
        self.talk.say(&format!("\nStep {} of {count}: {}\n  {}, {}", index + 1, step.name, step.plays, step.lasts))?;
        step.cautions.iter().try_for_each(|line| self.talk.say(&format!("  ! {line}")))?;
        self.prepare(&step.id, &step.prepare)?;
        let since = self.order(Request::Step { step: index })?;
        self.desk.wait(|desk| desk.bench.seconds_after(since).is_some())?;
        if step.has_items() {
            self.alarms(step, since)?;
            self.clears(step, since)?;
            self.readings(step)?;
            self.silent(step)?;
            self.checks(step)?;
        } else if let Some(rest) = self.rests.get(index).copied().flatten() {
            self.talk.say(&format!("  Nothing to read: the next step follows after {rest} s."))?;
            self.desk.wait(|desk| desk.bench.seconds_after(since).is_some_and(|played| played >= rest))?;
        } else {
            self.talk.ask("  Enter to go on: ")?;
        }
        if let Some(late) = self.desk.late_s() {
            self.talk.say(&format!(
                "  The output takes the signal {late:.1} s late: times of this step are not to be relied on."
            ))?;
        }
        for words in self.desk.warnings() {
            self.talk.say(&format!("  {words}"))?;
        }
        Ok(())
    }

    /// Seconds from the first frame of the step until now; `None`, with the reason said, when nothing can be timed now.
    fn time(&mut self, since: u64) -> LinesResult<Option<f64>> {
        match self.desk.bench.time_now(since) {
            Ok(time) => Ok(Some(time)),
            Err(why) => {
                // An output that has ended ends the session.
                self.desk.still_plays()?;
                self.talk.say(&format!("    {why}"))?;
                Ok(None)
            }
        }
    }

    fn alarms(&mut self, step: &PlanStep, since: u64) -> LinesResult<()> {
        for alarm in &step.alarms {
            let question = format!(
                "  Alarm {}, {} priority, {}at the latest {} s after the start of the step. Enter when it sounds, n not heard, s REASON skips: ",
                alarm.name,
                alarm.priority,
                if alarm.onset_s > 0.0 { format!("due after {} s, ", plain(alarm.onset_s)) } else { String::new() },
                plain(alarm.latest_s())
            );
            self.by_key(PlanItem::Alarm(alarm), &question, |asking, sounds| {
                if !sounds {
                    return Ok(Some(heard("no")));
                }
                let Some(delay_s) = asking.time(since)? else { return Ok(None) };
                let priority = asking.talk.priority(delay_s)?;
                Ok(Some(ItemEntry { priority, ..read(format!("{delay_s:.1}")) }))
            })?;
        }
        Ok(())
    }

    /// The alarms of the step before, which must end.
    fn clears(&mut self, step: &PlanStep, since: u64) -> LinesResult<()> {
        for clear in &step.clears {
            let question = format!(
                "  Alarm {} ends within {} s. Enter when it has ended, n it goes on, s REASON skips: ",
                clear.name,
                plain(clear.latest_s())
            );
            self.by_key(PlanItem::Clear(clear), &question, |asking, has_ended| {
                if !has_ended {
                    return Ok(Some(heard("yes")));
                }
                Ok(asking.time(since)?.map(|time| read(format!("{time:.1}"))))
            })?;
        }
        Ok(())
    }

    /// The alarms that must not have sounded.
    fn silent(&mut self, step: &PlanStep) -> LinesResult<()> {
        for silence in &step.silent {
            let question = format!("  Did {} stay silent? Enter yes, n it sounded, s REASON skips: ", silence.name);
            let entry = |silent| heard(if silent { "no" } else { "yes" });
            self.by_key(PlanItem::Silence(silence), &question, |_, silent| Ok(Some(entry(silent))))?;
        }
        Ok(())
    }

    /// The checks by hand that are in order or not.
    fn checks(&mut self, step: &PlanStep) -> LinesResult<()> {
        for check in &step.checks {
            let question =
                format!("  {} ({}). Enter in order, n not in order, s REASON skips: ", check.name, check.source);
            let entry = |in_order| read(if in_order { "yes" } else { "no" }.to_owned());
            self.by_key(PlanItem::Check(check), &question, |_, in_order| Ok(Some(entry(in_order))))?;
        }
        Ok(())
    }

    /// Asks about an item that one key answers, yes or no; `entry` makes the entry of it, or none when it has to be asked again.
    fn by_key(
        &mut self,
        item: PlanItem<'_>,
        question: &str,
        mut entry: impl FnMut(&mut Self, bool) -> LinesResult<Option<ItemEntry>>,
    ) -> LinesResult<()> {
        self.until_entered(item, |asking| match asking.talk.ask_alarm(question)? {
            Answer::Skip(skip) => Ok(Some(ItemEntry { skip, ..ItemEntry::default() })),
            answer => entry(asking, answer == Answer::Now),
        })
    }

    fn readings(&mut self, step: &PlanStep) -> LinesResult<()> {
        for reading in step.readings.iter().filter(|reading| self.is_open(&reading.id)).collect::<Vec<_>>() {
            let expected = match reading.expected() {
                expected if expected.is_empty() => expected,
                expected => format!("{expected}; "),
            };
            if !reading.because().is_empty() {
                self.talk.say(&format!("  {}: {}", reading.name, reading.because()))?;
            }
            let question = format!("  {}, {} ({expected}{}): ", reading.name, reading.unit, reading.allowed);
            self.until_entered(PlanItem::Reading(reading), |asking| {
                let answer = asking.talk.ask(&question)?;
                Ok(Some(match skip(&answer) {
                    Some(skip) => ItemEntry { skip, ..ItemEntry::default() },
                    None => read(answer),
                }))
            })?;
        }
        Ok(())
    }

    /// Asks for the entry of an item until it is judged; one that the record has is left out. An entry that can't be, such as an
    /// alarm that can't have sounded yet, is asked for again; so is one that `ask` does not give.
    fn until_entered(
        &mut self,
        item: PlanItem<'_>,
        mut ask: impl FnMut(&mut Self) -> LinesResult<Option<ItemEntry>>,
    ) -> LinesResult<()> {
        while self.is_open(item.id()) {
            let Some(entry) = ask(self)? else { continue };
            // After the output has ended, time stands still and there is nothing to read.
            self.desk.still_plays()?;
            match self.desk.request(Request::Enter { item: item.id().to_owned(), entry }) {
                Ok(found) => self.talk.say(&verdict(&found))?,
                Err(why) => self.talk.say(&format!("    {why}"))?,
            }
        }
        Ok(())
    }

    /// Kit back, and the signature.
    fn after(&mut self) -> LinesResult<()> {
        self.talk.say("")?;
        for (index, line) in self.plan.kit.iter().enumerate() {
            let number = (index + 1).to_string();
            let out = !self.kit(&number, "out").is_empty() && self.kit(&number, "back").is_empty();
            if out && self.talk.yes(&format!("Kit back: {line}? [Enter, n] "))? {
                self.desk.keep(Request::Kit { number, back: true, on: true })?;
            }
        }
        loop {
            let name = self.talk.ask("Done by: ")?;
            match self.desk.request(Request::Sign { name, next_due: String::new() }) {
                Ok(_) => return Ok(()),
                Err(why) => self.talk.say(&format!("    {why}"))?,
            }
        }
    }
}

/// An entry with a value alone.
fn read(value: String) -> ItemEntry {
    ItemEntry { value, ..ItemEntry::default() }
}

/// An entry that says whether an alarm was heard.
fn heard(word: &str) -> ItemEntry {
    ItemEntry { heard: word.to_owned(), ..ItemEntry::default() }
}

/// A verdict with its reason, as a line.
fn verdict(found: &Value) -> String {
    let (verdict, why) = (word(found, "verdict"), word(found, "why"));
    let why = if why.is_empty() { String::new() } else { format!(": {why}") };
    format!("    {verdict}{why}{}", if verdict == "open" { "; s REASON skips" } else { "" })
}
